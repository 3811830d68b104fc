"""The boom's height over the sheer as a diagnosis sees it: what two methods must agree on, what a mark's place does.

These are the rows that are not linear in the readings. Each is a function of a batch of readings (h, r) -> (h,).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from computations.catalogue import SIDES, ReadingKey
from computations.diagnosis.scene import Floats, Slant

Bend = Callable[[Floats], Floats]
LEAST_MM = 1.0


class Heights:
    """Heights of one visit's readings; `members` has the items of each reading."""

    def __init__(self, members: Mapping[ReadingKey, list[int]]) -> None:
        self.members = members

    def has(self, mast: str, method: str) -> bool:
        return all(key in self.members for key in readings_of(method, mast))

    def mean(self, batch: Floats, key: ReadingKey) -> Floats:
        indices = self.members[key]
        result: Floats = batch[:, indices[0]] if len(indices) == 1 else batch[:, indices].mean(axis=1)
        return result

    def by(self, method: str, mast: str) -> Bend:
        return self.by_string(mast) if method == "string" else self.by_two_marks(mast)

    def by_string(self, mast: str) -> Bend:
        def height(batch: Floats) -> Floats:
            sides = [self.mean(batch, ("string_to_sheer", mast, side)) for side in SIDES]
            return (sides[0] + sides[1]) / 2.0 + self.mean(batch, ("string_to_band", mast, ""))

        return height

    def by_two_marks(self, mast: str) -> Bend:
        def height(batch: Floats) -> Floats:
            spacing = _away_from_zero(self.mean(batch, ("mark_spacing", mast, "")))
            total = np.zeros(len(batch))
            for side in SIDES:
                upper = self.mean(batch, ("band_to_sheer", mast, side))
                lower = self.mean(batch, ("mark_to_sheer", mast, side))
                total += (upper**2 - lower**2 + spacing**2) / (2.0 * spacing)
            return total / 2.0

        return height

    def agreement(self, mast: str) -> Bend:
        string, two_mark = self.by_string(mast), self.by_two_marks(mast)
        return lambda batch: string(batch) - two_mark(batch)

    def mark(self, item: int, slant: Slant) -> Bend:
        """What a distance from the mark has too much, wherever the mark was put between band and sheer this time."""
        spacing_key = ("mark_spacing", slant.mast, "")
        return lambda batch: batch[:, item] - from_mark(slant, self.mean(batch, spacing_key))

    def ratio(self, one: ReadingKey, other: ReadingKey) -> Bend:
        """Logarithm of one reading over another; of what is not positive, of next to nothing."""

        def logarithm(batch: Floats) -> Floats:
            first, second = self.mean(batch, one), self.mean(batch, other)
            result: Floats = np.log(np.maximum(first, LEAST_MM)) - np.log(np.maximum(second, LEAST_MM))
            return result

        return logarithm


def readings_of(method: str, mast: str) -> tuple[ReadingKey, ...]:
    if method == "string":
        return (*(("string_to_sheer", mast, side) for side in SIDES), ("string_to_band", mast, ""))
    slants = [(slug, mast, side) for side in SIDES for slug in ("band_to_sheer", "mark_to_sheer")]
    return (*slants, ("mark_spacing", mast, ""))


def from_mark(slant: Slant, spacing: Floats) -> Floats:
    """Distance from a mark `spacing` below the band to the sheer point of this triangle (Stewart's theorem)."""
    ratio = spacing / slant.spacing
    square = slant.upper**2 * (1.0 - ratio) + slant.lower**2 * ratio + spacing * (spacing - slant.spacing)
    result: Floats = np.sqrt(np.maximum(square, LEAST_MM))
    return result


def from_mark_slopes(slant: Slant, spacing: float) -> tuple[float, float, float]:
    """How `from_mark` changes with the triangle's own A, B and Z."""
    length = float(from_mark(slant, np.array([spacing]))[0])
    ratio = spacing / slant.spacing
    by_spacing = (ratio / slant.spacing * (slant.upper**2 - slant.lower**2) - spacing) / (2.0 * length)
    return (1.0 - ratio) * slant.upper / length, ratio * slant.lower / length, by_spacing


def gradient(bend: Bend, values: Floats) -> Floats:
    """(r,) change with each reading, by central differences."""
    step = 1e-2
    steps = step * np.eye(len(values))
    slope: Floats = (bend(values + steps) - bend(values - steps)) / (2.0 * step)
    return slope


def _away_from_zero(spacing: Floats) -> Floats:
    result: Floats = np.where(np.abs(spacing) < LEAST_MM, LEAST_MM, spacing)
    return result
