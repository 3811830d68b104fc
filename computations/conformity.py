"""Does a figure lie within its limits? Decided with the uncertainty (JCGM 106:2012, from memory).

*Guarded acceptance*: within only where the figure keeps a guard band's distance inside its limits. *Guarded rejection*:
outside only where it lies a guard band beyond one of them. In between the measurement cannot tell, and what would
tell is the U at which it could. The guard band is U unless the rule says otherwise (ISO 14253-1 takes U; ILAC-G8 also
1.645 u, which is one-sided 95 %; both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from computations.next_reading import NextReadings
from computations.rounding import THIN_SPACE, decimals_of_uncertainty, to_decimals, written

ONE_SIDED_95 = 1.645


@dataclass(frozen=True, slots=True)
class Limit:
    """Least and greatest of a dimension in its unit, and who says so."""

    least: float | None = None
    greatest: float | None = None
    source: str = ""

    @property
    def bounds(self) -> tuple[float, float]:
        return (
            -math.inf if self.least is None else self.least,
            math.inf if self.greatest is None else self.greatest,
        )


@dataclass(frozen=True, slots=True)
class Conformity:
    """`answer`: within | outside | cannot_tell of limits, agrees | differs | cannot_tell of a spot check.

    `needed`: the U (or smaller) with which the same figure would be decided; None where it is decided or lies on the
    limit itself, where no U decides.
    """

    answer: str
    value: float
    expanded: float
    guard: float
    probability_nonconforming: float
    rule: str
    needed: float | None = None


def decide(value: float, guard: float, limit: Limit) -> str:
    """ "within", "outside" or "cannot_tell" with this guard band."""
    low, high = limit.bounds
    if value < low - guard or value > high + guard:
        return "outside"
    return "within" if low + guard <= value <= high - guard else "cannot_tell"


def probability_nonconforming(value: float, u: float, limit: Limit) -> float:
    """Probability that the true value lies outside the limits, for a normal distribution about the figure."""
    low, high = limit.bounds
    return _phi((low - value) / u) + _phi((value - high) / u)


def conformity(
    value: float, u: float, limit: Limit, *, factor: float = 2.0, guard_factor: float | None = None, unit: str = "mm"
) -> Conformity:
    """The figure against its limits. `guard_factor`: the guard band in standard uncertainties, U's own where not given.

    Raises ValueError where the figure is not finite or its uncertainty not above zero.
    """
    if not (math.isfinite(value) and math.isfinite(u) and u > 0.0):
        raise ValueError("Conformity needs a finite figure with an uncertainty above zero.")
    multiple = factor if guard_factor is None else guard_factor
    guard = multiple * u
    answer = decide(value, guard, limit)
    low, high = limit.bounds
    nearest = min(abs(value - low), abs(high - value))
    needed = nearest * factor / multiple if answer == "cannot_tell" and nearest > 0.0 else None
    return Conformity(
        answer,
        value,
        factor * u,
        guard,
        probability_nonconforming(value, u, limit),
        _rule_of_limits(multiple, factor, _amount(guard, guard, unit)),
        needed,
    )


def spot_check(
    certified: float, found: float, u_of_difference: float, tolerance: float, *, factor: float = 2.0, unit: str = "mm"
) -> Conformity:
    """A figure taken on the dock against the certificate's, within the office's tolerance.

    `u_of_difference`: standard uncertainty of found minus certified, with what both share left out.
    """
    if not tolerance >= 0.0:
        raise ValueError("A tolerance is zero or more.")
    limit = Limit(-tolerance, tolerance)
    found_so = conformity(found - certified, u_of_difference, limit, factor=factor, unit=unit)
    own, allowed = (_amount(size, found_so.expanded, unit) for size in (found_so.expanded, tolerance))
    rule = (
        f"It agrees where the difference and its U ({own}) together stay within the tolerance of {allowed}; it differs "
        "where the difference less U is beyond it; else this method cannot tell (guarded acceptance and guarded "
        "rejection, JCGM 106:2012)."
    )
    words = {"within": "agrees", "outside": "differs", "cannot_tell": "cannot_tell"}
    return Conformity(
        words[found_so.answer],
        found_so.value,
        found_so.expanded,
        found_so.guard,
        found_so.probability_nonconforming,
        rule,
        found_so.needed,
    )


def what_would_tell(found: Conformity, unit: str = "mm", better: NextReadings | None = None) -> str:
    """One sentence on what would decide it; "" where it is decided. `better`: readings that lower this figure's U."""
    if found.answer != "cannot_tell":
        return ""
    if found.needed is None:
        return "The figure lies on the limit itself: no uncertainty, however small, would tell."
    now = _amount(found.expanded, found.expanded, unit)
    said = f"A U of {_amount(found.needed, found.needed, unit)} would tell, if the figure stays; it is {now}."
    for option in better.options if better else ():
        if option.expanded <= found.needed:
            return f"{said} {option.sentence} That would make it {_amount(option.expanded, option.expanded, unit)}."
    if better and better.options:
        best = better.options[0]
        reached = _amount(best.expanded, best.expanded, unit)
        return f"{said} No single step reaches that; the best: {best.sentence} That would make it {reached}."
    return said


def _rule_of_limits(multiple: float, factor: float, guard: str) -> str:
    band = f"U ({guard})" if multiple == factor else f"{multiple:g} u ({guard})"
    return (
        f"Decision rule: guard band {band}; within where the figure keeps it inside the limits, outside where it lies "
        "beyond a limit by more, else it cannot be told (guarded acceptance and guarded rejection, JCGM 106:2012)."
    )


def _phi(z: float) -> float:
    """Normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _amount(value: float, resolution: float, unit: str) -> str:
    decimals = max(decimals_of_uncertainty(resolution) or 0, 0) if resolution > 0 else 0
    number = written(to_decimals(value, decimals))
    return number if unit in ("", "1") else f"{number}{THIN_SPACE}{unit}"
