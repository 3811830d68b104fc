"""The whole of a derivation as arrays: readings, sources, and how everything hangs together, to first order.

With x the corrected readings, S their change with one standard uncertainty of each source (readings x sources) and
J the change of each dimension with each reading (dimensions x readings), the dimensions' covariance is J S (J S)T.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from computations.catalogue import READINGS, ReadingKey
from computations.compiled import Numbers, compile_columns, compile_numbers
from computations.gauges import temperature_u
from computations.graph import Graph, Node
from computations.inputs import Assumptions, Instrument, Visit
from computations.layout import KEPT, Layout, run_as_column
from computations.sources import ROOT_3, SOURCES, SourceKey
from computations.student import effective_degrees_of_freedom
from computations.tracing import SharedSource

Array = NDArray[np.float64]


class DetailPlan:
    """For one layout: which nodes the details need and where each goes. Compiled when first needed."""

    def __init__(self, layout: Layout) -> None:
        trace = layout.trace
        self.graph: Graph = trace.graph
        self.inputs = layout.inputs
        self.keys: tuple[ReadingKey, ...] = tuple(trace.readings)
        row = {key: i for i, key in enumerate(self.keys)}
        self.shared: list[SharedSource] = []
        self.own: list[tuple[ReadingKey, str]] = []
        self.nodes: list[Node] = [reading.value for reading in trace.readings.values()]
        self.shared_at: list[tuple[int, int]] = []
        for key, reading in trace.readings.items():
            for source, node in reading.shared.items():
                if source not in self.shared:
                    self.shared.append(source)
                self.shared_at.append((row[key], self.shared.index(source)))
                self.nodes.append(node)
        for key, reading in trace.readings.items():
            for kind, node in reading.own.items():
                self.own.append((key, kind))
                self.nodes.append(node)
        weighted = [(i, trace.readings[key].own_weight) for i, (key, _) in enumerate(self.own)]
        self.weighted = [(i, node) for i, node in weighted if node is not None and self.own[i][1] == "repeatability"]
        self.nodes += [node for _, node in self.weighted]
        self._add_gradients(layout, row)

    def _add_gradients(self, layout: Layout, row: dict[ReadingKey, int]) -> None:
        """J, and the change of each dimension with the boom's height where it builds on it."""
        differentials = layout.trace.by_reading()
        through = layout.trace.by_reading()
        self.booms: tuple[str, ...] = tuple(
            outcome.mast for outcome in layout.outcomes if outcome.method == "adopted" and outcome.value is not None
        )
        for outcome in layout.outcomes:
            if outcome.method == "adopted" and outcome.value is not None:
                through.set(outcome.value, {outcome.mast: self.graph.const(1.0)})
        self.gradients_at: list[tuple[int, int]] = []
        self.booms_at: list[tuple[int, int]] = []
        boom_nodes: list[Node] = []
        for i, outcome in enumerate(layout.outcomes):
            if outcome.value is None:
                continue
            for key, node in differentials.of(outcome.value).items():
                if isinstance(key, tuple):
                    self.gradients_at.append((i, row[key]))
                    self.nodes.append(node)
            if outcome.slug != "boom_above_sheer":
                for part, node in through.of(outcome.value).items():
                    if isinstance(part, str):
                        self.booms_at.append((i, self.booms.index(part)))
                        boom_nodes.append(node)
        self.nodes += boom_nodes

    @cached_property
    def numbers(self) -> Numbers:
        return compile_numbers(self.graph, self.inputs, self.nodes)

    @cached_property
    def columns(self) -> Numbers:
        return compile_columns(self.graph, self.inputs, self.nodes)

    def run(self, arguments: list[float]) -> Array:
        try:
            return np.array(self.numbers(arguments), dtype=np.float64)
        except (ArithmeticError, ValueError):
            return np.array(run_as_column(self.columns, arguments), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Details:
    """See the module's own words. `effects` is S; `sizes` the sources' standard uncertainties in their own units."""

    keys: tuple[ReadingKey, ...]
    corrected: Array  # (readings,)
    sources: tuple[SourceKey, ...]
    sizes: Array  # (sources,)
    effects: Array  # (readings, sources), per one standard uncertainty
    degrees: Array  # (sources,), infinite but for repeated takes
    gradients: Array  # (dimensions, readings); NaN in the row of a dimension without a value
    booms: tuple[str, ...]
    boom_gradients: Array  # (dimensions, booms): change with the boom's adopted height on each mast

    @property
    def sensitivities(self) -> Array:
        """Change of each reading with each source, per the source's own unit (readings x sources)."""
        return np.divide(self.effects, self.sizes, out=np.zeros_like(self.effects), where=self.sizes > 0)

    @property
    def contributions(self) -> Array:
        """J S: change of each dimension with one standard uncertainty of each source (dimensions x sources)."""
        product: Array = self.gradients @ self.effects
        return product

    @property
    def reading_covariance(self) -> Array:
        product: Array = self.effects @ self.effects.T
        return product

    def degrees_of(self, contributions: Array) -> float | None:
        """Effective degrees of freedom of what has these contributions; None: infinitely many."""
        finite = np.isfinite(self.degrees)
        parts = zip(contributions[finite] ** 2, self.degrees[finite], strict=True)
        variance = float(contributions @ contributions)
        return effective_degrees_of_freedom(variance, ((float(part), float(nu)) for part, nu in parts))


@lru_cache(maxsize=KEPT)  # each holds its layout
def detail_plan(layout: Layout) -> DetailPlan:
    return DetailPlan(layout)


def details_of(
    layout: Layout, visit: Visit, instruments: tuple[Instrument | None, ...], arguments: list[float]
) -> Details:
    """Run the layout's plan for one visit and lay the answers out."""
    plan = detail_plan(layout)
    readings, shared, own = len(plan.keys), len(plan.shared), len(plan.own)
    counts = (readings, len(plan.shared_at), own, len(plan.weighted), len(plan.gradients_at), len(plan.booms_at))
    corrected, effects_at, variances, weights, gradients_at, booms_at = np.split(
        plan.run(arguments), np.cumsum(counts)[:-1]
    )
    row = {key: i for i, key in enumerate(plan.keys)}
    effects = _scattered((readings, shared + own), plan.shared_at, effects_at)
    effects[[row[key] for key, _ in plan.own], np.arange(shared, shared + own)] = np.sqrt(variances)
    effects = np.nan_to_num(effects, nan=0.0, posinf=0.0, neginf=0.0)
    degrees = np.full(shared + own, np.inf)
    for (j, _), weight in zip(plan.weighted, weights, strict=True):
        if weight > 0:
            degrees[shared + j] = variances[j] ** 2 / weight
    gradients = _scattered((len(layout.outcomes), readings), plan.gradients_at, gradients_at)
    booms = _scattered((len(layout.outcomes), len(plan.booms)), plan.booms_at, booms_at)
    without = ~np.isfinite(gradients).all(axis=1) | np.array([one.value is None for one in layout.outcomes])
    gradients[without] = booms[without] = np.nan
    keys = [_shared_key(source, layout, visit, instruments) for source in plan.shared]
    keys += [SourceKey(kind, visit.key, key) for key, kind in plan.own]
    sizes = np.abs(effects).max(axis=0) if readings else np.zeros(0)
    for j, source in enumerate(plan.shared):
        sizes[j] = _size(source, layout, visit, instruments, float(sizes[j]))
    return Details(plan.keys, corrected, tuple(keys), sizes, effects, degrees, gradients, plan.booms, booms)


def _scattered(shape: tuple[int, int], places: list[tuple[int, int]], numbers: Array) -> Array:
    table = np.zeros(shape)
    for place, number in zip(places, numbers, strict=True):
        table[place] = number
    return table


def _shared_key(
    source: SharedSource, layout: Layout, visit: Visit, instruments: tuple[Instrument | None, ...]
) -> SourceKey:
    if source.gauge < 0:
        return SourceKey(source.kind, visit.key, source.where)
    gauge = layout.gauges[source.gauge]
    instrument = instruments[gauge.instrument]
    if instrument is None:
        name = list(dict.fromkeys(reading.instrument for reading in visit.readings))[gauge.instrument]
        # Not known which one it was: another visit's unnamed tape is not taken for the same.
        return SourceKey(source.kind, name, ("",) if name else (visit.key,))
    calibration = instrument.calibration or str(instrument.calibrated_on or "")
    return SourceKey(source.kind, instrument.identifier, (calibration,))


def _size(
    source: SharedSource,
    layout: Layout,
    visit: Visit,
    instruments: tuple[Instrument | None, ...],
    greatest_effect: float,
) -> float:
    """Standard uncertainty in the source's own unit; of an accuracy class what it allows on the longest reading."""
    assumptions: Assumptions = layout.assumptions
    if source.gauge >= 0:
        instrument = instruments[layout.gauges[source.gauge].instrument]
        certified = None if instrument is None else instrument.calibration_u
        return greatest_effect if certified is None else certified
    if source.kind == "tape_temperature":
        return temperature_u(visit.air_temperature_c, assumptions)
    field = SOURCES[source.kind].assumption
    return float(getattr(assumptions, field)) / ROOT_3 if field else greatest_effect


def label(key: SourceKey) -> str:
    """What a budget calls the source: "Scale of the tape T-07", "Sheer point, along the mast: main, port"."""
    name = SOURCES[key.kind].name
    if SOURCES[key.kind].scope == "instrument":
        return f"{name} {key.owner}" if key.owner else f"{name} (not named)"
    if SOURCES[key.kind].scope == "reading":
        slug, mast, position = key.detail
        return f"{name}: {', '.join(piece for piece in (READINGS[slug].name, mast, position) if piece)}"
    return f"{name}: {', '.join(key.detail)}" if key.detail else name
