"""A log sheet taken into a visit: all of it or nothing, in one transaction, with one row of the trail."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.db.models import prefetch_related_objects

from computations import inputs
from office.audit.digest import rows_sha256
from office.audit.instants import instant
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, text_of
from surveys.actions.reasons import given_reason
from surveys.actions.sheet_plan import Plan, check_boat, conditions_of, plan_readings
from surveys.inputs import calibrations_used, instrument_inputs, rig_inputs
from surveys.logsheet import Difference, LogSheet, to_inputs, write_csv
from surveys.logsheet.errors import Findings
from surveys.models import Instrument, PreparationAnswer, Reading, Visit


@dataclass(slots=True)
class Taken:
    """What became of a log sheet: readings new, there already, amended; and what the office's record overruled."""

    visit: Visit
    new: int = 0
    same: int = 0
    amended: int = 0
    differences: tuple[Difference, ...] = ()


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
    plan = Plan(visit, by, instruments, reason, Findings(filename))
    given, _ = to_inputs(sheet, key=visit.key)
    check_boat(sheet, visit.boat, plan.findings)
    conditions = conditions_of(sheet, given, visit, plan.findings)
    plan_readings(sheet, given, plan)
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


def _stored_instruments(sheet: LogSheet) -> dict[str, Instrument]:
    named = {row.instrument for row in sheet.rows if row.instrument}
    return {one.identifier: one for one in Instrument.objects.filter(identifier__in=named)}


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


def _digest(plan: Plan) -> dict[str, str]:
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
