"""Spot checks: begun, read, finished. Each step one transaction with its row of the trail, found again by the boat."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Sequence
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from boats.models import Boat
from computations.inputs import INSTRUMENT_KINDS
from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import Refusal, WrongState
from office.certificates import queries as certificate_queries
from office.certificates import snapshot
from office.people.models import Person
from office.racing import rules
from office.racing.models import Event, SpotCheck, SpotInstrument, SpotReading
from office.racing.spot_figures import Item, findings, frozen, standing_readings, stated
from surveys.models import Instrument
from surveys.values import Unreadable, check_place, check_temperature, kind_of, read_value, seen

MOST_ITEMS = 20
FINISHED = ("finished_at", "finished_by_id", "remark", "outcome")  # columns that come with the end


class TakeThere(Refusal):
    """This take says something else already; `reading` is what it says."""

    def __init__(self, reading: SpotReading) -> None:
        super().__init__(f"Take {reading.take} says {reading.written} already; record it as the next take.")
        self.reading = reading


@transaction.atomic
def begin(
    *,
    by: Person,
    event: Event,
    boat: Boat,
    items: Sequence[Item],
    day: dt.date,
    place: str = "",
    air_temperature_c: float | None = None,
) -> SpotCheck:
    """Against the certificate in force on the day. WrongState where there is none, or an item is not stated there."""
    rules.check_may_run(by, event)
    trail.hold()
    if day > timezone.localdate():
        raise WrongState("A spot check is of today or of a day that is past.")
    certificate = certificate_queries.certificate_on(boat, day)
    if certificate is None:
        raise WrongState(f"{boat.name} has no certificate in force on {day.isoformat()}: there is nothing to check by.")
    if air_temperature_c is not None:
        check_temperature(air_temperature_c)
    wanted = list(dict.fromkeys(items))
    known = stated(snapshot.read(certificate))
    if not wanted or len(wanted) > MOST_ITEMS or any(item not in known for item in wanted):
        raise WrongState(f"Choose from 1 to {MOST_ITEMS} of the dimensions that the certificate states.")
    spot = SpotCheck.objects.create(
        event=event, boat=boat, certificate=certificate, day=day, place=place.strip(),
        air_temperature_c=air_temperature_c, items=[list(item) for item in wanted], begun_by=by,
    )  # fmt: skip
    after = {"event": event.key, "day": day.isoformat(), "items": [" ".join(item) for item in wanted]}
    after["row_sha256"] = row_sha256(spot, without=FINISHED)
    _record(by, "begin_spot_check", spot, after=after)
    return spot


@transaction.atomic
def describe_instrument(
    *,
    by: Person,
    spot: SpotCheck,
    identifier: str,
    kind: str,
    accuracy_class: str = "",
    limit_of_error: float | None = None,
    nominal_length_mm: float | None = None,
) -> SpotInstrument:
    """An inspector's own piece; an identifier of the office's kit is refused, since its record counts."""
    spot = _open(by, spot)
    mark = seen("Instrument", identifier, 20, "identifier")
    if not mark or kind not in INSTRUMENT_KINDS:
        raise Unreadable("Instrument", mark or kind, "a mark and a kind of instrument", "identifier")
    if Instrument.objects.filter(identifier__iexact=mark).exists():
        raise WrongState(f"{mark} is a piece of the office's kit: its own record counts.")
    if spot.instruments.filter(identifier=mark).exists():
        raise WrongState(f"{mark} is described already.")
    made = SpotInstrument.objects.create(
        spot_check=spot, identifier=mark, kind=kind, accuracy_class=accuracy_class, limit_of_error=limit_of_error,
        nominal_length_mm=nominal_length_mm, described_by=by,
    )  # fmt: skip
    after = {"instrument": mark, "kind": kind, "accuracy_class": accuracy_class, "row_sha256": row_sha256(made)}
    _record(by, "describe_spot_instrument", spot, after=after)
    return made


@transaction.atomic
def record_reading(
    *,
    by: Person,
    spot: SpotCheck,
    slug: str,
    mast: str,
    position: str = "",
    take: int | None = None,
    text: str,
    unit: str = "",
    instrument: str = "",
    remark: str = "",
    token: str = "",
) -> SpotReading:
    """A take. Without a number it is the next one; TakeThere where that number says something else."""
    spot = _open(by, spot)
    kind = kind_of(slug)
    place = seen(kind.name, position, 40, "position")
    there = spot.readings.filter(slug=slug, mast=mast, position=place)
    number = take or max(there.values_list("take", flat=True), default=0) + 1
    check_place(kind, snapshot.rig_of(snapshot.read(spot.certificate)), mast, place, number)
    value = read_value(kind, text, unit)
    _check_instrument(spot, instrument)
    standing = standing_take(spot, slug, mast, place, number)
    if standing is not None:
        raise TakeThere(standing)
    return _store(
        by, spot, "record_spot_reading", token,
        slug=slug, mast=mast, position=place, take=number, value=value.value, written=value.written,
        unit_written=value.unit, instrument=instrument, remark=seen("Remark", remark, 200, "remark"),
    )  # fmt: skip


@transaction.atomic
def replace_reading(
    *,
    by: Person,
    reading: SpotReading,
    text: str | None,
    unit: str = "",
    instrument: str = "",
    reason: str = "",
    remark: str = "",
    token: str = "",
) -> SpotReading:
    """Another figure for the same take, or None to take it away. WrongState where it has been replaced meanwhile."""
    spot = _open(by, reading.spot_check)
    if SpotReading.objects.filter(replaces=reading).exists():
        raise WrongState("This take has been amended since: look at it again.")
    value = read_value(kind_of(reading.slug), text, unit) if text is not None else None
    _check_instrument(spot, instrument)
    return _store(
        by, spot, "amend_spot_reading" if value else "take_spot_reading_away", token,
        slug=reading.slug, mast=reading.mast, position=reading.position, take=reading.take,
        value=value.value if value else None, written=value.written if value else "",
        unit_written=value.unit if value else "", instrument=instrument or reading.instrument,
        remark=seen("Remark", remark, 200, "remark"), reason=seen("Reason", reason, 300, "reason"), replaces=reading,
    )  # fmt: skip


def standing_take(spot: SpotCheck, slug: str, mast: str, position: str, take: int) -> SpotReading | None:
    """The row of a take that none replaces."""
    rows = spot.readings.filter(slug=slug, mast=mast, position=position, take=take, replaced_by__isnull=True)
    return rows.select_related("recorded_by").first()


@transaction.atomic
def finish(*, by: Person, spot: SpotCheck, remark: str = "") -> SpotCheck:
    """What was found is kept as it is, whatever changes later. WrongState where nothing has been read."""
    spot = _open(by, spot)
    if not standing_readings(spot):
        raise WrongState("Nothing has been read yet.")
    found = findings(spot)
    spot.outcome = frozen(found)
    spot.finished_at = timezone.now()
    spot.finished_by = by
    spot.remark = remark.strip()
    spot.save(update_fields=["outcome", "finished_at", "finished_by", "remark"])
    after = {f"{one.symbol or one.slug}{'' if one.mast == 'main' else f' {one.mast}'}": one.answer for one in found}
    after["found"] = ", ".join(f"{name} {answer.replace('_', ' ')}" for name, answer in after.items())
    after["row_sha256"] = row_sha256(spot)
    _record(by, "finish_spot_check", spot, after=after)
    return spot


def _store(by: Person, spot: SpotCheck, verb: str, token: str, **fields: Any) -> SpotReading:
    try:
        with transaction.atomic():
            made = SpotReading.objects.create(
                spot_check=spot, token=token or secrets.token_urlsafe(18), recorded_by=by, **fields
            )
    except IntegrityError:
        raise WrongState("This take has been recorded meanwhile: look at it again.") from None
    place = " ".join(part for part in (made.slug, made.mast, made.position, str(made.take)) if part)
    replaced = fields.get("replaces")
    before = {"reading": place, "value": replaced.written} if replaced else None
    after = {"reading": place, "value": made.written, "unit": made.unit_written, "instrument": made.instrument}
    after["row_sha256"] = row_sha256(made)
    _record(by, verb, spot, before=before, after=after, reason=made.reason)
    return made


def _check_instrument(spot: SpotCheck, identifier: str) -> None:
    if not identifier:
        return
    if spot.instruments.filter(identifier=identifier).exists():
        return
    if not Instrument.objects.filter(identifier=identifier).exists():
        raise Unreadable("Instrument", identifier[:20], "one of the office's kit, or one described here", "instrument")


def _open(by: Person, spot: SpotCheck) -> SpotCheck:
    """The check as it is now, locked; WrongState where it is finished, NotAllowed for whoever may not."""
    trail.hold()
    spot = SpotCheck.objects.select_related("event", "boat", "certificate__visit__boat", "begun_by").get(pk=spot.pk)
    rules.check_may_run(by, spot.event)
    rules.check_spot_open(spot)
    return spot


def _record(by: Person, verb: str, spot: SpotCheck, **about: Any) -> None:
    trail.record(
        by=by, verb=verb, subject=spot, boat=spot.boat.key, visit=spot.certificate.visit.key,
        certificate=spot.certificate.number, **about,
    )  # fmt: skip
