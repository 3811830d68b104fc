"""How a visit's dimensions stand against a design's limits and against sister boats."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Mapping, Sequence

from computations.catalogue import DIMENSIONS
from computations.checking.case import amount
from computations.conformity import Conformity, Limit, conformity, decide, what_would_tell
from computations.derivation import Derivation
from computations.next_reading import readings_for
from computations.results import CheckResult, DimensionResult

__all__ = ["Limit", "against_limits", "against_sisters", "decide", "modified_z"]

FEWEST_SISTERS = 5
ODD = 3.5  # Iglewicz and Hoaglin 1993 (from memory; their data read in a secondary source)
TO_NORMAL = 0.6745


def against_limits(derivation: Derivation, limits: Mapping[tuple[str, str], Limit]) -> Iterator[CheckResult]:
    """`limits` by (slug, mast). Outside is asked about; what cannot be told is noted."""
    for (slug, mast), limit in limits.items():
        one = derivation.get(slug, mast)
        if one is None or one.value is None or not one.standard_uncertainty:
            continue
        found = conformity(one.value, one.standard_uncertainty, limit, factor=one.coverage_factor, unit=_unit(one))
        if found.answer != "within":
            yield _stands(derivation, one, limit, found)


def _stands(derivation: Derivation, one: DimensionResult, limit: Limit, found: Conformity) -> CheckResult:
    """The finding in words, with the decision rule and, where it cannot be told, what would tell."""
    kind = DIMENSIONS[one.slug]
    bounds = " and ".join(
        f"{word} {bound:g}"
        for word, bound in (("least", limit.least), ("greatest", limit.greatest))
        if bound is not None
    )
    known = f"{kind.name} is {amount(found.value, _unit(one))} ± {amount(found.expanded, _unit(one))}"
    words = "outside" if found.answer == "outside" else "and with this uncertainty it cannot be told whether within"
    beyond = f"{100.0 * found.probability_nonconforming:.0f} in 100 that it lies outside"
    better = readings_for(derivation, one.slug, one.mast) if found.answer == "cannot_tell" else None
    return CheckResult(
        f"limit_{found.answer}",
        "ask" if found.answer == "outside" else "note",
        f"{known}, {words} the design's limits ({bounds}; {limit.source or 'no source given'}): {beyond}. {found.rule}",
        mast=one.mast,
        key=f"limit:{one.mast}:{one.slug}",
        advice=what_would_tell(found, _unit(one), better),
    )


def against_sisters(
    derivation: Derivation, sisters: Mapping[tuple[str, str], Sequence[float]]
) -> Iterator[CheckResult]:
    """`sisters`: the same dimension of other boats of the design, by (slug, mast). Fewer than five tell nothing."""
    for (slug, mast), values in sisters.items():
        one = derivation.get(slug, mast)
        if one is None or one.value is None or len(values) < FEWEST_SISTERS:
            continue
        z = modified_z(one.value, values, at_least=one.standard_uncertainty or 0.0)
        if abs(z) > ODD:
            middle = statistics.median(values)
            kind = DIMENSIONS[one.slug]
            yield CheckResult(
                "unlike_sisters",
                "ask",
                f"{kind.name} is {amount(one.value, _unit(one))}; the median of {len(values)} sister boats is "
                f"{amount(middle, _unit(one))} (robust z {z:.1f}).",
                mast=one.mast,
                key=f"unlike_sisters:{one.mast}:{one.slug}",
            )


def modified_z(value: float, values: Sequence[float], at_least: float = 0.0) -> float:
    """0.6745 (x - median) / MAD (Iglewicz and Hoaglin 1993); the spread counts as no less than `at_least` (as a
    standard deviation), so that boats from one mould are not held against less than the tape can tell.
    """
    middle = statistics.median(values)
    spread = max(statistics.median(abs(one - middle) for one in values), TO_NORMAL * at_least)
    if spread == 0.0:
        return 0.0 if value == middle else float("inf") * (1 if value > middle else -1)
    return TO_NORMAL * (value - middle) / spread


def _unit(one: DimensionResult) -> str:
    return "" if one.unit == "1" else one.unit
