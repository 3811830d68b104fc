"""What changed between two visits, how sure that is, and which readings carried it.

The uncertainty of a change leaves out what both visits share: the same tape under the same calibration, the same
calliper, the same scale (JCGM 100:2008, 5.2.2 and F.1.2.3). E_n = change / U, with U expanded (ISO 13528, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from computations.catalogue import ReadingKey
from computations.derivation import Derivation
from computations.details import Details
from computations.results import Carried, Change, DimensionResult
from computations.student import coverage_factor, effective_degrees_of_freedom
from computations.temperature import TemperatureEffect

Array = NDArray[np.float64]
REMAINDER = "remainder"
Pair = tuple[int | None, int | None]


@dataclass(frozen=True, slots=True)
class ReadingChange:
    """One reading, its takes together and corrected, in two visits. None where a visit does not have it."""

    reading: str
    mast: str
    position: str
    previous: float | None
    current: float | None
    change: float | None
    expanded_uncertainty: float | None
    en: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Changes of dimensions, in the order of the current visit, and of the readings beneath them."""

    changes: tuple[Change, ...]
    readings: tuple[ReadingChange, ...] = ()

    def get(self, name: str, mast: str = "main") -> Change | None:
        """A dimension's change by symbol or slug."""
        return next((one for one in self.changes if name in (one.name, one.slug) and one.mast == mast), None)


def compare(previous: Derivation, current: Derivation, limits: Mapping[str, float] | None = None) -> Comparison:
    """Every dimension of either visit. `limits` maps a dimension's slug to the least change that matters, in its unit.

    Of the boom's height only the adopted one is compared, whichever methods it came from.
    """
    both = _Both(previous, current)
    changes = tuple(both.change(pair, limits or {}) for pair in both.pairs())
    return Comparison(changes, both.reading_changes())


class _Both:
    def __init__(self, previous: Derivation, current: Derivation) -> None:
        self.previous, self.current = previous, current
        self.before, self.now = previous.details, current.details
        self.factor = current.assumptions.coverage_factor
        now_at = {key: j for j, key in enumerate(self.now.sources) if key.lasts}
        shared = [(i, now_at[key]) for i, key in enumerate(self.before.sources) if key.lasts and key in now_at]
        self.shared_before = [i for i, _ in shared]
        self.shared_now = [j for _, j in shared]
        self.rows_before = {key: i for i, key in enumerate(self.before.keys)}
        self.rows_now = {key: i for i, key in enumerate(self.now.keys)}
        self.temperature = TemperatureEffect(previous, current)
        self.same_boom_readings = {mast: self._same_boom_readings(mast) for mast in self.now.booms}

    def pairs(self) -> list[Pair]:
        """Positions of each dimension in both visits: the current visit's order, then what only the previous had."""
        before = self._positions(self.previous)
        now = self._positions(self.current)
        only_before: list[Pair] = [(i, None) for key, i in before.items() if key not in now]
        return [*((before.get(key), i) for key, i in now.items()), *only_before]

    @staticmethod
    def _positions(derivation: Derivation) -> dict[tuple[str, str], int]:
        return {
            (outcome.slug, outcome.mast): i
            for i, outcome in enumerate(derivation.outcomes)
            if outcome.method in ("", "adopted")
        }

    def change(self, pair: Pair, limits: Mapping[str, float]) -> Change:
        before = None if pair[0] is None else self.previous.dimensions[pair[0]]
        now = None if pair[1] is None else self.current.dimensions[pair[1]]
        one = now or before
        if one is None:
            raise ValueError("A pair needs a dimension of at least one visit.")
        amount = u = None
        carried: tuple[Carried, ...] = ()
        if pair[0] is not None and pair[1] is not None and before and now:
            if before.value is not None and now.value is not None:
                amount = now.value - before.value
                carried = self._carried(pair[0], pair[1], one, amount)
            if before.standard_uncertainty is not None and now.standard_uncertainty is not None:
                u = self._expanded(self.before.contributions[pair[0]], self.now.contributions[pair[1]])
        en = amount / u if amount is not None and u else None
        explained = self.temperature.of(*pair) if amount is not None else None
        return Change(
            name=one.name,
            slug=one.slug,
            mast=one.mast,
            unit=one.unit,
            previous=before.value if before else None,
            previous_expanded=before.expanded_uncertainty if before else None,
            current=now.value if now else None,
            current_expanded=now.expanded_uncertainty if now else None,
            change=amount,
            expanded_uncertainty=u,
            en=en,
            verdict=verdict(en, amount, limits.get(one.slug)),
            method=one.method,
            carried_by=carried,
            by_temperature=explained.amount if explained else None,
        )

    def _expanded(self, before: Array, now: Array) -> float | None:
        """U of a difference from its contributions in both visits; None where it has none."""
        alone_before, alone_now = before.copy(), now.copy()
        together = now[self.shared_now] - before[self.shared_before]
        alone_before[self.shared_before] = 0.0
        alone_now[self.shared_now] = 0.0
        parts = np.concatenate([together, alone_before, alone_now])
        degrees = np.concatenate([np.full(len(together), np.inf), self.before.degrees, self.now.degrees])
        variance = float(parts @ parts)
        if not (variance > 0.0 and math.isfinite(variance)):
            return None
        finite = np.isfinite(degrees)
        some = zip((parts[finite] ** 2).tolist(), degrees[finite].tolist(), strict=True)
        return coverage_factor(effective_degrees_of_freedom(variance, some), self.factor) * math.sqrt(variance)

    def _same_boom_readings(self, mast: str) -> bool:
        """Whether the boom's height rests on the same readings in both visits."""
        rows = [derivation.find("BAS", mast) for derivation in (self.previous, self.current)]
        if None in rows:
            return False
        sets = [
            {key for key, gradient in zip(details.keys, details.gradients[row], strict=True) if gradient}
            for details, row in zip((self.before, self.now), rows, strict=True)
        ]
        return sets[0] == sets[1]

    def _carried(self, before: int, now: int, one: DimensionResult, amount: float) -> tuple[Carried, ...]:
        """Mean gradient of both visits x change of each reading; the rest is the remainder, and all adds up.

        Where a boom height was found in another way than before, its readings cannot be held against each other: it
        stands as one part of what builds on it.
        """
        parts: list[Carried] = []
        for key in self.rows_now:
            if key in self.rows_before:
                gradient, change = self._gradient(key, before, now), self._reading_change(key)
                if gradient * change:
                    parts.append(Carried(*key, gradient * change))
        if one.slug != "boom_above_sheer":
            parts = self._with_boom_as_one(parts, before, now)
        parts.sort(key=lambda part: -abs(part.amount))
        remainder = amount - math.fsum(part.amount for part in parts)
        return (*parts, Carried(REMAINDER, one.mast, "", remainder))

    def _gradient(self, key: ReadingKey, before: int, now: int) -> float:
        """Mean of both visits, which leaves only a third-order remainder."""
        return 0.5 * float(
            self.before.gradients[before, self.rows_before[key]] + self.now.gradients[now, self.rows_now[key]]
        )

    def _reading_change(self, key: ReadingKey) -> float:
        return float(self.now.corrected[self.rows_now[key]] - self.before.corrected[self.rows_before[key]])

    def _with_boom_as_one(self, parts: list[Carried], before: int, now: int) -> list[Carried]:
        for mast, same in self.same_boom_readings.items():
            if same or mast not in self.before.booms:
                continue
            slope = 0.5 * float(
                self.before.boom_gradients[before, self.before.booms.index(mast)]
                + self.now.boom_gradients[now, self.now.booms.index(mast)]
            )
            heights = [derivation.get("BAS", mast) for derivation in (self.previous, self.current)]
            if slope and heights[0] and heights[1] and heights[0].value is not None and heights[1].value is not None:
                boom = {*self._boom_readings(self.before, self.previous, mast)}
                boom |= {*self._boom_readings(self.now, self.current, mast)}
                parts = [part for part in parts if (part.reading, part.mast, part.position) not in boom]
                parts.append(Carried("boom_above_sheer", mast, "", slope * (heights[1].value - heights[0].value)))
        return parts

    @staticmethod
    def _boom_readings(details: Details, derivation: Derivation, mast: str) -> list[ReadingKey]:
        row = derivation.find("BAS", mast)
        return [] if row is None else [key for key, g in zip(details.keys, details.gradients[row], strict=True) if g]

    def reading_changes(self) -> tuple[ReadingChange, ...]:
        keys = [*self.rows_now, *(key for key in self.rows_before if key not in self.rows_now)]
        return tuple(self._one_reading(key) for key in keys)

    def _one_reading(self, key: ReadingKey) -> ReadingChange:
        before, now = self.rows_before.get(key), self.rows_now.get(key)
        previous = None if before is None else float(self.before.corrected[before])
        current = None if now is None else float(self.now.corrected[now])
        if before is None or now is None:
            return ReadingChange(*key, previous, current, None, None, None)
        change = self._reading_change(key)
        expanded = self._expanded(self.before.effects[before], self.now.effects[now])
        return ReadingChange(*key, previous, current, change, expanded, change / expanded if expanded else None)


def verdict(en: float | None, change: float | None, limit: float | None) -> str | None:
    """One of the three verdicts; None where it cannot be told."""
    if en is None or change is None:
        return None
    if abs(en) <= 1.0:
        return "within_noise"
    return "changed_below_limit" if limit is not None and abs(change) < limit else "changed"
