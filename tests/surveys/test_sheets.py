"""Log sheets into a visit and out of it: all or nothing, the same again, and the same bytes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from office.audit import trail
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from surveys import actions
from surveys.actions.sheets import Taken
from surveys.export import log_sheet_of
from surveys.logsheet import LogSheet, LogSheetErrors, Row, read, write_csv, write_xlsx
from surveys.models import PreparationAnswer, Reading, Visit
from surveys.queries import current_readings
from tests.surveys.makers import SAMPLES, SHEET, VISIT_DAY, Stage, sheet


def take(stage: Stage, visit: Visit, given: LogSheet, reason: str = "") -> Taken:
    return actions.take_log_sheet(
        by=stage.cast.measurer, visit=visit, sheet=given, filename="sheet.csv", amend_reason=reason
    )


def changed(given: LogSheet, **changes: str) -> LogSheet:
    """The sheet with the value of some visit items or readings changed."""
    return LogSheet.of(replace(row, value=changes.get(row.item, row.value)) for row in given.rows)


def counts(visit: Visit) -> tuple[int, int, int, int]:
    visit.refresh_from_db()
    return (Reading.objects.count(), PreparationAnswer.objects.count(), visit.edition, trail.head()[0])


def errors_of(stage: Stage, visit: Visit, given: LogSheet, reason: str = "") -> list[tuple[int | None, str]]:
    """Row and column of each error; nothing at all is stored."""
    before, rows = counts(visit), Visit.objects.filter(pk=visit.pk).values().get()
    with pytest.raises(LogSheetErrors) as refused:
        take(stage, visit, given, reason)
    assert counts(visit) == before
    assert Visit.objects.filter(pk=visit.pk).values().get() == rows
    assert all(error.found and error.expected and error.file == "sheet.csv" for error in refused.value.errors)
    return [(error.row, error.column) for error in refused.value.errors]


def row_of(given: LogSheet, item: str) -> int:
    return next(row.line for row in given.rows if row.item == item)


def test_a_sheet_is_stored_whole_with_one_row_of_the_trail(stage: Stage) -> None:
    visit, before = stage.visit(), trail.head()[0]
    taken = take(stage, visit, sheet())
    assert (taken.new, taken.same, taken.amended) == (31, 0, 0)
    assert len(current_readings(visit)) == 31
    assert (visit.date, visit.air_temperature_c, visit.place) == (VISIT_DAY, 14.5, "Skerrin Haven, north yard")
    assert (visit.band_contrast, visit.mast_state) == ({"main": True}, {"main": "ashore"})
    assert visit.preparation.count() == 4
    assert trail.head()[0] == before + 1
    entry = Entry.objects.latest("number")
    assert entry.verb == "take_log_sheet"
    assert '"readings_new":"31"' in entry.after
    assert '"file_sha256":"' in entry.after
    reading = next(one for one in current_readings(visit) if one.slug == "luff_between_bands")
    assert (reading.written, reading.value, reading.instrument, reading.recorded_by) == (
        "12150",
        12150.0,
        stage.kit["T-03"],
        stage.cast.measurer,
    )


def test_the_same_sheet_again_changes_nothing(stage: Stage) -> None:
    visit = stage.visit()
    take(stage, visit, sheet())
    before = counts(visit)
    again = take(stage, visit, sheet())
    assert (again.new, again.same, again.amended) == (0, 31, 0)
    assert counts(visit) == before


def test_other_values_are_refused_row_by_row_unless_a_reason_amends_them(stage: Stage) -> None:
    visit = stage.visit()
    take(stage, visit, sheet())
    other = changed(sheet(), foot_distance="4125", foretriangle_base="3650")
    rows = {(row_of(other, "foot_distance"), "value"), (row_of(other, "foretriangle_base"), "value")}
    assert set(errors_of(stage, visit, other)) == rows
    taken = take(stage, visit, other, "Read again in the afternoon.")
    assert (taken.new, taken.same, taken.amended) == (0, 29, 2)
    foot = next(one for one in current_readings(visit) if one.slug == "foot_distance")
    assert (foot.value, foot.reason) == (4125.0, "Read again in the afternoon.")
    assert foot.replaces is not None
    assert foot.replaces.value == 4123.0


def test_a_take_that_was_taken_away_comes_back_with_the_sheet(stage: Stage) -> None:
    visit = stage.visit()
    take(stage, visit, sheet())
    foot = next(one for one in current_readings(visit) if one.slug == "foot_distance")
    actions.withdraw_reading(by=stage.cast.measurer, reading=foot, reason="Wrong boom.")
    assert take(stage, visit, sheet()).new == 1
    assert len(current_readings(visit)) == 31


@pytest.mark.parametrize(
    ("number", "fits"),
    [("SKE 214", True), ("ske-0214", True), ("214", True), ("SKE 215", False), ("NOR 214", False), ("21", False)],
)
def test_the_sheet_is_for_this_boat_whatever_the_spacing(stage: Stage, number: str, fits: bool) -> None:
    visit, given = stage.visit(), changed(sheet(), sail_number=number)
    if fits:
        assert take(stage, visit, given).new == 31
    else:
        assert errors_of(stage, visit, given) == [(row_of(given, "sail_number"), "value")]


def test_a_sheet_without_sail_number_belongs_to_no_boat(stage: Stage) -> None:
    given = LogSheet.of(row for row in sheet().rows if row.item != "sail_number")
    assert errors_of(stage, stage.visit(), given) == [(None, "item")]


def test_an_instrument_the_office_does_not_know_is_named_by_row(stage: Stage) -> None:
    given = LogSheet.of(
        replace(row, instrument="T-99") if row.record == "reading" and row.item == "foot_distance" else row
        for row in sheet().rows
    )
    assert errors_of(stage, stage.visit(), given) == [(row_of(given, "foot_distance"), "instrument")]


def test_an_instrument_out_of_use_is_named_by_row(stage: Stage) -> None:
    actions.take_out_of_use(
        by=stage.cast.administrator, instrument=stage.kit["S-01"], since=dt.date(2023, 1, 1), reason="Dropped."
    )
    rows = errors_of(stage, stage.visit(), sheet())
    assert rows == [(row_of(sheet(), item), "instrument") for item in ("scale_reading", "sling_weight")]


def test_a_reading_this_rig_cannot_have_is_named_by_row(stage: Stage) -> None:
    odd = Row("reading", "luff_to_sheave", "12300", "mm", mast="main", instrument="T-03", line=99)
    assert errors_of(stage, stage.visit(), LogSheet.of([*sheet().rows, odd])) == [(99, "mast")]


def test_every_error_at_once(stage: Stage) -> None:
    given = LogSheet.of(
        replace(row, instrument="T-99") if row.record == "reading" and row.item == "foot_distance" else row
        for row in changed(sheet(), sail_number="SKE 1").rows
    )
    assert len(errors_of(stage, stage.visit(), given)) == 2


def test_of_instruments_and_rig_the_offices_record_stands_and_the_difference_is_told(stage: Stage) -> None:
    given = LogSheet.of(
        replace(row, value="2.5") if row.item == "calibration_error" and row.instrument == "T-03" else row
        for row in changed(sheet(), spreader_pairs="3").rows
    )
    taken = take(stage, stage.visit(), given)
    told = {(one.identifier, one.field): (one.file_value, one.stored_value) for one in taken.differences}
    assert told["T-03", "calibration_error"] == (2.5, 0.8)
    assert told["rig main", "spreader_pairs"] == (3, 2)
    assert stage.boat.rigs.get().masts.get().spreader_pairs == 2
    assert stage.kit["T-03"].calibrations.get().error == 0.8


def test_who_and_when(stage: Stage) -> None:
    visit = stage.visit()
    for part in ("second_measurer", "reviewer", "administrator", "owner", "stranger"):
        with pytest.raises(NotAllowed):
            actions.take_log_sheet(by=getattr(stage.cast, part), visit=visit, sheet=sheet())
    signed = stage.visit("signed")
    with pytest.raises(WrongState):
        take(stage, signed, sheet())


@pytest.mark.parametrize("write", [write_csv, write_xlsx])
def test_export_upload_export_gives_the_same_bytes(stage: Stage, write: object) -> None:
    visit = stage.visit()
    take(stage, visit, sheet())
    feet = next(one for one in current_readings(visit) if one.slug == "foot_distance")
    actions.amend_reading(
        by=stage.cast.measurer,
        reading=feet,
        text="13 ft 6 5/16 in",
        unit="",
        instrument=stage.kit["T-03"],
        remark='=in the rain, "really"',
    )
    first = write(log_sheet_of(visit))  # type: ignore[operator]
    fresh = stage.visit()
    known = list(stage.kit)
    take(stage, fresh, read(first, "out.csv" if write is write_csv else "out.xlsx", known_instruments=known))
    assert write(log_sheet_of(Visit.objects.get(pk=fresh.pk))) == first  # type: ignore[operator]


def test_the_second_sample_is_taken_too(stage: Stage) -> None:
    """46 degF on the sheet is 7.8 degC in the record."""
    visit = stage.visit()
    take(stage, visit, sheet(SAMPLES / "quiet_margin_2024.csv"))
    assert visit.air_temperature_c == pytest.approx(7.777, abs=0.001)
    assert SHEET.exists()
