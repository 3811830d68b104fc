"""What a log sheet may say of a visit, and which of its readings are to be written: planned before anything is."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.db import connection
from django.utils import timezone

from boats.models import Boat
from boats.names import normalise_sail_number
from computations import inputs
from computations.catalogue import READINGS
from office.people.models import Person
from surveys.actions.conditions import check_conditions
from surveys.actions.readings import READ_AGAIN
from surveys.inputs import rig_inputs
from surveys.logsheet import LogSheet, Row
from surveys.logsheet.errors import Findings
from surveys.models import Instrument, Reading, Visit
from surveys.queries import absences_of
from surveys.values import Unreadable, check_more_places, check_place

Key = tuple[str, str, str, int]  # slug, mast, position, take
Written = tuple[str, str, int | None, str]  # as written, its unit, the instrument's row id, the remark


class Standing(NamedTuple):
    """The latest row of a take."""

    pk: int
    withdrawn: bool
    written: Written


@dataclass(slots=True)
class Plan:
    """What is to be written, by whom, with which instruments; and the errors that forbid writing any of it."""

    visit: Visit
    by: Person
    instruments: dict[str, Instrument]
    reason: str
    findings: Findings
    at: dt.datetime = field(default_factory=timezone.now)  # the moment that all its rows bear
    rows: list[list[Any]] = field(default_factory=list)
    new: int = 0
    same: int = 0
    amended: int = 0


def check_boat(sheet: LogSheet, boat: Boat, findings: Findings) -> None:
    """The sheet's sail number is this boat's, whatever its spacing, case or missing national letters."""
    row = sheet.visit("sail_number")
    expected = f"{boat.sail_number}, the sail number of {boat.name}"
    if row is None:
        findings.add(None, "item", "no row sail_number", expected, quoted=False)
        return
    number, digits = normalise_sail_number(row.value)
    same = number == boat.sail_number_normal
    letters_missing = digits == boat.sail_digits != "" and digits in (number, boat.sail_number_normal)
    if not same and not letters_missing:
        findings.add(row.line or None, "value", row.value, expected)


def conditions_of(sheet: LogSheet, given: inputs.Visit, visit: Visit, findings: Findings) -> dict[str, Any]:
    """The conditions the sheet states and the visit does not have yet."""
    stated = {row.item: row for row in sheet.record("visit")}
    values = {
        "date": given.date,
        "place": given.place,
        "air_temperature": given.air_temperature_c,
        "interest": given.interest,
    }
    names = {"air_temperature": "air_temperature_c"}
    fields: dict[str, Any] = {names.get(item, item): value for item, value in values.items() if item in stated}
    contrast = {mast.name: mast.band_contrast for mast in given.rig.masts if mast.band_contrast is not None}
    state = {mast.name: mast.state for mast in given.rig.masts if mast.state is not None}
    fields["band_contrast"] = {**visit.band_contrast, **contrast}
    fields["mast_state"] = {**visit.mast_state, **state}
    try:
        return check_conditions(visit, fields)
    except Unreadable as refusal:
        row = stated.get(refusal.field)
        findings.add((row.line or None) if row else None, "value", refusal.found, refusal.expected)
        return {}


def plan_readings(sheet: LogSheet, given: inputs.Visit, plan: Plan) -> None:
    """Which rows to write: compared with what stands, checked against the rig and the office's instruments."""
    visit = plan.visit
    assert visit.rig is not None  # noqa: S101 - refused before
    rig, day = rig_inputs(visit.rig), given.date or visit.date or timezone.localdate()
    standing = _standing(visit)
    named: dict[tuple[str, str], set[str]] = defaultdict(set)
    for slug, mast, position, _ in standing:
        named[slug, mast].add(position)
    absent: dict[tuple[str, str], set[str]] = defaultdict(set)
    for mark in absences_of(visit):
        absent[mark.slug, mark.mast].add(mark.position)
    now = connection.ops.adapt_datetimefield_value(plan.at)
    for row, reading in zip(sheet.record("reading"), given.readings, strict=True):
        _check_instrument(row, plan.instruments, day, plan.findings)
        try:
            check_place(READINGS[reading.slug], rig, reading.mast, reading.position, reading.take)
            check_more_places(READINGS[reading.slug], reading.position, named[reading.slug, reading.mast])
            if absent[reading.slug, reading.mast] & {reading.position, ""}:
                raise Unreadable("Item", reading.slug, "no reading: it is marked as not on this rig", "item")
        except Unreadable as refusal:
            plan.findings.add(row.line or None, refusal.field, refusal.found, refusal.expected)
            continue
        named[reading.slug, reading.mast].add(reading.position)
        instrument = plan.instruments.get(row.instrument)
        written = (reading.written, reading.unit_written, instrument.pk if instrument else None, reading.remark)
        former = standing.get(reading.key)
        if (replacing := _replacing(row, written, former, plan)) is not None:
            plan.rows.append(
                [
                    visit.pk, reading.slug, reading.mast, reading.position, reading.take, reading.value, *written,
                    plan.by.pk, now, *replacing, False,
                ]
            )  # fmt: skip


def _replacing(row: Row, written: Written, former: Standing | None, plan: Plan) -> tuple[int | None, str] | None:
    """Which row this one replaces and why; None where nothing is to be written."""
    if former is None:
        plan.new += 1
        return None, ""
    if former.withdrawn:
        plan.new += 1
        return former.pk, READ_AGAIN
    if former.written == written:
        plan.same += 1
        return None
    if not plan.reason:
        stored = f"{written_text(former.written)}, as stored; or a reason to amend it"
        plan.findings.add(row.line or None, "value", written_text(written), stored)
        return None
    plan.amended += 1
    return former.pk, plan.reason


def written_text(written: Written) -> str:
    return f"{written[0]} {written[1]}".strip()


def _standing(visit: Visit) -> dict[Key, Standing]:
    """For each take its latest row."""
    rows = Reading.objects.filter(visit=visit, replaced_by__isnull=True).values_list(
        "slug", "mast", "position", "take", "pk", "withdrawn", "written", "unit_written", "instrument_id", "remark"
    )
    return {
        (slug, mast, position, take): Standing(pk, withdrawn, (written, unit, instrument, remark))
        for slug, mast, position, take, pk, withdrawn, written, unit, instrument, remark in rows
    }


def _check_instrument(row: Row, instruments: dict[str, Instrument], day: dt.date, findings: Findings) -> None:
    if not row.instrument:
        return
    stored = instruments.get(row.instrument)
    if stored is None:
        findings.add(row.line or None, "instrument", row.instrument, "an instrument on the office's record")
    elif stored.out_of_use_since and stored.out_of_use_since <= day:
        expected = f"one that is in use; this one is out of use since {stored.out_of_use_since.isoformat()}"
        findings.add(row.line or None, "instrument", row.instrument, expected)
