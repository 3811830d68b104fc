"""Every check of a visit that needs no history, in one call.

*stop* cannot be signed without a written reason, *ask* is for the reviewer, *note* is said. Each finding says what
is wrong, in which readings, by how much against what, and what to do while the tape is still in hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from computations.checking.case import Case
from computations.checking.completeness import completeness
from computations.checking.consistency import consistency
from computations.checking.instruments import instruments, resolution
from computations.checking.proportions import proportions
from computations.checking.standing import Limit, against_limits, against_sisters
from computations.derivation import Derivation
from computations.inputs import Assumptions, Visit
from computations.results import GRADES, CheckResult


def check(
    visit: Visit,
    derivation: Derivation,
    assumptions: Assumptions | None = None,
    *,
    limits: Mapping[tuple[str, str], Limit] | None = None,
    sisters: Mapping[tuple[str, str], Sequence[float]] | None = None,
) -> tuple[CheckResult, ...]:
    """All findings, stops first. `limits` and `sisters` are what the office knows of the design, by (slug, mast)."""
    case = Case.of(visit, derivation, assumptions or derivation.assumptions)
    found = [
        *completeness(case),
        *instruments(case),
        *resolution(case),
        *consistency(case),
        *proportions(case),
        *against_limits(derivation, limits or {}),
        *against_sisters(derivation, sisters or {}),
    ]
    return tuple(sorted(found, key=lambda one: GRADES.index(one.grade)))
