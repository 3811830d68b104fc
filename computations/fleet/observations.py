"""What goes into the fleet's least squares, as columns of numbers."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Observations:
    """Columns of one length n; indices count from 0. Rows of one boat need not lie together.

    boat, quantity (one physical length of one boat), visit, tape, measurer, kind: shape (n,), integers.
    day: (n,), orders the visits. value_mm: (n,), the reading after every correction except the tape's scale error.
    independent_u_mm: (n,), standard uncertainty of what no other reading shares.
    shared_row, shared_source, shared_mm: (s,), sparse: reading `row` carries `mm` (sensitivity x standard
    uncertainty) of a source. A source is shared within a boat only.
    """

    boat: Ints
    quantity: Ints
    visit: Ints
    tape: Ints
    measurer: Ints
    kind: Ints
    day: Floats
    value_mm: Floats
    independent_u_mm: Floats
    shared_row: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    shared_source: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    shared_mm: Floats = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return len(self.value_mm)


@dataclass(frozen=True, slots=True)
class Sizes:
    """How many tapes, measurers and kinds of reading there are; biases stand after the tapes among the parameters."""

    tapes: int
    measurers: int
    kinds: int

    @property
    def parameters(self) -> int:
        return self.tapes + self.measurers * self.kinds

    def bias(self, measurer: Ints, kind: Ints) -> Ints:
        """Where each bias stands among the parameters."""
        place: Ints = self.tapes + measurer * self.kinds + kind
        return place


@dataclass(frozen=True, slots=True)
class Datum:
    """A calibration certificate ties a tape down: e = mm_per_m with standard uncertainty u."""

    tape: int
    mm_per_m: float
    u: float


def check(observations: Observations, sizes: Sizes, data: tuple[Datum, ...]) -> None:
    """ValueError where an index is out of range, a value not finite or an uncertainty not above zero."""
    for name, top in (("tape", sizes.tapes), ("measurer", sizes.measurers), ("kind", sizes.kinds)):
        column = getattr(observations, name)
        if len(column) and (column.min() < 0 or column.max() >= top):
            raise ValueError(f"{name}: an index lies outside 0 to {top - 1}")
    if not (np.isfinite(observations.value_mm).all() and np.isfinite(observations.independent_u_mm).all()):
        raise ValueError("every reading and its uncertainty must be a finite number")
    if (observations.independent_u_mm <= 0).any():
        raise ValueError("every reading needs an uncertainty above zero")
    if any(not (np.isfinite(one.mm_per_m) and np.isfinite(one.u) and one.u > 0) for one in data):
        raise ValueError("a certificate needs a finite error and an uncertainty above zero")
    if any(not 0 <= one.tape < sizes.tapes for one in data):
        raise ValueError(f"certificate: a tape lies outside 0 to {sizes.tapes - 1}")
