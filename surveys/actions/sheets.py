"""A log sheet taken into a visit: all of it or nothing, in one transaction, with one row of the trail."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.db import connection, transaction
from django.db.models import prefetch_related_objects
from django.utils import timezone

from boats.models import Boat
from boats.names import normalise_sail_number
from computations import inputs
from computations.catalogue import READINGS
from office.audit.digest import rows_sha256
from office.audit.instants import instant
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, text_of
from surveys.actions.conditions import check_conditions
from surveys.actions.readings import READ_AGAIN
from surveys.actions.reasons import given_reason
from surveys.inputs import calibrations_used, instrument_inputs, rig_inputs
from surveys.logsheet import Difference, LogSheet, Row, to_inputs, write_csv
from surveys.logsheet.errors import Findings
from surveys.models import Instrument, PreparationAnswer, Reading, Visit
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
class Taken:
    """What became of a log sheet: readings new, there already, amended; and what the office's record overruled."""

    visit: Visit
    new: int = 0
    same: int = 0
    amended: int = 0
    differences: tuple[Difference, ...] = ()


@dataclass(slots=True)
class _Plan:
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


@transaction.atomic
def take_log_sheet(
    *,
    by: Person,
    visit: Visit,
    sheet: LogSheet,
    filename: str = "log sheet",
    file_sha256: str = "",
    amend_reason: str = "",
) -> Taken:
    """Store what the sheet says of this visit. Raises LogSheetErrors with every row that cannot be taken.

    Takes that are there already and say the same are left. Those that say something else are refused, unless
    `amend_reason` is given: then they are amended with it. Of instruments and rig the office's own record wins.
    """
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    if visit.rig is None:
        raise WrongState("The boat's rig has not been described yet, so nothing can be read on it.")
    prefetch_related_objects([visit.rig], "masts")
    reason = given_reason(amend_reason, 300) if amend_reason.strip() else ""
    instruments = _stored_instruments(sheet)
    plan = _Plan(visit, by, instruments, reason, Findings(filename))
    given, _ = to_inputs(sheet, key=visit.key)
    _check_boat(sheet, visit.boat, plan.findings)
    conditions = _conditions(sheet, given, visit, plan.findings)
    _plan_readings(sheet, given, plan)
    plan.findings.raise_if_any()

    before = {name: _shown(getattr(visit, name)) for name in conditions}
    for name, value in conditions.items():
        setattr(visit, name, value)
    overruled = tuple(_overruled(sheet, given, visit, instruments))
    answered = _store_preparation(visit, given)
    if not (plan.rows or conditions or answered):
        return Taken(visit, same=plan.same, differences=overruled)
    store_rows(plan.rows)
    finish(
        visit,
        by=by,
        verb="take_log_sheet",
        fields=tuple(conditions),
        before=before or None,
        after={
            "file": filename[:120],
            "file_sha256": file_sha256 or hashlib.sha256(write_csv(sheet)).hexdigest(),
            "readings_new": str(plan.new),
            "readings_same": str(plan.same),
            "readings_amended": str(plan.amended),
            **_digest(plan),
            "preparation_answered": str(answered),
            **{name: _shown(value) for name, value in conditions.items()},
        },
        reason=reason if plan.amended else "",
    )
    return Taken(visit, plan.new, plan.same, plan.amended, overruled)


# ---- What the sheet may say ----


def _stored_instruments(sheet: LogSheet) -> dict[str, Instrument]:
    named = {row.instrument for row in sheet.rows if row.instrument}
    return {one.identifier: one for one in Instrument.objects.filter(identifier__in=named)}


def _check_boat(sheet: LogSheet, boat: Boat, findings: Findings) -> None:
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


def _conditions(sheet: LogSheet, given: inputs.Visit, visit: Visit, findings: Findings) -> dict[str, Any]:
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


def _plan_readings(sheet: LogSheet, given: inputs.Visit, plan: _Plan) -> None:
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


def _replacing(row: Row, written: Written, former: Standing | None, plan: _Plan) -> tuple[int | None, str] | None:
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


# ---- What is stored ----

_COLUMNS = (
    "visit_id", "slug", "mast", "position", "take", "value", "written", "unit_written", "instrument_id", "remark",
    "recorded_by_id", "recorded_at", "replaces_id", "reason", "withdrawn",
)  # fmt: skip
_INSERT = f"INSERT INTO surveys_reading ({', '.join(_COLUMNS)}) VALUES ({', '.join(['%s'] * len(_COLUMNS))})"  # noqa: S608  (fixed names)


def store_rows(rows: list[list[Any]]) -> None:
    """Readings in the order of _COLUMNS, by one prepared statement: far quicker than the ORM's bulk insert."""
    if rows:
        with connection.cursor() as cursor:
            cursor.executemany(_INSERT, rows)


def _digest(plan: _Plan) -> dict[str, str]:
    """What the rows say, for the register's verification: the rows of this sheet are those that bear its moment."""
    if not plan.rows:
        return {}
    rows = [Reading(**{**dict(zip(_COLUMNS, row, strict=True)), "recorded_at": plan.at}) for row in plan.rows]
    return {"readings_at": instant(plan.at), "rows_sha256": rows_sha256(rows)}


def _store_preparation(visit: Visit, given: inputs.Visit) -> int:
    if not given.preparation:
        return 0
    known = {(one.mast, one.item): one for one in visit.preparation.all()}
    new, changed = [], []
    for one in given.preparation:
        row = known.get((one.mast, one.item))
        if row is None:
            new.append(
                PreparationAnswer(visit=visit, mast=one.mast, item=one.item, answer=one.answer, remark=one.remark)
            )
        elif (row.answer, row.remark) != (one.answer, one.remark):
            row.answer, row.remark = one.answer, one.remark
            changed.append(row)
    if new:
        PreparationAnswer.objects.bulk_create(new)
    if changed:
        PreparationAnswer.objects.bulk_update(changed, ["answer", "remark"])
    return len(new) + len(changed)


def _shown(value: Any) -> Any:
    return value if isinstance(value, dict) else text_of(value)


# ---- What the office's record overruled ----


def _overruled(
    sheet: LogSheet, given: inputs.Visit, visit: Visit, instruments: dict[str, Instrument]
) -> Iterable[Difference]:
    """Where the sheet says something else of an instrument or of the rig than the office's record, which stands."""
    if sheet.record("instrument"):
        used = calibrations_used(visit, list(instruments.values()))
        stored = {name: instrument_inputs(one, used.get(one.pk)) for name, one in instruments.items()}
        yield from to_inputs(sheet, stored, key=visit.key)[1]
    assert visit.rig is not None  # noqa: S101 - refused before
    rig = rig_inputs(visit.rig, visit)
    for row in sheet.record("rig"):
        name = {"mast_material": "material", "mast_state": "state"}.get(row.item, row.item)
        of_file, of_office = (given.rig.mast(row.mast), rig.mast(row.mast)) if row.mast else (given.rig, rig)
        if of_file is None or of_office is None or not hasattr(of_office, name):
            continue
        file_value, stored_value = getattr(of_file, name), getattr(of_office, name)
        if file_value != stored_value:
            yield Difference(f"rig {row.mast}".strip(), row.item, file_value, stored_value)
