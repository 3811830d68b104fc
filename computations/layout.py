"""From a visit to compiled formulas: which readings, takes and instruments there are decides the layout.

Visits with the same layout share one compiled function. The layout's key therefore holds everything that changes
the formulas and nothing that is only a number or a name: instruments are counted, not named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import isfinite
from typing import Any

import numpy as np

from computations import gauges
from computations.catalogue import DIMENSIONS, READINGS, SIDES, ReadingKey
from computations.compiled import Numbers, compile_columns, compile_numbers
from computations.gauges import Gauge
from computations.graph import Node
from computations.inputs import Assumptions, Instrument, Mast, Reading, Rig, Visit
from computations.plan import Outcome
from computations.tape import SPAR_EXPANSION_PER_K
from computations.tracing import Take, Trace

Shape = tuple[Any, ...]

KEPT = 64  # layouts, the last ones used: compiled, one weighs a third of a megabyte, and each reading makes a new one
TOO_GREAT = 1e9  # mm or kg: no rig, and its squares still fit


def usable(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Readings without those that are not finite or beyond any rig, which count as missing."""
    return tuple(reading for reading in readings if isfinite(reading.value) and abs(reading.value) < TOO_GREAT)


def locate(visit: Visit, assumptions: Assumptions) -> tuple[Layout, tuple[Instrument | None, ...]]:
    """The visit's layout, and its instruments in the order in which the readings name them.

    The key is gathered in as few steps as can be: beside the formulas it is what a warm derivation costs.
    """
    readings, rig, instruments = visit.readings, visit.rig, visit.instruments
    layout, names = _located(
        (
            tuple([one.where for one in readings]),
            tuple([(one.identifier, one.kind, gauges.model_of(one, "tape")) for one in instruments]),
            tuple([(mast.name, mast.upper_band) for mast in rig.masts]),
            (rig.outrigger, rig.spinnaker, rig.pole, rig.bowsprit, rig.headsail_foil),
            tuple([mast.material for mast in rig.masts]) if assumptions.spar_to_20_c else (),
            tuple([visit.bas_choice.get(mast.name, "") for mast in rig.masts]) if visit.bas_choice else (),
            assumptions,
        )
    )
    known = {one.identifier: one for one in reversed(instruments)}
    return layout, tuple([known.get(name) for name in names])


@lru_cache(maxsize=KEPT)
def _located(key: Shape) -> tuple[Layout, tuple[str, ...]]:
    """The layout of this key with its instruments counted instead of named, and their names in that order."""
    wheres, instruments, *rest = key
    slugs, masts, positions, names, hanging = zip(*wheres, strict=True) if wheres else ((),) * 5
    order = tuple(dict.fromkeys(names))
    known = {name: (kind, model) for name, kind, model in reversed(instruments)}
    numbers = tuple(order.index(name) for name in names)
    models = tuple(known.get(name, (None, "class")) for name in order)
    return layout_of((slugs, masts, positions, numbers, models, hanging, *rest)), order


@dataclass(frozen=True, slots=True)
class Outputs:
    """Which nodes a compiled function answers, in order."""

    values: tuple[Node, ...]
    uncertainties: tuple[Node, ...]
    weights: tuple[Node, ...]


class Layout:
    """Everything that visits of one shape share. Compiled when first needed."""

    def __init__(self, shape: Shape) -> None:
        slugs, masts, positions, numbers, models, hanging, rig_masts, flags, spars, choices, assumptions = shape
        self.assumptions: Assumptions = assumptions
        self.rig = _rig(rig_masts, flags)
        self.gauges: list[Gauge] = []
        takes: dict[ReadingKey, list[Take]] = {}
        for position, slug in enumerate(slugs):
            key = effective_key(self.rig, slug, masts[position], positions[position])
            if key is None:
                continue
            gauge = self._gauge(slug, numbers[position], models[numbers[position]])
            take = Take(position, gauge, bool(hanging) and hanging[position])
            takes.setdefault(key, []).append(take)
        self.spars = {
            mast.name: material
            for mast, material in zip(self.rig.masts, spars, strict=False)
            if material in SPAR_EXPANSION_PER_K
        }
        self.hanging = [position for position, hangs in enumerate(hanging) if hangs]
        self.takes: dict[ReadingKey, tuple[Take, ...]] = {key: tuple(some) for key, some in takes.items()}
        chosen = {mast.name: choice for mast, choice in zip(self.rig.masts, choices, strict=False)}
        self.trace = Trace(
            self.rig, self.takes, tuple(self.gauges), assumptions, spars=frozenset(self.spars), chosen=chosen
        )
        self.outcomes: tuple[Outcome[Node], ...] = self.trace.plan.outcomes
        self.labels = tuple((DIMENSIONS[one.slug].label, DIMENSIONS[one.slug].unit) for one in self.outcomes)
        present = [i for i, one in enumerate(self.outcomes) if one.value is not None]
        # Where each outcome stands among the answers; None where it has no value.
        self.places = tuple(present.index(i) if i in present else None for i in range(len(self.outcomes)))
        self.positions = {(one.slug, one.mast, one.method): i for i, one in enumerate(self.outcomes)}
        self.inputs = self._input_names(len(slugs))
        self._gauge_plan = tuple((gauge, gauge.instrument) for gauge in self.gauges)

    def _gauge(self, slug: str, number: int, model: Shape) -> int:
        instrument_kind, tape_model = model
        category = gauges.category_of(instrument_kind, READINGS[slug])
        gauge = Gauge(number, category, tape_model if category == "tape" else "constant")
        if gauge not in self.gauges:
            self.gauges.append(gauge)
        return self.gauges.index(gauge)

    def _input_names(self, count: int) -> list[str]:
        names = [f"v_{position}" for position in range(count)]
        for index, gauge in enumerate(self.gauges):
            names += [f"g_{index}_{name}" for name in gauge.inputs]
        for mast in self.spars:
            names += [f"{mast}_{name}" for name in gauges.SPAR_INPUTS]
        for position in self.hanging:
            names += [f"h_{position}_stretch", f"h_{position}_sag"]
        return names

    # Numbers in

    def arguments(self, visit: Visit, instruments: Sequence[Instrument | None], readings: Sequence[float]) -> list[Any]:
        """One visit's numbers in the order of `inputs`: its readings as shown, then everything else."""
        return [*readings, *self.circumstances(visit, instruments, visit.air_temperature_c)]

    def circumstances(self, visit: Visit, instruments: Sequence[Instrument | None], temperature_c: Any) -> list[Any]:
        """All numbers but the readings; `temperature_c` may be a column."""
        numbers: list[Any] = []
        for gauge, number in self._gauge_plan:
            numbers += gauges.arguments(gauge, instruments[number], temperature_c, self.assumptions)
        for material in self.spars.values():
            numbers += gauges.spar_arguments(material, temperature_c, self.assumptions)
        for position in self.hanging:
            reading = visit.readings[position]
            tape = visit.instrument(reading.instrument) or Instrument(identifier="")
            numbers += gauges.hanging_arguments(reading.pull_n or 0.0, tape)
        return numbers

    # Formulas

    @cached_property
    def outputs(self) -> Outputs:
        """Value, u, and Welch-Satterthwaite weight of every outcome that has a value."""
        trace, present = self.trace, [one.value for one in self.outcomes if one.value is not None]
        forms = [trace.differentials.of(node) for node in present]
        return Outputs(
            values=tuple(present),
            uncertainties=tuple(trace.graph.sqrt(trace.variance(form)) for form in forms),
            weights=tuple(trace.weight(form) for form in forms),
        )

    @cached_property
    def weighted(self) -> tuple[int, ...]:
        """Positions of the outcomes into which repeated takes enter, among those that have a value."""
        return tuple(i for i, node in enumerate(self.outputs.weights) if not node.is_const)

    @cached_property
    def _answers(self) -> tuple[Node, ...]:
        outputs = self.outputs
        return (*outputs.values, *outputs.uncertainties, *(outputs.weights[i] for i in self.weighted))

    @cached_property
    def numbers(self) -> Numbers:
        return compile_numbers(self.trace.graph, self.inputs, self._answers)

    @cached_property
    def columns(self) -> Numbers:
        return compile_columns(self.trace.graph, self.inputs, self._answers)

    @cached_property
    def values_only(self) -> Numbers:
        """The bare values on columns, without uncertainty: what a batch is measured against."""
        return compile_columns(self.trace.graph, self.inputs, self.outputs.values)

    def run(self, arguments: Sequence[Any]) -> tuple[float, ...]:
        """All answers for one visit: values, then u, then weights. NaN or infinite where there is no finite answer."""
        try:
            return self.numbers(arguments)
        except (ArithmeticError, ValueError):
            return run_as_column(self.columns, arguments)


def run_as_column(function: Numbers, arguments: Sequence[Any]) -> tuple[float, ...]:
    """One visit through the columns' arithmetic, in which nothing raises."""
    columns = [np.asarray([number], dtype=np.float64) for number in arguments]
    with np.errstate(all="ignore"):
        return tuple(float(np.asarray(answer).reshape(-1)[0]) for answer in function(columns))


def effective_key(rig: Rig, slug: str, mast: str, position: str) -> ReadingKey | None:
    """Under what a reading counts: the boat's own under its forward mast; None for what this rig cannot have."""
    kind = READINGS.get(slug)
    if kind is None:
        return None
    if kind.per == "boat" and mast == "main":
        mast = rig.forward_mast
    if rig.mast(mast) is None or (kind.per == "boat" and mast != rig.forward_mast):
        return None
    if kind.sides:
        return (slug, mast, position) if position in SIDES else None
    return (slug, mast, position if kind.named_position else "")


def _rig(masts: Shape, flags: Shape) -> Rig:
    outrigger, spinnaker, pole, bowsprit, headsail_foil = flags
    return Rig(
        masts=tuple(Mast(name=name, upper_band=upper_band) for name, upper_band in masts),
        outrigger=outrigger,
        spinnaker=spinnaker,
        pole=pole,
        bowsprit=bowsprit,
        headsail_foil=headsail_foil,
    )


@lru_cache(maxsize=KEPT)
def layout_of(shape: Shape) -> Layout:
    return Layout(shape)
