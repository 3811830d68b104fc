"""A measurer's day: which visits are planned for it, and which days have any."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.utils import timezone

from office.people.access import is_office
from office.people.models import Person
from surveys.models import Calibration, Instrument, Visit, VisitState
from surveys.paper.visits import for_paper

OFF = (VisitState.ASKED_FOR, VisitState.CALLED_OFF)
DAYS_LISTED = 14
KEPT_IN_CALENDAR = dt.timedelta(days=90)  # so that a calendar still shows the season's last weeks


@dataclass(frozen=True, slots=True)
class Day:
    on: dt.date
    visits: int


def planned_for(person: Person, measurer: str = "") -> QuerySet[Visit]:
    """The visits that take place and are this person's to measure; for the office everybody's, or one `measurer`'s."""
    visits = Visit.objects.exclude(state__in=OFF).filter(planned_on__isnull=False)
    if not is_office(person):
        return visits.filter(measurer=person)
    return visits.filter(measurer__key=measurer) if measurer else visits


def visits_on(person: Person, day: dt.date, measurer: str = "") -> list[Visit]:
    """One day's, harbour by harbour, with what their log sheets need. Six queries however many."""
    found = for_paper(planned_for(person, measurer).filter(planned_on=day))
    return list(found.order_by("harbour", "boat__name_normal", "pk"))


def days_ahead(person: Person, measurer: str = "") -> list[Day]:
    """The next days with visits, from today."""
    ahead = planned_for(person, measurer).filter(planned_on__gte=timezone.localdate())
    counted = ahead.order_by("planned_on").values("planned_on").annotate(visits=Count("pk"))
    return [Day(row["planned_on"], row["visits"]) for row in counted[:DAYS_LISTED] if row["planned_on"]]


@dataclass(frozen=True, slots=True)
class Kit:
    """What one measurer keeps, as it stands on a day: what may be measured with, and what has no calibration then."""

    keeper: Person
    in_date: Sequence[Instrument]
    overdue: Sequence[Instrument]  # with `due`, the day it ran out; None where there never was one


def kit_on(keepers: list[Person], day: dt.date) -> list[Kit]:
    """One query. A calibration still to come cannot be counted on."""
    known = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=day).order_by("-calibrated_on")
    kept = Instrument.objects.filter(keeper__in=keepers, out_of_use_since__isnull=True)
    rows = list(kept.annotate(due=Subquery(known.values("due_on")[:1])).order_by("identifier"))
    kits = []
    for keeper in keepers:
        own = [one for one in rows if one.keeper_id == keeper.pk]
        good = [one for one in own if one.due is not None and one.due >= day]
        kits.append(Kit(keeper, good, [one for one in own if one not in good]))
    return kits


def for_calendar(person: Person) -> QuerySet[Visit]:
    since = timezone.localdate() - KEPT_IN_CALENDAR
    return planned_for(person).filter(planned_on__gte=since).select_related("boat").order_by("planned_on", "pk")
