"""Readings not yet taken: what their sources would be, and how sure the dimensions would be with them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from computations.catalogue import BOOM_HEIGHT_METHODS, READINGS, SIDES, ReadingKey
from computations.derivation import Derivation
from computations.gauges import arguments
from computations.sources import PER_TAKE, ROOT_3, SOURCES, SourceKey
from computations.student import coverage_factor, effective_degrees_of_freedom
from computations.tracing import Take

Row = dict[SourceKey, float]  # change with one standard uncertainty of each source
Gradient = dict[ReadingKey, float]
USUAL_OFFSET = 1.3  # sheer point's distance from the mast over the boom's height, where none was read (judgement)
STRING_BELOW_BAND = 100.0  # mm, where the string would be stretched


@dataclass(frozen=True, slots=True)
class Effects:
    """Every reading's sources with their degrees of freedom, and how each method gives the boom's height."""

    readings: Mapping[ReadingKey, Row]
    degrees: Mapping[SourceKey, float]
    methods: Mapping[tuple[str, str], Gradient]  # (mast, method) -> gradient of the boom's height in its readings


class Foreseen:
    """The present readings' sources as rows, ready to be changed."""

    def __init__(self, derivation: Derivation) -> None:
        self.derivation, self.details = derivation, derivation.details
        self.assumptions, self.factor = derivation.assumptions, derivation.assumptions.coverage_factor
        details = self.details
        self.keys: tuple[ReadingKey, ...] = details.keys
        self.at = {key: row for row, key in enumerate(details.keys)}
        self.counts = {key: len(takes) for key, takes in derivation.layout.takes.items()}
        rows = {
            key: {details.sources[j]: float(details.effects[row, j]) for j in details.effects[row].nonzero()[0]}
            for row, key in enumerate(details.keys)
        }
        degrees = {
            key: float(nu) for key, nu in zip(details.sources, details.degrees, strict=True) if math.isfinite(nu)
        }
        self.booms = tuple(mast for mast in details.booms if self._height(mast, "adopted") is not None)
        methods = {
            (mast, method): self._gradient(position)
            for mast in self.booms
            for method in BOOM_HEIGHT_METHODS
            if self._height(mast, method) is not None and (position := derivation.find("BAS", mast, method)) is not None
        }
        self.present = Effects(rows, degrees, methods)

    def _height(self, mast: str, method: str) -> float | None:
        position = self.derivation.find("BAS", mast, method)
        return None if position is None else self.derivation.value_at(position)

    def _gradient(self, position: int) -> Gradient:
        row = self.details.gradients[position]
        return {self.keys[j]: float(row[j]) for j in row.nonzero()[0]}

    def methods(self, mast: str) -> tuple[str, ...]:
        """Which ways to the boom's height there are now."""
        return tuple(method for method in BOOM_HEIGHT_METHODS if (mast, method) in self.present.methods)

    def boom_height(self, mast: str) -> float:
        height = self._height(mast, "adopted")
        return 0.0 if height is None else height

    def spacing(self, mast: str) -> float:
        return float(self.details.corrected[self.at["mark_spacing", mast, ""]])

    def offset(self, mast: str) -> float:
        """How far out the sheer points lie, level; as usual where no slant distance was read."""
        return sum(self._sheer(mast, side)[1] for side in SIDES) / len(SIDES)

    def _sheer(self, mast: str, side: str) -> tuple[float, float]:
        """Depth of the sheer point below the band and its distance from the mast."""
        keys = [("mark_spacing", mast, ""), ("band_to_sheer", mast, side), ("mark_to_sheer", mast, side)]
        if not all(key in self.at for key in keys):
            return self.boom_height(mast), USUAL_OFFSET * self.boom_height(mast)
        spacing, band, mark = (float(self.details.corrected[self.at[key]]) for key in keys)
        depth = (band * band - mark * mark) / (2.0 * spacing) + 0.5 * spacing
        return depth, math.sqrt(max(band * band - depth * depth, 0.0))

    # What the answer would be

    def expanded(self, position: int, effects: Effects) -> float | None:
        """U of the dimension at this position with these sources; None where it has none."""
        total: Row = {}
        for key, slope in self._through(position, effects).items():
            for source, effect in effects.readings[key].items():
                total[source] = total.get(source, 0.0) + slope * effect
        variance = sum(part * part for part in total.values())
        if not (variance > 0.0 and math.isfinite(variance)):
            return None
        known = ((total[source] ** 2, nu) for source, nu in effects.degrees.items() if source in total)
        degrees = effective_degrees_of_freedom(variance, known)
        return coverage_factor(degrees, self.factor) * math.sqrt(variance)

    def _through(self, position: int, effects: Effects) -> Gradient:
        """The dimension's gradient, with each boom height combined anew."""
        gradient = self._gradient(position)
        outcome = self.derivation.outcomes[position]
        for number, mast in enumerate(self.details.booms):
            if outcome.slug == "boom_above_sheer":
                slope = 1.0 if (outcome.mast, outcome.method) == (mast, "adopted") else 0.0
            else:
                slope = float(self.details.boom_gradients[position, number])
            anew = self._adopted(mast, effects) if slope and mast in self.booms else None
            if anew is None:
                continue
            for key, part in self._gradient_of_adopted(mast).items():
                gradient[key] = gradient.get(key, 0.0) - slope * part
            for key, part in anew.items():
                gradient[key] = gradient.get(key, 0.0) + slope * part
        return {key: part for key, part in gradient.items() if part}

    def _gradient_of_adopted(self, mast: str) -> Gradient:
        position = self.derivation.find("BAS", mast, "adopted")
        return {} if position is None else self._gradient(position)

    def _adopted(self, mast: str, effects: Effects) -> Gradient | None:
        """The linear combination of least variance, as the derivation adopts it; None where the methods disagree."""
        rows = {
            method: effects.methods[mast, method] for method in BOOM_HEIGHT_METHODS if (mast, method) in effects.methods
        }
        if len(rows) == 1:
            return dict(next(iter(rows.values())))
        if self._disagree(mast):
            return None
        string, marks = (_combined(effects.readings, rows[method]) for method in ("string", "two_mark"))
        var_s, var_t, both = _product(string, string), _product(marks, marks), _product(string, marks)
        share = (var_t - both) / (var_s + var_t - 2.0 * both)
        combined = {key: share * part for key, part in rows["string"].items()}
        for key, part in rows["two_mark"].items():
            combined[key] = combined.get(key, 0.0) + (1.0 - share) * part
        return combined

    def _disagree(self, mast: str) -> bool:
        """Both ways were read and one was chosen with a reason: it stays the one."""
        heights = [self._height(mast, method) for method in BOOM_HEIGHT_METHODS]
        if heights[0] is None or heights[1] is None:
            return False
        string, marks = (
            _combined(self.present.readings, self.present.methods[mast, method]) for method in ("string", "two_mark")
        )
        apart = {key: string.get(key, 0.0) - marks.get(key, 0.0) for key in string.keys() | marks.keys()}
        return abs(heights[0] - heights[1]) > self.factor * math.sqrt(_product(apart, apart))

    # What could be read

    def with_takes(self, keys: Iterable[ReadingKey]) -> Effects:
        """One take more of each of these readings, falling as the sources say."""
        rows, degrees = dict(self.present.readings), dict(self.present.degrees)
        for key in keys:
            rows[key] = self._once_more(key, degrees)
        return replace(self.present, readings=rows, degrees=degrees)

    def _once_more(self, key: ReadingKey, degrees: dict[SourceKey, float]) -> Row:
        """Its sources with n + 1 takes. From three on their scatter counts: as it was, or as the sources let expect."""
        row, count = dict(self.present.readings[key]), self.counts[key]
        per_take = [source for source in row if source.kind in PER_TAKE and source.detail == key]
        if count + 1 < 3:
            row.update({source: row[source] * math.sqrt(count / (count + 1)) for source in per_take})
            return row
        scatter = SourceKey("repeatability", self.derivation.used.key, key)
        if count < 3:
            variance = count * sum(row.pop(source) ** 2 for source in per_take) / (count + 1)
        else:
            variance = row[scatter] ** 2 * count / (count + 1)
        least = self._rounding(key)
        row[scatter] = math.sqrt(max(variance, least))
        degrees.pop(scatter, None)
        if variance >= least and (count < 3 or scatter in self.present.degrees):
            degrees[scatter] = float(count)
        return row

    def _rounding(self, key: ReadingKey) -> float:
        """The variance that scatter never falls below: the reading's own rounding."""
        tape = all(self.derivation.layout.gauges[take.gauge].category == "tape" for take in self._takes(key))
        end = self.assumptions.reading_end_mm if tape else 0.05
        return end * end / 3.0

    def _takes(self, key: ReadingKey) -> tuple[Take, ...]:
        return self.derivation.layout.takes[key]

    def with_two_marks(self, mast: str, spacing: float) -> Effects:
        """The height by two marks this far apart: the second mark read anew, the slants from the band as they are."""
        rows, methods = dict(self.present.readings), dict(self.present.methods)
        gradient: Gradient = {}
        spacing_key = ("mark_spacing", mast, "")
        rows[spacing_key] = self._foreseen_row(spacing_key, spacing, 1.0)
        gradient[spacing_key] = 0.0
        for side in SIDES:
            depth, out = self._sheer(mast, side)
            band, mark = math.hypot(out, depth), math.hypot(out, depth - spacing)
            upper, lower = ("band_to_sheer", mast, side), ("mark_to_sheer", mast, side)
            if upper not in rows:
                rows[upper] = self._foreseen_row(upper, band, depth / band)
            rows[lower] = self._foreseen_row(lower, mark, (depth - spacing) / mark)
            gradient[upper], gradient[lower] = 0.5 * band / spacing, -0.5 * mark / spacing
            gradient[spacing_key] += 0.5 * (spacing - depth) / spacing
        methods[mast, "two_mark"] = gradient
        degrees = {
            source: nu
            for source, nu in self.present.degrees.items()
            if source.detail[:2] not in (("mark_spacing", mast), ("mark_to_sheer", mast))
        }
        return Effects(rows, degrees, methods)

    def with_string(self, mast: str) -> Effects:
        """The height by the string as well, stretched a little below the band."""
        rows, methods = dict(self.present.readings), dict(self.present.methods)
        band = ("string_to_band", mast, "")
        rows[band] = self._foreseen_row(band, STRING_BELOW_BAND, 1.0)
        gradient: Gradient = {band: 1.0}
        for side in SIDES:
            key = ("string_to_sheer", mast, side)
            rows[key] = self._foreseen_row(key, self.boom_height(mast) - STRING_BELOW_BAND, 1.0)
            gradient[key] = 0.5
        methods[mast, "string"] = gradient
        return Effects(rows, self.present.degrees, methods)

    def _foreseen_row(self, key: ReadingKey, length: float, cosine: float) -> Row:
        """Sources of a reading not yet taken, once, with the tape that the boom's height was read with."""
        slug, mast, side = key
        visit = self.derivation.used.key
        like = next(one for one in self.keys if one[1] == mast and one[0] in _BOOM_READINGS)
        take = self._takes(like)[0]
        gauge = self.derivation.layout.gauges[take.gauge]
        numbers = arguments(
            gauge,
            self.derivation.instruments[gauge.instrument],
            self.derivation.used.air_temperature_c,
            self.assumptions,
        )
        factor, per_k, *limits = (float(number) for number in numbers)
        shown = length / factor
        scale = next(source for source in self.present.readings[like] if source.kind == gauge.source)
        row: Row = {
            scale: _scale_effect(gauge.model, limits, shown),
            SourceKey("tape_temperature", visit): shown * per_k,
        }
        end = self.assumptions.reading_end_mm
        row[SourceKey("reading_end", visit, key)] = math.sqrt(2.0 * end * end / 3.0)
        for kind in READINGS[slug].sources:
            size = getattr(self.assumptions, SOURCES[kind].assumption) / ROOT_3
            if SOURCES[kind].scope == "reading":
                row[SourceKey(kind, visit, key)] = size
            elif kind == "sheer_point":
                row[SourceKey(kind, visit, (mast, side))] = -size * cosine
            else:
                row[SourceKey(kind, visit, (mast,))] = size * cosine
        return row


_BOOM_READINGS = frozenset(slug for slugs in BOOM_HEIGHT_METHODS.values() for slug in slugs)


def _scale_effect(model: str, limits: list[float], shown: float) -> float:
    if model == "class":
        return limits[0] + limits[1] * math.ceil(shown / 1000.0)
    return limits[0] if model == "constant" else limits[0] * shown


def _combined(rows: Mapping[ReadingKey, Row], gradient: Gradient) -> Row:
    total: Row = {}
    for key, slope in gradient.items():
        for source, effect in rows[key].items():
            total[source] = total.get(source, 0.0) + slope * effect
    return total


def _product(a: Row, b: Row) -> float:
    return sum(part * b[source] for source, part in a.items() if source in b)
