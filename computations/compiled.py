"""Straight-line Python from an expression graph: for one visit on floats, for many on columns.

The text holds only names made here and numbers known to the graph, never anything a person typed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from computations.graph import Graph, Node

DEEPEST = 24  # nested expressions, so that the text stays within the parser's limits

Numbers = Callable[[Sequence[Any]], tuple[Any, ...]]


def compile_numbers(graph: Graph, inputs: Sequence[str], outputs: Sequence[Node]) -> Numbers:
    """A function of one sequence of floats, in the order of `inputs`, giving the outputs.

    It may raise ArithmeticError or ValueError where an output has no finite value.
    """
    text = _Text(outputs, columns=False).of(graph, inputs)
    return _function(text, {"sqrt": math.sqrt, "ceil": math.ceil})


def compile_columns(graph: Graph, inputs: Sequence[str], outputs: Sequence[Node]) -> Numbers:
    """The same for arrays (or floats among them); NaN and infinity where an output has no finite value."""
    text = _Text(outputs, columns=True).of(graph, inputs)
    return _function(text, {"sqrt": np.sqrt, "ceil": np.ceil, "where": np.where})


def _function(text: str, names: dict[str, Any]) -> Numbers:
    scope: dict[str, Any] = {**names, "nan": math.nan, "inf": math.inf}
    exec(compile(text, "<formulas>", "exec"), scope)  # noqa: S102  (our own text, see above)
    function: Numbers = scope["formulas"]
    return function


class _Text:
    """Writes one function: shared nodes get a name, others stand where they are used."""

    def __init__(self, outputs: Sequence[Node], *, columns: bool) -> None:
        self.columns = columns
        self.outputs = outputs
        self.needed, self.uses = _reachable(outputs)
        self.written: dict[int, tuple[str, int]] = {}  # index -> expression, depth

    def of(self, graph: Graph, inputs: Sequence[str]) -> str:
        lines = ["def formulas(given):"]
        names = ["_"] * len(inputs)
        for position, name in enumerate(inputs):
            node = graph.input(name)
            if node.index in self.needed:
                names[position] = f"i{position}"
                self.written[node.index] = (f"i{position}", 0)
        if names:
            lines.append(f"    {', '.join(names)}, = given")
        for index in sorted(self.needed):
            if index not in self.written:
                self._write(graph.nodes[index], lines)
        graph.rest()
        lines.append(f"    return ({''.join(self.written[node.index][0] + ', ' for node in self.outputs)})")
        return "\n".join(lines)

    def _write(self, node: Node, lines: list[str]) -> None:
        if node.op == "const":
            self.written[node.index] = (_literal(node.value), 0)
            return
        pieces = [self.written[arg.index] for arg in node.args]
        text = self._expression(node.op, [piece for piece, _ in pieces])
        depth = 1 + max(depth for _, depth in pieces)
        if self.uses[node.index] > 1 or depth >= DEEPEST:
            lines.append(f"    t{node.index} = {text}")
            text, depth = f"t{node.index}", 0
        self.written[node.index] = (text, depth)

    def _expression(self, op: str, args: list[str]) -> str:
        if op == "choose":
            condition, a, b = args
            if self.columns:
                return f"where({condition} >= 0.0, {a}, {b})"
            return f"({a} if {condition} >= 0.0 else {b})"
        if op in ("sqrt", "ceil"):
            return f"{op}({args[0]})"
        return f"({args[0]} {op} {args[1]})"


def _literal(value: float) -> str:
    if math.isnan(value):
        return "nan"
    return f"({value!r})" if value < 0 else repr(value)


def _reachable(outputs: Sequence[Node]) -> tuple[set[int], dict[int, int]]:
    """Indices of every node the outputs need, and how often each is used."""
    needed: set[int] = set()
    uses: dict[int, int] = {}
    stack = list(outputs)
    for node in outputs:
        uses[node.index] = uses.get(node.index, 0) + 1
    while stack:
        node = stack.pop()
        if node.index in needed:
            continue
        needed.add(node.index)
        for arg in node.args:
            uses[arg.index] = uses.get(arg.index, 0) + 1
            stack.append(arg)
    return needed, uses
