"""The scene a diagnosis looks at: the readings of the present visit and what they are held against."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

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
    unit: str
    step: float  # the last place of what was written, in mm or kg
    instrument: str
    by_tape: bool

    @property
    def slug(self) -> str:
        return self.ref.reading


def by_tape(slug: str, instrument_kind: str) -> bool:
    """Whether a tape took it; where no instrument is named, whether one is used by custom."""
    return instrument_kind in TAPE_KINDS or (not instrument_kind and READINGS[slug].instrument_kinds[0] == "steel_tape")


@dataclass(frozen=True, slots=True)
class Slant:
    """One side's triangle of the two-mark method: A, B, Z and the depth d of the sheer point along the mast, mm.

    `today` is the spacing of this visit's mark, which may be another.
    """

    mast: str
    side: str
    upper: float
    lower: float
    spacing: float
    today: float

    @property
    def depth(self) -> float:
        return (self.upper**2 - self.lower**2 + self.spacing**2) / (2.0 * self.spacing)


@dataclass(frozen=True)
class Scene:
    """`rows` turns a batch of readings (h, r) into what is compared (h, n): zero, but for noise, when nothing happened.

    `slopes` (n, r) are the rows' first-order changes. `covariance` (n, n) is the measuring noise of the rows, what a
    method leaves free included. `expected` (r,) is each reading's value last time, nan where there is none. `bent` says
    that some rows are not linear in the readings. `history`: there was a visit before; `sisters`: the readings that are
    held against boats of the same design.
    """

    items: tuple[Item, ...]
    expected: Floats
    rows: Callable[[Floats], Floats]
    slopes: Floats
    covariance: Floats
    slants: tuple[Slant, ...] = ()
    same_mast: Mapping[str, bool] = field(default_factory=dict)  # by mast, where both visits identify it
    history: bool = True
    bent: bool = False
    sisters: frozenset[ReadingRef] = frozenset()

    @cached_property
    def values(self) -> Floats:
        return np.array([item.value for item in self.items])

    @cached_property
    def places(self) -> dict[ReadingRef, list[int]]:
        """The items of each reading, all its takes together."""
        found: dict[ReadingRef, list[int]] = {}
        for index, item in enumerate(self.items):
            found.setdefault(item.ref, []).append(index)
        return found

    @cached_property
    def masts(self) -> list[str]:
        return list(dict.fromkeys(ref.mast for ref in self.places))

    def width_of(self, slug: str, mast: str, default: float) -> float:
        """A band's width: last time's if there is one (today's may be at fault), else today's, else the default."""
        indices = self.places.get(ReadingRef(slug, mast))
        if not indices:
            return default
        before = float(self.expected[indices[0]])
        width = before if np.isfinite(before) else float(self.values[indices].mean())
        return width if 5.0 <= width <= 300.0 else default
