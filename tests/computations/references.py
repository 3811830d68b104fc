"""The same dimensions through other libraries' uncertain numbers, for holding ours against them.

Corrections and sources are written out once more here, by hand and reading by reading, from the office's rules; only
the plan of formulas is the product's own text, run on the other library's numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from computations.catalogue import READINGS, ReadingKey
from computations.inputs import Assumptions, Reading, Visit
from computations.plan import Plan
from computations.sources import SIGNS, SOURCES

ROOT_3 = math.sqrt(3.0)
LIMITS = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
Make = Callable[[float, float, float], Any]  # value, u, degrees of freedom -> uncertain number


class ReferenceVisit:
    """One visit's corrected readings as uncertain numbers of another library, and the dimensions they give."""

    def __init__(self, visit: Visit, make: Make, maths: Any, assumptions: Assumptions | None = None) -> None:
        self.visit, self.make, self.maths = visit, make, maths
        self.assumptions = assumptions or Assumptions()
        self.temperature = make(0.0, self.assumptions.tape_temperature_k / ROOT_3, math.inf)
        self.shared: dict[tuple[str, ...], Any] = {}
        groups: dict[ReadingKey, list[Reading]] = {}
        for one in visit.readings:
            forward = READINGS[one.slug].per == "boat"
            mast = visit.rig.forward_mast if forward and one.mast == "main" else one.mast
            groups.setdefault((one.slug, mast, one.position), []).append(one)
        self.groups = groups
        self.plain = {key: self._plain(takes) for key, takes in groups.items()}
        self.readings = {key: self._reading(key, takes) for key, takes in groups.items()}
        self.plan: Plan[Any] = Plan(visit.rig, self.readings, maths, self._adopt)

    def _unit(self, *key: str) -> Any:
        """One shared source, in units of its standard uncertainty."""
        if key not in self.shared:
            self.shared[key] = self.make(0.0, 1.0, math.inf)
        return self.shared[key]

    def _factor(self, take: Reading) -> float:
        tape = self.visit.instrument(take.instrument)
        assert tape is not None
        temperature = self.visit.air_temperature_c
        factor = 1.0
        if temperature is not None:
            factor += tape.expansion_per_k * (temperature - tape.reference_temperature_c)
        if tape.calibration_error and tape.nominal_length_mm:
            factor += tape.calibration_error / tape.nominal_length_mm
        return factor

    def _by_tape(self, take: Reading) -> bool:
        tape = self.visit.instrument(take.instrument)
        return tape is not None and tape.kind in ("steel_tape", "rule") and READINGS[take.slug].quantity == "length"

    def _plain(self, takes: list[Reading]) -> float:
        return sum(one.value * (self._factor(one) if self._by_tape(one) else 1.0) for one in takes) / len(takes)

    def _reading(self, key: ReadingKey, takes: list[Reading]) -> Any:
        total = sum((self._take(key, take) for take in takes), 0.0) / len(takes)
        kind, tape = READINGS[key[0]], self._by_tape(takes[0])
        end = self.assumptions.reading_end_mm if tape else 0.05
        ends = end * math.sqrt(2.0) if tape else end
        per_take = [ends, *([self.assumptions.tape_at_sheer_mm] if "tape_at_sheer" in kind.sources else [])]
        if len(takes) >= 3:
            mean = sum(one.value for one in takes) / len(takes)
            scatter = math.sqrt(sum((one.value - mean) ** 2 for one in takes) / (len(takes) - 1) / len(takes))
            own = (scatter, len(takes) - 1.0) if scatter >= end / ROOT_3 else (end / ROOT_3, math.inf)
            total = total + self.make(0.0, *own)
        else:
            for half_width in per_take:
                total = total + self.make(0.0, half_width / ROOT_3 / math.sqrt(len(takes)), math.inf)
        for source in kind.sources:
            half_width = getattr(self.assumptions, SOURCES[source].assumption)
            if SOURCES[source].scope == "reading" and source != "tape_at_sheer":
                total = total + self.make(0.0, half_width / ROOT_3, math.inf)
            elif (source, key[0]) in SIGNS:
                where = key[1:] if source == "sheer_point" else key[1:2]
                total = total + SIGNS[source, key[0]] * half_width / ROOT_3 * self._unit(source, *where)
        return total + self._slope(key)

    def _take(self, key: ReadingKey, take: Reading) -> Any:
        instrument = self.visit.instrument(take.instrument)
        assert instrument is not None
        if not self._by_tape(take):
            limit = instrument.limit_of_error
            default = self.assumptions.scale_kg if READINGS[key[0]].unit == "kg" else self.assumptions.calliper_mm
            size = (default if limit is None else limit) / ROOT_3
            load = 1.0
            heavy = [one.value for one in self.groups.get(("scale_reading", key[1], ""), [])]
            if key[0] == "sling_weight" and heavy:
                load = take.value / (sum(heavy) / len(heavy))
            return take.value + size * load * self._unit("instrument", take.instrument)
        if instrument.calibration_u is not None and instrument.nominal_length_mm:
            size = instrument.calibration_u * take.value / instrument.nominal_length_mm
        else:
            a, b = LIMITS[instrument.accuracy_class or "II"]
            shown = [one.value for one in self.groups[key] if one.instrument == take.instrument]
            size = (a + b * math.ceil(abs(sum(shown) / len(shown)) / 1000.0)) / ROOT_3
        warmth = take.value * instrument.expansion_per_k * self.temperature
        return take.value * self._factor(take) + size * self._unit("instrument", take.instrument) + warmth

    def _slope(self, key: ReadingKey) -> Any:
        """Band edge and sheer point seen by a slant distance."""
        slug, mast, side = key
        if slug not in ("band_to_sheer", "mark_to_sheer"):
            return 0.0
        a, b = self.plain.get(("band_to_sheer", mast, side)), self.plain.get(("mark_to_sheer", mast, side))
        z = self.plain.get(("mark_spacing", mast, ""))
        cosine = 1.0
        if a and b and z and abs(a - b) <= z <= a + b:
            drop = (a * a - b * b + z * z) / (2.0 * z)
            cosine = drop / a if slug == "band_to_sheer" else (drop - z) / b
        effect = -cosine * self.assumptions.sheer_point_mm / ROOT_3 * self._unit("sheer_point", mast, side)
        if slug == "band_to_sheer":
            edge = self.assumptions.band_edge_mm / ROOT_3
            effect = effect + cosine * edge * self._unit("lower_band_edge", mast)
        return effect

    def _adopt(self, mast: str, string: Any, two_mark: Any) -> Any:
        """Best linear combination where both agree; the tests choose visits in which they do."""
        (var_s, both), (_, var_t) = self.maths.covariance(string, two_mark)
        share = (var_t - both) / (var_s + var_t - 2.0 * both)
        return share * string + (1.0 - share) * two_mark
