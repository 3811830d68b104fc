"""What is asked of visits, readings and instruments. Numbers of queries never grow with the rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.db.models import (
    Exists,
    Model,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
)
from django.utils import timezone

from boats.models import Boat
from computations.catalogue import READINGS
from computations.inputs import MAST_NAMES
from office.policy.models import PolicyEdition
from surveys.models import (
    AbsentReading,
    Calibration,
    Instrument,
    InterestException,
    Photo,
    Query,
    Reading,
    ReadingConflict,
    Settlement,
    SignOff,
    Visit,
    VisitState,
)

_MASTS = {name: index for index, name in enumerate(MAST_NAMES)}


def current_readings(visit: Visit) -> list[Reading]:
    """The readings that count today, in the order a measurer walks: not replaced, not taken away."""
    rows: Iterable[Reading]
    if fetched(visit, "readings"):
        every = list(visit.readings.all())
        replaced = {row.replaces_id for row in every}
        rows = [row for row in every if row.pk not in replaced and not row.withdrawn]
    else:
        counting = visit.readings.filter(replaced_by__isnull=True, withdrawn=False)
        rows = counting.select_related("instrument").order_by("pk")
    return sorted(rows, key=walking_order)


def mean_values(visit: Visit) -> dict[tuple[str, str, str], float]:
    """Means of the takes, by slug, mast and position: what a measurer is shown of an earlier visit."""
    takes: dict[tuple[str, str, str], list[float]] = {}
    for one in current_readings(visit):
        if one.value is not None and one.slug in READINGS:
            takes.setdefault((one.slug, one.mast, one.position), []).append(one.value)
    return {place: sum(values) / len(values) for place, values in takes.items()}


def absences_of(visit: Visit) -> list[AbsentReading]:
    """What the measurer has marked as not on this rig and not taken back, oldest first."""
    if fetched(visit, "absent_readings"):
        return [one for one in visit.absent_readings.all() if one.taken_back_at is None]
    rows = visit.absent_readings.filter(taken_back_at__isnull=True)
    return list(rows.select_related("marked_by").order_by("pk"))


def open_conflicts(visit: Visit) -> list[ReadingConflict]:
    """Where two devices say two things and nobody has chosen yet."""
    rows = visit.reading_conflicts.filter(settled_at__isnull=True)
    return list(
        rows.select_related("instrument", "sent_by", "theirs__instrument", "theirs__recorded_by").order_by("pk")
    )


def beside_readings(visit: Visit) -> dict[str, Any]:
    """What stands beside a visit's readings: photographs, what is not on this rig, and devices that disagreed."""
    conflicts = visit.reading_conflicts.select_related("instrument", "sent_by", "settled_by", "theirs")
    return {"photos": photos_of(visit), "absences": absences_of(visit), "conflicts": list(conflicts.order_by("pk"))}


def photos_of(visit: Visit) -> list[Photo]:
    """The photographs that are kept, oldest first."""
    return list(visit.photos.filter(removed_at__isnull=True).select_related("added_by").order_by("pk"))


def fetched(thing: Model, name: str) -> bool:
    """Whether the rows of a relation were prefetched with the thing."""
    return name in getattr(thing, "_prefetched_objects_cache", {})


def settlements_of(visit: Visit) -> list[Settlement]:
    """Reasons written for stop checks, oldest first."""
    return list(visit.settlements.all() if fetched(visit, "settlements") else visit.settlements.order_by("pk"))


def with_content(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """Visits with everything their figures are derived from, in a number of queries that does not grow with them."""
    signed_under = PolicyEdition.objects.filter(made_at__lte=OuterRef("signed_at")).order_by("-pk")
    people_named = ("asked_by", "answered_by", "settled_by")
    return (
        visits.select_related("boat__design", "rig", "measurer")
        .annotate(
            policy_then=Subquery(signed_under.values("pk")[:1]),
            assumptions_then=Subquery(signed_under.values("assumptions")[:1]),
        )
        .prefetch_related(
            "rig__masts",
            "boat__design__limits",
            Prefetch("readings", Reading.objects.select_related("instrument", "recorded_by").order_by("pk")),
            "readings__instrument__calibrations",
            "preparation",
            Prefetch("settlements", Settlement.objects.select_related("settled_by").order_by("pk")),
            Prefetch("queries", Query.objects.select_related(*people_named).order_by("pk")),
            Prefetch("absent_readings", AbsentReading.objects.select_related("marked_by").order_by("pk")),
            Prefetch("interest_exceptions", InterestException.objects.select_related("person", "granted_by")),
        )
    )


def all_readings(visit: Visit) -> list[Reading]:
    """Every row ever written, replaced ones included, oldest first."""
    return list(visit.readings.select_related("instrument", "recorded_by", "replaced_by").order_by("pk"))


def walking_order(reading: Reading) -> tuple[int, int, str, int]:
    kind = READINGS.get(reading.slug)
    return (kind.order if kind else 0, _MASTS.get(reading.mast, 9), reading.position, reading.take)


def chain_of(reading: Reading) -> list[Reading]:
    """A reading and everything it replaced, newest first."""
    chain = [reading]
    while chain[-1].replaces_id is not None:
        chain.append(Reading.objects.select_related("instrument", "recorded_by").get(pk=chain[-1].replaces_id))
    return chain


def previous_accepted(visit: Visit) -> Visit | None:
    """The boat's last accepted visit before this one."""
    earlier = Visit.objects.filter(boat_id=visit.boat_id, state=VisitState.ACCEPTED).exclude(pk=visit.pk)
    if visit.date is not None:
        earlier = earlier.filter(Q(date__lt=visit.date) | Q(date=visit.date, pk__lt=visit.pk))
    return earlier.select_related("boat", "measurer", "rig").order_by("-date", "-pk").first()


def previous_accepted_of(visits: Iterable[Visit]) -> dict[int, Visit]:
    """For each visit (by row id) the boat's last accepted one before it, with its content, all in one go."""
    listed = list(visits)
    # Of every state: asked for accepted ones, SQLite would look through all of those instead of these boats' few.
    theirs = Visit.objects.filter(boat__in={one.boat_id for one in listed}).only("boat_id", "date", "state").order_by()
    by_boat: dict[int, list[Visit]] = {}
    for one in sorted(theirs, key=lambda one: (one.date or dt.date.min, one.pk)):
        if one.state == VisitState.ACCEPTED:
            by_boat.setdefault(one.boat_id, []).append(one)
    last = {}
    for visit in listed:
        earlier = [one for one in by_boat.get(visit.boat_id, []) if is_before(one, visit)]
        if earlier:
            last[visit.pk] = earlier[-1].pk
    content = {one.pk: one for one in with_content(Visit.objects.filter(pk__in=last.values()))}
    return {number: content[pk] for number, pk in last.items()}


def is_before(one: Visit, visit: Visit) -> bool:
    """Whether a visit to a boat was measured before another one to her."""
    if one.pk == visit.pk:
        return False
    return visit.date is None or one.date is None or (one.date, one.pk) < (visit.date, visit.pk)


def latest_accepted(boat: Boat) -> Visit | None:
    return (
        Visit.objects.filter(boat=boat, state=VisitState.ACCEPTED)
        .select_related("boat", "measurer", "rig")
        .order_by("-date", "-pk")
        .first()
    )


def unanswered(visit: Visit) -> QuerySet[Query]:
    """Queries that still wait for the measurer."""
    return visit.queries.filter(answered_at__isnull=True, settled_at__isnull=True)


def latest_sign_off(visit: Visit, meaning: str = "measured") -> SignOff | None:
    return visit.sign_offs.filter(meaning=meaning).select_related("signed_by").order_by("-round").first()


def listed_instruments() -> QuerySet[Any]:
    """Instruments with the end of their present calibration (`due`), and whether it has passed (`overdue`)."""
    today = timezone.localdate()
    latest = Calibration.objects.filter(instrument=OuterRef("pk"), calibrated_on__lte=today).order_by("-calibrated_on")
    return Instrument.objects.select_related("keeper").annotate(
        due=Subquery(latest.values("due_on")[:1]),
        calibrated=Subquery(latest.values("calibrated_on")[:1]),
        used=Exists(Reading.objects.filter(instrument=OuterRef("pk"))),
    )


def usable_instruments(on: dt.date | None = None) -> list[Instrument]:
    """Those not out of use on the day, by identifier."""
    day = on or timezone.localdate()
    return list(Instrument.objects.exclude(out_of_use_since__lte=day))
