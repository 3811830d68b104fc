"""A boat's accepted visits over the years, fetched as lean as their figures need: fifty of them cost a page little."""

from __future__ import annotations

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from boats.models import Boat
from office.policy.models import PolicyEdition
from surveys.models import PreparationAnswer, Reading, Visit, VisitState
from surveys.queries import is_before

COUNTING = (
    "pk", "visit_id", "slug", "value", "mast", "position", "take", "instrument_id", "written", "unit_written", "remark",
    "replaces_id", "withdrawn",
)  # fmt: skip


def accepted_before(visit: Visit) -> list[Visit]:
    """Her accepted visits before this one, oldest first."""
    return [one for one in accepted(visit.boat) if is_before(one, visit)]


def accepted(boat: Boat) -> list[Visit]:
    """Her accepted visits, oldest first; all share the one boat given."""
    visits = list(_with_figures(Visit.objects.filter(boat=boat, state=VisitState.ACCEPTED)).order_by("date", "pk"))
    for one in visits:
        one.boat = boat
    return visits


def _with_figures(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """With what their figures are derived from and no more, in a number of queries that does not grow with them."""
    signed_under = PolicyEdition.objects.filter(made_at__lte=OuterRef("signed_at")).order_by("-pk")
    return (
        visits.select_related("rig", "measurer")
        .annotate(
            policy_then=Subquery(signed_under.values("pk")[:1]),
            assumptions_then=Subquery(signed_under.values("assumptions")[:1]),
        )
        .prefetch_related(
            "rig__masts",
            Prefetch("readings", Reading.objects.only(*COUNTING).order_by("pk")),
            "readings__instrument__calibrations",
            Prefetch("preparation", PreparationAnswer.objects.none()),  # no figure hangs on it
            "settlements",
        )
    )
