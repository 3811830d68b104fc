"""A small expression graph: formulas written once are traced into it and become straight-line code.

A node is a number known when the graph is built, an input, or an operation. Equal nodes are one node, so that
shared subexpressions are worked out once. `Form` is a first-order change written in independent parts: which
part moves the quantity by how much. It is built by the chain rule, symbolically, hence exact (JCGM 100:2008, 5.1.3).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, eq=False, slots=True)
class Node:
    """One quantity. Arithmetic on nodes builds further nodes; identity is equality within a graph."""

    graph: Graph
    index: int
    op: str  # const | input | + - * / | sqrt | ceil | choose
    args: tuple[Node, ...] = ()
    value: float = 0.0  # of a const
    name: str = ""  # of an input

    @property
    def is_const(self) -> bool:
        return self.op == "const"

    def is_value(self, value: float) -> bool:
        return self.op == "const" and self.value == value

    def __add__(self, other: Node | float) -> Node:
        return self.graph.add(self, self.graph.lift(other))

    __radd__ = __add__

    def __sub__(self, other: Node | float) -> Node:
        return self.graph.subtract(self, self.graph.lift(other))

    def __rsub__(self, other: float) -> Node:
        return self.graph.subtract(self.graph.lift(other), self)

    def __mul__(self, other: Node | float) -> Node:
        return self.graph.multiply(self, self.graph.lift(other))

    __rmul__ = __mul__

    def __truediv__(self, other: Node | float) -> Node:
        return self.graph.divide(self, self.graph.lift(other))

    def __rtruediv__(self, other: float) -> Node:
        return self.graph.divide(self.graph.lift(other), self)

    def __neg__(self) -> Node:
        return self.graph.subtract(self.graph.lift(0.0), self)


@dataclass(eq=False, slots=True)
class Graph:
    """Builds nodes, folding what is known when the graph is built."""

    nodes: list[Node] = field(default_factory=list)
    _known: dict[Hashable, Node] = field(default_factory=dict)

    def rest(self) -> None:
        """Lets go of what only building needs, more than half of the memory; the next node brings it back."""
        self._known = {}

    def _make(self, op: str, args: tuple[Node, ...] = (), value: float = 0.0, name: str = "") -> Node:
        known = self._known
        if len(known) != len(self.nodes):
            known = self._known = {_key(one.op, one.args, one.value, one.name): one for one in self.nodes}
        key = _key(op, args, value, name)
        node = known.get(key)
        if node is None:
            node = Node(self, len(self.nodes), op, args, value, name)
            self.nodes.append(node)
            known[key] = node
        return node

    def const(self, value: float) -> Node:
        return self._make("const", value=float(value))

    def input(self, name: str) -> Node:
        return self._make("input", name=name)

    def lift(self, value: Node | float) -> Node:
        return value if isinstance(value, Node) else self.const(value)

    def add(self, a: Node, b: Node) -> Node:
        if a.is_const and b.is_const:
            return self.const(a.value + b.value)
        if a.is_value(0.0):
            return b
        if b.is_value(0.0):
            return a
        if a.index > b.index:
            a, b = b, a
        return self._make("+", (a, b))

    def subtract(self, a: Node, b: Node) -> Node:
        if a.is_const and b.is_const:
            return self.const(a.value - b.value)
        if b.is_value(0.0):
            return a
        if a is b:
            return self.const(0.0)
        if a.is_value(0.0):
            return self.multiply(self.const(-1.0), b)
        return self._make("-", (a, b))

    def multiply(self, a: Node, b: Node) -> Node:
        if b.is_const:
            a, b = b, a
        if a.is_const:
            if b.is_const:
                return self.const(a.value * b.value)
            if a.value == 0.0:
                return a
            if a.value == 1.0:
                return b
            if b.op == "*" and b.args[0].is_const:
                return self.multiply(self.const(a.value * b.args[0].value), b.args[1])
        elif a.index > b.index:
            a, b = b, a
        return self._make("*", (a, b))

    def divide(self, a: Node, b: Node) -> Node:
        if a.is_const and b.is_const and b.value != 0.0:
            return self.const(a.value / b.value)
        if a.is_value(0.0) or b.is_value(1.0):
            return a
        return self._make("/", (a, b))

    def sqrt(self, a: Node) -> Node:
        return self.const(math.sqrt(a.value)) if a.is_const and a.value >= 0 else self._make("sqrt", (a,))

    def total(self, nodes: Iterable[Node]) -> Node:
        """The sum, with everything known put together first."""
        known, total = 0.0, self.const(0.0)
        for node in nodes:
            if node.is_const:
                known += node.value
            else:
                total = total + node
        return total + known

    def ceil(self, a: Node) -> Node:
        return self._make("ceil", (a,))

    def choose(self, condition: Node, if_not_negative: Node | float, otherwise: Node | float) -> Node:
        """One of two, by whether `condition` >= 0 (a condition that is NaN is not)."""
        a, b = self.lift(if_not_negative), self.lift(otherwise)
        return a if a is b else self._make("choose", (condition, a, b))


def _key(op: str, args: tuple[Node, ...], value: float, name: str) -> Hashable:
    # repr tells 0.0 from -0.0 and makes all NaN one.
    return (op, tuple([arg.index for arg in args]), repr(value) if op == "const" else name)


Form = dict[Hashable, Node]
"""Part -> by how much the quantity changes with it, to first order."""


def scaled(form: Mapping[Hashable, Node], factor: Node) -> Form:
    return {part: factor * coefficient for part, coefficient in form.items()}


def combined(graph: Graph, a: Node, form_a: Mapping[Hashable, Node], b: Node, form_b: Mapping[Hashable, Node]) -> Form:
    """The form of a x + b y from those of x and y; parts that cancel for certain are dropped."""
    result = scaled(form_a, a)
    for part, coefficient in form_b.items():
        if part not in result:
            total = b * coefficient
        elif b.is_value(-1.0):
            total = result[part] - coefficient
        else:
            total = result[part] + b * coefficient
        if total.is_value(0.0):
            result.pop(part, None)
        else:
            result[part] = total
    return result


class Differentials:
    """First-order forms of nodes, given those of the nodes where differentiation starts."""

    def __init__(self, graph: Graph, leaves: Mapping[Node, Form]) -> None:
        self.graph = graph
        self.forms: dict[int, Form] = {node.index: form for node, form in leaves.items()}

    def set(self, node: Node, form: Form) -> None:
        """Put a form in place of the one the chain rule gives."""
        self.forms[node.index] = form

    def of(self, node: Node) -> Form:
        """The form of `node`; {} for what does not depend on any leaf."""
        form = self.forms.get(node.index)
        if form is None:
            form = self.forms[node.index] = self._form(node)
        return form

    def _form(self, node: Node) -> Form:
        if node.op in ("const", "input", "ceil"):
            return {}
        if node.op == "sqrt":
            form = self.of(node.args[0])
            return scaled(form, 0.5 / node) if form else {}
        if node.op == "choose":
            return self._chosen(node)
        a, b = node.args
        form_a, form_b = self.of(a), self.of(b)
        if not form_a and not form_b:
            return {}
        if node.op == "*" and a is b:
            return scaled(form_a, 2.0 * a)
        by_a, by_b = self._slopes(node, a, b)
        return combined(self.graph, by_a, form_a, by_b, form_b)

    def _slopes(self, node: Node, a: Node, b: Node) -> tuple[Node, Node]:
        """How an operation changes with either argument."""
        one = self.graph.const(1.0)
        if node.op == "+":
            return one, one
        if node.op == "-":
            return one, -one
        if node.op == "*":
            return b, a
        return 1.0 / b, -(node / b)

    def _chosen(self, node: Node) -> Form:
        condition, a, b = node.args
        form_a, form_b = self.of(a), self.of(b)
        # A number known beforehand (NaN, where something is impossible) has no change of its own to choose.
        if a.is_const and math.isnan(a.value):
            return form_b
        if b.is_const and math.isnan(b.value):
            return form_a
        zero = self.graph.const(0.0)
        return {
            part: self.graph.choose(condition, form_a.get(part, zero), form_b.get(part, zero))
            for part in {**form_a, **form_b}
        }
