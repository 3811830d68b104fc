"""First-order propagation of uncertainty through any formula (JCGM 100:2008, clause 5 and G.4).

The same tracer, gradients, degrees of freedom and coverage factors as in a visit's derivation, for a handful of
quantities: a spot check's figure, or a published example by which all of this is held.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from computations.compiled import compile_columns
from computations.graph import Differentials, Graph, Node
from computations.layout import run_as_column
from computations.student import coverage_factor, effective_degrees_of_freedom

Array = NDArray[np.float64]


class Tracer:
    """What a formula may use besides arithmetic."""

    def __init__(self, graph: Graph) -> None:
        self.sqrt = graph.sqrt
        self.choose = graph.choose


@dataclass(frozen=True, slots=True)
class Estimate:
    """An input: value, standard uncertainty, degrees of freedom (None: infinitely many)."""

    value: float
    u: float
    degrees: float | None = None


@dataclass(frozen=True, slots=True)
class Propagated:
    """Outputs of a formula. `sensitivities` and `components` have a row per output and a column per input."""

    values: Array
    sensitivities: Array
    components: Array  # |sensitivity| x u
    covariance: Array
    degrees: tuple[float | None, ...]

    @property
    def u(self) -> Array:
        roots: Array = np.sqrt(np.diag(self.covariance))
        return roots

    @property
    def correlation(self) -> Array:
        ratios: Array = self.covariance / np.outer(self.u, self.u)
        return ratios

    @property
    def zero_first_order(self) -> tuple[bool, ...]:
        """Where the first-order uncertainty vanishes though the inputs are uncertain: it must not be quoted
        (JCGM 101:2008, 9.4.3, shows such a case).
        """
        return tuple(bool(u == 0.0) and bool(self.components.shape[1]) for u in self.u)

    def expanded(self, output: int = 0, factor: float = 2.0) -> float | None:
        """U for the probability that `factor` means with infinitely many degrees of freedom; None where u is zero."""
        if self.zero_first_order[output]:
            return None
        return coverage_factor(self.degrees[output], factor) * float(self.u[output])


def propagate(
    formula: Callable[..., Node | Sequence[Node]],
    inputs: Sequence[Estimate],
    correlation: Array | None = None,
) -> Propagated:
    """`formula(maths, *inputs)` with its uncertainty. Correlated inputs have no degrees of freedom (G.4.1)."""
    graph = Graph()
    nodes = [graph.input(f"x{i}") for i in range(len(inputs))]
    result = formula(Tracer(graph), *nodes)
    outputs = [result] if isinstance(result, Node) else list(result)
    one, zero = graph.const(1.0), graph.const(0.0)
    differentials = Differentials(graph, {node: {i: one} for i, node in enumerate(nodes)})
    slopes = [differentials.of(output).get(i, zero) for output in outputs for i in range(len(inputs))]
    function = compile_columns(graph, [node.name for node in nodes], [*outputs, *slopes])
    answers = np.array(run_as_column(function, [estimate.value for estimate in inputs]))
    values, sensitivities = answers[: len(outputs)], answers[len(outputs) :].reshape(len(outputs), len(inputs))
    effects = sensitivities * np.array([estimate.u for estimate in inputs])
    between = np.eye(len(inputs)) if correlation is None else correlation
    covariance = effects @ between @ effects.T
    degrees: list[float | None] = []
    for i in range(len(outputs)):
        known = [
            (float(effect) ** 2, estimate.degrees)
            for effect, estimate in zip(effects[i], inputs, strict=True)
            if estimate.degrees is not None
        ]
        degrees.append(effective_degrees_of_freedom(float(covariance[i, i]), known) if correlation is None else None)
    return Propagated(values, sensitivities, np.abs(effects), covariance, tuple(degrees))
