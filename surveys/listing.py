"""Which visits somebody sees, and the rows of the list of them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Case, Count, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone

from boats import queries as boat_queries
from boats.models import Boat
from boats.rules import on_day
from office.lookups import begins_in_lower_case
from office.people.access import is_office
from office.people.models import Person, Role
from office.people.queries import people
from surveys.models import Query, Reading, Visit, VisitState
from surveys.transitions import ENDED


def visits_visible_to(person: Person) -> QuerySet[Visit]:
    """The office sees every visit, a measurer those assigned to them, an owner those to boats they own today."""
    visits = Visit.objects.select_related("boat", "measurer")
    if is_office(person):
        return visits
    mine = Q(pk__in=[])
    if person.holds(Role.MEASURER):
        mine |= Q(measurer=person)
    if person.holds(Role.OWNER):
        mine |= Q(boat__in=person.ownerships.filter(on_day(timezone.localdate())).values("boat"))
    return visits.filter(mine)


SORTS = {"date": ("day", "pk"), "boat": ("boat__name_normal", "pk"), "state": ("state_order", "day", "pk")}
_STATE_ORDER = Case(
    *[When(state=state, then=Value(index)) for index, state in enumerate(VisitState.values)],
    output_field=IntegerField(),
)


def listed_visits(
    person: Person,
    *,
    state: str = "",
    search: str = "",
    since: dt.date | None = None,
    until: dt.date | None = None,
    sort: str = "-date",
) -> QuerySet[Any]:
    """The list page's rows: visits with day and counts. `state` is one state, "open" (not ended) or "" for all."""
    visits = visits_visible_to(person).annotate(
        day=Coalesce("date", "planned_on"),
        state_order=_STATE_ORDER,
        readings_read=_count(Reading.objects.filter(replaced_by__isnull=True, withdrawn=False)),
        open_queries=_count(Query.objects.filter(answered_at__isnull=True, settled_at__isnull=True)),
    )
    if state == "open":
        visits = visits.exclude(state__in=ENDED)
    elif state:
        visits = visits.filter(state=state)
    if search:
        visits = visits.filter(_matches(search))
    if since:
        visits = visits.filter(day__gte=since)
    if until:
        visits = visits.filter(day__lte=until)
    keys = SORTS.get(sort.removeprefix("-"), SORTS["date"])
    return visits.order_by(*[F(key).desc(nulls_first=True) if sort.startswith("-") else key for key in keys])


def _count(rows: QuerySet[Reading] | QuerySet[Query]) -> Coalesce:
    counted = rows.filter(visit=OuterRef("pk")).order_by().values("visit").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted), 0)


def _matches(text: str) -> Q:
    """Visits of the boats that fit, those of a measurer so called, and those where a harbour or place begins so.

    Each part is read from an index, hence a union: joined by OR they would be asked of every visit.
    """
    parts = [
        Q(boat__in=boat_queries.search(Boat.objects.all(), text).values("pk")),
        Q(measurer__in=people(name=text).order_by().values("pk")),
        begins_in_lower_case("harbour__lower", text),
        begins_in_lower_case("place__lower", text),
    ]
    first, *others = [Visit.objects.filter(part).order_by().values("pk") for part in parts]
    return Q(pk__in=first.union(*others))
