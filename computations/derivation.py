"""From a visit to its dimensions and how sure each is: the product's central function.

Everything is worked out to first order in independent sources (JCGM 100:2008, clause 5), so that what two figures
share is carried as correlation within a visit and between visits. Values are unrounded; nothing raises for what a
measurer may have read: a dimension without an answer has None and says why.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from computations.catalogue import dimension_by_name
from computations.details import Details, details_of, label
from computations.graph import Node
from computations.inputs import Assumptions, Instrument, Visit
from computations.layout import TOO_GREAT, Layout, locate, usable
from computations.plan import Outcome
from computations.reasons import why_no_value
from computations.results import BudgetLine, DimensionResult
from computations.sources import SOURCES
from computations.student import coverage_factor, coverage_factors

Array = NDArray[np.float64]
DEFAULT = Assumptions()
CHUNK = 1024  # columns whose intermediate results stay in the processor's cache
ZERO_UNCERTAINTY = (
    "The uncertainty is zero to first order, which no measured figure is: "
    "look at the assumptions and at the formula's higher orders."
)


class Derivation:
    """One visit's dimensions. Rows, budgets and covariances are made when asked for."""

    __slots__ = ("_details", "_dimensions", "answers", "arguments", "instruments", "layout", "used", "visit")

    def __init__(
        self,
        visit: Visit,
        used: Visit,
        layout: Layout,
        instruments: tuple[Instrument | None, ...],
        numbers: tuple[list[Any], tuple[float, ...]],
    ) -> None:
        self.visit, self.used, self.layout, self.instruments = visit, used, layout, instruments
        self.arguments, self.answers = numbers  # what went into the compiled formulas, and what came out
        self._dimensions: tuple[DimensionResult, ...] | None = None
        self._details: Details | None = None

    @property
    def assumptions(self) -> Assumptions:
        return self.layout.assumptions

    @property
    def outcomes(self) -> tuple[Outcome[Node], ...]:
        """What was derived, in the order of `dimensions`."""
        return self.layout.outcomes

    @property
    def dimensions(self) -> tuple[DimensionResult, ...]:
        if self._dimensions is None:
            self._dimensions = tuple(self._rows())
        return self._dimensions

    @property
    def figures(self) -> list[tuple[float, float]]:
        """Value and expanded uncertainty of every outcome that has a formula, bare; NaN where there is no answer."""
        answers, count = self.answers, len(self.layout.outputs.values)
        k = self.layout.assumptions.coverage_factor
        if not self.layout.weighted:
            return list(zip(answers, map(k.__mul__, answers[count:]), strict=False))
        nan = math.nan
        rows = [self.dimensions[i] for i, place in enumerate(self.layout.places) if place is not None]
        return [(nan if one.value is None else one.value, one.expanded_uncertainty or nan) for one in rows]

    def _rows(self) -> Iterable[DimensionResult]:
        answers, layout = self.answers, self.layout
        count = len(layout.outputs.values)
        weights = dict(zip(layout.weighted, answers[2 * count :], strict=True))
        factor, place = layout.assumptions.coverage_factor, 0
        for outcome, (name, unit) in zip(layout.outcomes, layout.labels, strict=True):
            if outcome.value is None:
                yield self._without_value(outcome, name, unit)
                continue
            value, u = answers[place], answers[count + place]
            weight, place = weights.get(place, 0.0), place + 1
            if not math.isfinite(value):
                yield self._without_value(outcome, name, unit)
            elif not (u > 0.0 and math.isfinite(u)):
                yield DimensionResult(
                    name, outcome.slug, outcome.mast, unit, value, None, outcome.method, factor, reason=ZERO_UNCERTAINTY
                )
            else:
                degrees = u**4 / weight if weight > 0.0 else None
                k = factor if degrees is None else coverage_factor(degrees, factor)
                yield DimensionResult(name, outcome.slug, outcome.mast, unit, value, u, outcome.method, k, degrees)

    def _without_value(self, outcome: Outcome[Node], name: str, unit: str) -> DimensionResult:
        reason = why_no_value(outcome, self)
        return DimensionResult(
            name,
            outcome.slug,
            outcome.mast,
            unit,
            None,
            None,
            outcome.method,
            self.assumptions.coverage_factor,
            missing=outcome.missing,
            reason=reason,
        )

    def find(self, name: str, mast: str = "main", method: str | None = None) -> int | None:
        """Position in `dimensions` of a symbol or slug; of BAS the adopted one unless a method is named."""
        kind = dimension_by_name(name)
        if kind is None:
            return None
        if kind.per == "boat":
            mast = self.visit.rig.forward_mast
        if method is None:
            method = "adopted" if kind.slug == "boom_above_sheer" else ""
        return self.layout.positions.get((kind.slug, mast, method))

    def value_at(self, position: int) -> float | None:
        """The value at a position in `dimensions`, without making the rows."""
        place = self.layout.places[position]
        value = math.nan if place is None else self.answers[place]
        return value if math.isfinite(value) else None

    def get(self, name: str, mast: str = "main", method: str | None = None) -> DimensionResult | None:
        """The dimension by symbol or slug; None where this visit is not to have it."""
        position = self.find(name, mast, method)
        return None if position is None else self.dimensions[position]

    # Sources

    @property
    def details(self) -> Details:
        """Corrected readings, sources and their effects as arrays with keys."""
        if self._details is None:
            self._details = details_of(self.layout, self.used, self.instruments, self.arguments)
        return self._details

    def budget(self, name: str, mast: str = "main", method: str | None = None) -> list[BudgetLine]:
        """Every source of a dimension's uncertainty, greatest first; [] where the dimension has no value."""
        position = self.find(name, mast, method)
        if position is None or self.dimensions[position].value is None:
            return []
        details = self.details
        contributions = details.contributions[position]
        variance = float(contributions @ contributions)
        lines = [
            BudgetLine(
                source=label(key),
                shared_by=SOURCES[key.kind].shared_by,
                size=float(size),
                sensitivity=float(contribution / size),
                contribution=abs(float(contribution)),
                share=float(contribution * contribution / variance),
                unit=SOURCES[key.kind].unit,
            )
            for key, size, contribution in zip(details.sources, details.sizes, contributions, strict=True)
            if abs(contribution) > 1e-12 * math.sqrt(variance)
        ]
        return sorted(lines, key=lambda line: -line.share)

    def covariance(self, a: tuple[str, str, str | None] | str, b: tuple[str, str, str | None] | str) -> float | None:
        """Covariance of two dimensions of this visit, each a name or (name, mast, method); None without values."""
        first, second = self._position_of(a), self._position_of(b)
        if first is None or second is None:
            return None
        contributions = self.details.contributions
        return float(contributions[first] @ contributions[second])

    def _position_of(self, which: tuple[str, str, str | None] | str) -> int | None:
        position = self.find(which) if isinstance(which, str) else self.find(*which)
        return None if position is None or self.dimensions[position].value is None else position


def derive(visit: Visit, assumptions: Assumptions = DEFAULT) -> Derivation:
    """All dimensions of one visit with their uncertainty. Readings that are no numbers of a rig count as missing."""
    values, temperature, used = [one.value for one in visit.readings], visit.air_temperature_c, visit
    # In this sense NaN, which is in no order, is caught as well.
    if not (sum(map(abs, values)) < TOO_GREAT and (temperature is None or -TOO_GREAT < temperature < TOO_GREAT)):
        used = _finite(visit)
        values = [one.value for one in used.readings]
    layout, instruments = locate(used, assumptions)
    arguments = layout.arguments(used, instruments, values)
    return Derivation(visit, used, layout, instruments, (arguments, layout.run(arguments)))


def _finite(visit: Visit) -> Visit:
    temperature = visit.air_temperature_c
    if temperature is not None and not -TOO_GREAT < temperature < TOO_GREAT:
        temperature = None
    return replace(visit, readings=usable(visit.readings), air_temperature_c=temperature)


@dataclass(frozen=True, slots=True)
class Columns:
    """Many visits of one layout: rows as in `outcomes`, one column per visit, NaN where there is no answer."""

    outcomes: tuple[Outcome[Node], ...]
    values: Array
    standard_uncertainties: Array
    coverage_factors: Array | float

    @property
    def expanded_uncertainties(self) -> Array:
        product: Array = self.coverage_factors * self.standard_uncertainties
        return product

    def row(self, name: str, mast: str = "main", method: str = "") -> int:
        """Row of a dimension by slug or symbol. KeyError where there is none."""
        kind = dimension_by_name(name)
        for i, outcome in enumerate(self.outcomes):
            if kind is not None and (outcome.slug, outcome.mast, outcome.method) == (kind.slug, mast, method):
                return i
        raise KeyError(name)


def derive_columns(
    template: Visit,
    readings: Array,
    air_temperature_c: Array | float | None = None,
    assumptions: Assumptions = DEFAULT,
    chunk: int = CHUNK,
) -> Columns:
    """Dimensions of many visits that differ from `template` only in their numbers.

    `readings` has a row for each reading of the template and a column for each visit.
    """
    layout, instruments = locate(template, assumptions)
    count, total = len(layout.outputs.values), readings.shape[1]
    answers = np.empty((2 * count + len(layout.weighted), total))
    columns = layout.columns
    with np.errstate(all="ignore"):
        for start in range(0, total, chunk):
            part = slice(start, start + chunk)
            temperature = air_temperature_c[part] if isinstance(air_temperature_c, np.ndarray) else air_temperature_c
            numbers = [*readings[:, part], *layout.circumstances(template, instruments, temperature)]
            for row, answer in zip(answers, columns(numbers), strict=True):
                row[part] = answer
        return _as_columns(layout, answers, count)


def _as_columns(layout: Layout, answers: Array, count: int) -> Columns:
    values, u, weights = answers[:count], answers[count : 2 * count], answers[2 * count :]
    bad = ~(np.isfinite(values) & np.isfinite(u) & (u > 0))
    if bad.any():
        values[bad & ~np.isfinite(values)] = np.nan
        u[bad] = np.nan
    factors: Array | float = layout.assumptions.coverage_factor
    if layout.weighted:
        degrees = np.full_like(u, np.inf)
        rows = list(layout.weighted)
        degrees[rows] = np.where(weights > 0, u[rows] ** 4 / weights, np.inf)
        factors = coverage_factors(degrees, layout.assumptions.coverage_factor)
    present = tuple(outcome for outcome in layout.outcomes if outcome.value is not None)
    return Columns(present, values, u, factors)


def derive_many(visits: Sequence[Visit], assumptions: Assumptions = DEFAULT) -> list[Derivation]:
    """Derivations of any visits, in their order; those of one layout are worked out together as columns."""
    groups: dict[int, list[int]] = {}
    started: list[tuple[Visit, Visit, Layout, tuple[Instrument | None, ...], list[Any]]] = []
    for i, visit in enumerate(visits):
        used = _finite(visit)
        layout, instruments = locate(used, assumptions)
        values = [one.value for one in used.readings]
        started.append((visit, used, layout, instruments, layout.arguments(used, instruments, values)))
        groups.setdefault(id(layout), []).append(i)
    answers: dict[int, tuple[float, ...]] = {}
    for members in groups.values():
        layout = started[members[0]][2]
        if len(members) < 8:
            answers.update({i: layout.run(started[i][4]) for i in members})
            continue
        for start in range(0, len(members), CHUNK):
            some = members[start : start + CHUNK]
            table = np.array([started[i][4] for i in some], dtype=np.float64).T
            with np.errstate(all="ignore"):
                rows = [np.broadcast_to(answer, (len(some),)) for answer in layout.columns(list(table))]
            answers.update(zip(some, zip(*(row.tolist() for row in rows), strict=True), strict=True))
    return [Derivation(*start[:4], (start[4], answers[i])) for i, start in enumerate(started)]
