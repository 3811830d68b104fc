"""The figures a stored visit gives: dimensions, findings, and the change against another visit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from computations import inputs
from computations.catalogue import DIMENSIONS
from computations.checking.standing import Limit
from computations.checks import check
from computations.comparison import Comparison, compare
from computations.derivation import Derivation, derive
from computations.results import CheckResult
from office.policy import queries as policy_queries
from office.policy.models import PolicyEdition
from surveys.inputs import visit_inputs
from surveys.models import Visit
from surveys.queries import settlements_of
from surveys.transitions import FROZEN

METHODS_DIFFER = "boom_methods_differ"


@dataclass(frozen=True, slots=True)
class Figures:
    """What one visit amounts to: its inputs, the derived dimensions and the checks' findings."""

    inputs: inputs.Visit
    derivation: Derivation
    checks: tuple[CheckResult, ...]
    settled: frozenset[str] = frozenset()

    @property
    def unsettled_stops(self) -> tuple[CheckResult, ...]:
        """The findings that stand between the measurer and the signature."""
        return tuple(one for one in self.checks if one.grade == "stop" and one.key not in self.settled)


def policy_of(visit: Visit) -> PolicyEdition:
    """The policy the figures answer to: that of the signature once there is one, else the present one."""
    if visit.state in FROZEN and visit.signed_at is not None:
        fetched = vars(visit)  # by surveys.queries.with_content
        if fetched.get("policy_then") is not None:
            return PolicyEdition(pk=fetched["policy_then"], assumptions=fetched["assumptions_then"])
        signed_under = PolicyEdition.objects.filter(made_at__lte=visit.signed_at).order_by("pk").last()
        if signed_under is not None:
            return signed_under
    return policy_queries.current()


def derive_visit(
    visit: Visit,
    assumptions: inputs.Assumptions | None = None,
    *,
    sisters: Mapping[tuple[str, str], Sequence[float]] | None = None,
) -> Figures:
    """The visit's figures and findings, under the policy's assumptions unless others are given.

    `sisters`: dimensions of boats of the same design by (slug, mast), where the visit is to be held against them.
    """
    assumptions = assumptions or policy_queries.assumptions(policy_of(visit))
    settlements = settlements_of(visit)
    given = visit_inputs(visit, settlements)
    derivation = derive(given, assumptions)
    settled = frozenset(one.check_key for one in settlements)
    found = check(given, derivation, assumptions, limits=_limits(visit), sisters=sisters)
    return Figures(given, derivation, found, settled)


def figures_alone(visit: Visit) -> Figures:
    """The figures without the checks' findings: enough for a course over the years and for a comparison."""
    given = visit_inputs(visit)
    return Figures(given, derive(given, policy_queries.assumptions(policy_of(visit))), ())


def _limits(visit: Visit) -> dict[tuple[str, str], Limit]:
    """What the office has entered for the boat's design, by dimension and mast."""
    rows = visit.boat.design.limits.all() if visit.boat.design else []
    return {
        (one.dimension, one.mast): Limit(one.least, one.greatest, one.source) for one in rows if one.ended_at is None
    }


def chooses_method(found: CheckResult) -> bool:
    """Whether settling this finding means choosing one of the two ways to the boom's height."""
    return found.check == METHODS_DIFFER


def compare_figures(previous: Figures, current: Figures, edition: PolicyEdition | None = None) -> Comparison:
    """What changed between two visits, both under the assumptions and limits of today's policy."""
    edition = edition or policy_queries.current()
    assumptions = policy_queries.assumptions(edition)
    before, now = (
        one.derivation if one.derivation.assumptions == assumptions else derive(one.inputs, assumptions)
        for one in (previous, current)
    )
    return compare(before, now, change_limits(edition))


def compare_visits(previous: Visit, current: Visit) -> Comparison:
    """`compare_figures` of two stored visits."""
    return compare_figures(derive_visit(previous), derive_visit(current))


def change_limits(edition: PolicyEdition) -> dict[str, float]:
    """Least change that matters, by the slug of each dimension."""
    return {slug: policy_queries.change_limit(edition, slug) for slug in DIMENSIONS}
