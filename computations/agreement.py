"""Whether two measurers of one rig agree: E_n of each dimension, and what tells the two apart.

E_n = (x2 - x1) / sqrt(U1^2 + U2^2); |E_n| <= 1 is satisfactory (ISO 13528 and ISO/IEC 17043, from memory). U1 and U2
are expanded with k = 2, and the two results independent. Two measurers with one tape under one calibration are not:
what they share moves both alike and cannot tell them apart. The comparison's E_n leaves it out, and that one decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from computations.comparison import Comparison
from computations.derivation import Derivation
from computations.results import Change

LIMIT = 1.0


def en_number(first: float, second: float, expanded_first: float, expanded_second: float) -> float:
    """E_n of two independent results, second minus first, all in one unit. ValueError without any uncertainty."""
    together = math.hypot(expanded_first, expanded_second)
    if not (together > 0.0 and math.isfinite(together)):
        raise ValueError("E_n needs an expanded uncertainty of at least one of the two results.")
    return (second - first) / together


@dataclass(frozen=True, slots=True)
class Agreement:
    """One dimension by both measurers; `agrees` None where one of them has no figure."""

    change: Change
    agrees: bool | None
    independent_en: float | None  # as if nothing were shared


@dataclass(frozen=True, slots=True)
class Between:
    """All dimensions in the comparison's order; `shared`: instruments both used under the same calibration."""

    agreements: tuple[Agreement, ...]
    shared: tuple[str, ...]

    @property
    def compared(self) -> int:
        return sum(one.agrees is not None for one in self.agreements)

    @property
    def agreeing(self) -> int:
        return sum(one.agrees is True for one in self.agreements)

    @property
    def agreeing_if_independent(self) -> int:
        return sum(one.independent_en is not None and abs(one.independent_en) <= LIMIT for one in self.agreements)


def between(previous: Derivation, current: Derivation, comparison: Comparison) -> Between:
    """`comparison` is of these two."""
    return Between(tuple(agreement(one) for one in comparison.changes), shared_instruments(previous, current))


def agreement(change: Change) -> Agreement:
    agrees = None if change.en is None else abs(change.en) <= LIMIT
    if (
        agrees is None
        or change.previous is None
        or change.current is None
        or not change.previous_expanded
        or not change.current_expanded
    ):
        return Agreement(change, agrees, None)
    alone = en_number(change.previous, change.current, change.previous_expanded, change.current_expanded)
    return Agreement(change, agrees, alone)


def shared_instruments(previous: Derivation, current: Derivation) -> tuple[str, ...]:
    """The marks of the instruments whose calibration both visits rest on."""
    before, now = ({key for key in one.details.sources if key.lasts} for one in (previous, current))
    return tuple(sorted({key.owner for key in before & now}))
