"""A boat's accepted visits over the years, fetched as lean as their figures need: fifty of them cost a page little."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

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
LAST_VISITS, MANY_VISITS = 1_000, 20_000  # whatever the design


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
    """Row numbers. Looked for among the last visits, then among many of them, then among all to boats of the design.

    The first has enough of a common design, the last are few of a rare one: none reads a whole large register. States
    are looked at here: asked for accepted visits, SQLite would look through all there are.
    """
    if boat.design_id is None:
        return []
    columns = ("date", "pk", "boat_id", "boat__design_id", "state")
    last = list(_last_accepted().values_list(*columns)[:LAST_VISITS])
    found = _first_of_each_boat(last, boat)
    alike = Visit.objects.filter(boat__design=boat.design_id, date__isnull=False).order_by()
    for visits in (alike.filter(pk__in=_last_accepted().values("pk")[:MANY_VISITS]), alike):
        if len(found) == MOST_SISTERS or len(last) < LAST_VISITS:
            break
        found = _first_of_each_boat(sorted(visits.values_list(*columns), reverse=True), boat)
    return found


def _last_accepted() -> QuerySet[Visit]:
    """The last measured first, in the order of an index."""
    return Visit.objects.filter(accepted_at__isnull=False).order_by("-date", "-pk")


def _first_of_each_boat(visits: Iterable[tuple[Any, ...]], boat: Boat) -> list[int]:
    """Of accepted visits to other boats of her design, the first of each boat, of the first so many boats."""
    found: dict[int, int] = {}
    for _, number, of_boat, design, state in visits:
        if state == VisitState.ACCEPTED and design == boat.design_id and of_boat != boat.pk:
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
