"""A boat's accepted visits over the years, fetched as lean as their figures need: fifty of them cost a page little."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import OuterRef, Prefetch, Q, QuerySet, Subquery

from boats.models import Boat
from office.policy.models import PolicyEdition
from surveys.models import PreparationAnswer, Reading, Visit, VisitState
from surveys.queries import is_before

COUNTING = (
    "pk", "visit_id", "slug", "value", "mast", "position", "take", "instrument_id", "written", "unit_written", "remark",
    "replaces_id", "withdrawn",
)  # fmt: skip
MOST_SISTERS = 30  # the latest measured: more would say no more
LAST_ACCEPTED = 1_000  # visits, whatever the design


def accepted_before(visit: Visit) -> list[Visit]:
    """Her accepted visits before this one, oldest first."""
    return [one for one in accepted(visit.boat) if is_before(one, visit)]


def accepted(boat: Boat) -> list[Visit]:
    """Her accepted visits, oldest first; all share the one boat given."""
    visits = list(_with_figures(Visit.objects.filter(boat=boat, state=VisitState.ACCEPTED)).order_by("date", "pk"))
    for one in visits:
        one.boat = boat
    return visits


def before_and_alike(visit: Visit) -> tuple[list[Visit], list[Visit]]:
    """`accepted_before` and `of_sisters` in as many queries as one of them."""
    boat = visit.boat
    both = Visit.objects.filter(Q(boat=boat, state=VisitState.ACCEPTED) | Q(pk__in=_latest_of_sisters(boat)))
    own, alike = [], []
    for one in _with_figures(both).select_related("boat__design").order_by("date", "pk"):
        if one.boat_id != boat.pk:
            alike.append(one)
            continue
        one.boat = boat
        if is_before(one, visit):
            own.append(one)
    return own, alike


def of_sisters(boat: Boat) -> list[Visit]:
    """The last accepted visit of each other boat of her design, of those measured last."""
    return list(_with_figures(Visit.objects.filter(pk__in=_latest_of_sisters(boat))).select_related("boat__design"))


def _latest_of_sisters(boat: Boat) -> list[int]:
    """Row numbers. Most designs have enough among the visits last accepted; of a rare one all visits are looked at."""
    if boat.design_id is None:
        return []
    accepted = Visit.objects.filter(state=VisitState.ACCEPTED).order_by("-date", "-pk")
    last = list(accepted.values_list("pk", "boat_id", "boat__design_id")[:LAST_ACCEPTED])
    found = _first_of_each_boat((pk, its) for pk, its, design in last if design == boat.design_id and its != boat.pk)
    if len(found) < MOST_SISTERS and len(last) == LAST_ACCEPTED:
        alike = accepted.filter(boat__design=boat.design_id).exclude(boat=boat)
        found = _first_of_each_boat(alike.values_list("pk", "boat_id"))
    return found


def _first_of_each_boat(visits: Iterable[tuple[int, int]]) -> list[int]:
    """Of visits (row, boat) in their order, the first of each boat, of the first so many boats."""
    found: dict[int, int] = {}
    for number, of_boat in visits:
        found.setdefault(of_boat, number)
        if len(found) == MOST_SISTERS:
            break
    return list(found.values())


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
            "absent_readings",
        )
    )
