"""The scene a diagnosis looks at: the readings of the present visit and what they are held against."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from computations.catalogue import READINGS
from computations.results import ReadingRef

Floats = npt.NDArray[np.float64]
TAPE_KINDS = frozenset({"steel_tape"})


@dataclass(frozen=True, slots=True)
class Item:
    """One take of the present visit. `value` is corrected; `indicated` and `written` are what the instrument showed."""

    ref: ReadingRef
    take: int
    value: float
    indicated: float
    written: str
    step: float  # the last place of what was written, in mm or kg
    instrument: str
    instrument_kind: str

    @property
    def slug(self) -> str:
        return self.ref.reading

    @property
    def by_tape(self) -> bool:
        return self.instrument_kind in TAPE_KINDS or (
            not self.instrument_kind and READINGS[self.slug].instrument_kinds[0] == "steel_tape"
        )


@dataclass(frozen=True, slots=True)
class Slant:
    """One side's triangle of the two-mark method: A, B, Z and the depth d of the sheer point along the mast, mm."""

    mast: str
    side: str
    upper: float
    lower: float
    spacing: float

    @property
    def depth(self) -> float:
        return (self.upper**2 - self.lower**2 + self.spacing**2) / (2.0 * self.spacing)


@dataclass(frozen=True, slots=True)
class Scene:
    """`rows` turns a batch of readings (h, r) into what is compared (h, n): zero, but for noise, when nothing happened.

    `covariance` (n, n) is the measuring noise of the rows, what a method leaves free included. `expected` (r,) is each
    reading's value last time, nan where there is none.
    """

    items: tuple[Item, ...]
    expected: Floats
    rows: Callable[[Floats], Floats]
    covariance: Floats
    slants: tuple[Slant, ...] = ()
    same_mast: bool | None = None  # the identification says: the same mast as last time, another, or nothing

    @property
    def values(self) -> Floats:
        return np.array([item.value for item in self.items])

    def places(self) -> dict[ReadingRef, list[int]]:
        """The items of each reading, all its takes together."""
        found: dict[ReadingRef, list[int]] = {}
        for index, item in enumerate(self.items):
            found.setdefault(item.ref, []).append(index)
        return found

    def value_of(self, slug: str, mast: str, default: float) -> float:
        """Mean of a reading's takes now, or the default."""
        values = [item.value for item in self.items if item.slug == slug and item.ref.mast == mast]
        return sum(values) / len(values) if values else default
