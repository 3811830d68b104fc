"""Single readings: what is taken, what is refused, and how an amendment stays readable."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone

from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from surveys import actions
from surveys.actions.readings import BEFORE_SIGNATURE, READ_AGAIN, TakeExists
from surveys.models import Reading, Visit
from surveys.queries import all_readings, chain_of, current_readings
from surveys.values import Unreadable
from tests.surveys.makers import Stage


def record(stage: Stage, visit: Visit, text: str = "12150", **changes: Any) -> Reading:
    given: dict[str, Any] = {
        "slug": "luff_between_bands",
        "mast": "main",
        "position": "",
        "take": 1,
        "text": text,
        "unit": "",
        "instrument": stage.kit["T-03"],
        **changes,
    }
    return actions.record_reading(by=stage.cast.measurer, visit=visit, **given)


def amend(stage: Stage, reading: Reading, text: str, reason: str = "") -> Reading:
    return actions.amend_reading(
        by=stage.cast.measurer, reading=reading, text=text, unit="", instrument=stage.kit["T-03"], reason=reason
    )


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12150", "", 12150.0),
        ("12150.5", "mm", 12150.5),
        ("12150,5", "mm", 12150.5),
        ("12.15", "m", 12150.0),
        ("50 ft 1 13/16 in", "", 15286.0375),  # 50 x 304.8 + 1.8125 x 25.4
        ("50' 1 13/16\"", "", 15286.0375),
        ("12 7/8", "in", 327.025),
    ],
)
def test_values_are_kept_as_written_and_converted(stage: Stage, text: str, unit: str, value: float) -> None:
    reading = record(stage, stage.visit(), text, unit=unit)
    assert reading.value == pytest.approx(value, abs=1e-9)
    assert (reading.written, reading.unit_written) == (text, unit)


@pytest.mark.parametrize(
    "text",
    ["", "NaN", "inf", "-inf", "1e400", "1e5", "-12150", "0", "twelve", "12.1.5", "999999999", "9" * 50, "12150 kg"],
)
def test_what_is_no_length_is_refused_with_what_was_expected(stage: Stage, text: str) -> None:
    visit = stage.visit()
    with pytest.raises(Unreadable) as refused:
        record(stage, visit, text)
    assert refused.value.expected
    assert refused.value.field == "value"
    assert not visit.readings.exists()


def test_only_the_band_may_lie_below_its_string(stage: Stage) -> None:
    visit = stage.visit()
    assert record(stage, visit, "-35", slug="string_to_band").value == -35.0
    assert record(stage, visit, "0", slug="taper_length").value == 0.0


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"slug": "no_such_reading"}, "slug"),
        ({"mast": "mizzen"}, "mast"),
        ({"slug": "band_to_sheer", "position": ""}, "position"),
        ({"slug": "band_to_sheer", "position": "amidships"}, "position"),
        ({"position": "port"}, "position"),
        ({"slug": "spinnaker_halyard_above_band", "position": " "}, "position"),
        ({"slug": "spinnaker_halyard_above_band", "position": "x" * 41}, "position"),
        ({"slug": "luff_to_sheave"}, "mast"),  # this rig has an upper band
        ({"take": 0}, "take"),
        ({"take": 100}, "take"),
        ({"remark": "x" * 201}, "remark"),
        ({"unit": "furlongs per fortnight"}, "unit"),
    ],
)
def test_places_and_takes_are_the_rigs(stage: Stage, changes: dict[str, Any], field: str) -> None:
    visit = stage.visit()
    with pytest.raises(Unreadable) as refused:
        record(stage, visit, **changes)
    assert refused.value.field == field
    assert not visit.readings.exists()


def test_each_take_is_recorded_once(stage: Stage) -> None:
    visit = stage.visit()
    first = record(stage, visit)
    with pytest.raises(TakeExists) as refused:
        record(stage, visit, "12160")
    assert refused.value.reading == first
    assert "12150 mm" in str(refused.value)
    second = record(stage, visit, "12152", take=2)
    assert [one.pk for one in current_readings(visit)] == [first.pk, second.pk]


def test_the_database_holds_takes_once_too(stage: Stage) -> None:
    visit = stage.visit()
    first = record(stage, visit)
    with pytest.raises(IntegrityError), transaction.atomic():
        Reading.objects.create(
            visit=visit, slug=first.slug, mast="main", take=1, value=1.0, written="1", recorded_by=stage.cast.measurer
        )


def test_an_amendment_replaces_with_reason_and_stays_readable(stage: Stage) -> None:
    visit = stage.visit("returned")
    reading = next(one for one in current_readings(visit) if one.slug == "foot_distance")
    with pytest.raises(Unreadable, match="Reason"):
        amend(stage, reading, "4125")
    amended = amend(stage, reading, "4125", "Tape had slipped off the mast's aft face.")
    again = amend(stage, amended, "4124", "Read a third time.")
    chain = chain_of(again)
    assert [one.written for one in chain] == ["4124", "4125", reading.written]
    assert [one.reason for one in chain[:2]] == ["Read a third time.", "Tape had slipped off the mast's aft face."]
    counting = [one.pk for one in current_readings(visit) if one.slug == "foot_distance"]
    assert counting == [again.pk]
    assert {reading.pk, amended.pk, again.pk} <= {one.pk for one in all_readings(visit)}
    row = Entry.objects.filter(verb="amend_reading").latest("number")
    assert '"written":"4125"' in row.before
    assert '"written":"4124"' in row.after
    assert row.reason == "Read a third time."


def test_a_reading_is_amended_once_only(stage: Stage) -> None:
    visit = stage.visit()
    reading = record(stage, visit)
    amend(stage, reading, "12155")
    with pytest.raises(WrongState, match="replaced"):
        amend(stage, reading, "12156")


def test_before_the_first_signature_the_reason_may_go_unsaid(stage: Stage) -> None:
    reading = record(stage, stage.visit())
    assert amend(stage, reading, "12151").reason == BEFORE_SIGNATURE


def test_the_same_value_again_writes_nothing(stage: Stage) -> None:
    visit = stage.visit()
    reading = record(stage, visit)
    edition = visit.edition
    assert amend(stage, reading, "12150") == reading
    assert (visit.readings.count(), Visit.objects.get(pk=visit.pk).edition) == (1, edition)


def test_a_reading_taken_away_can_be_read_again(stage: Stage) -> None:
    visit = stage.visit()
    reading = record(stage, visit)
    with pytest.raises(Unreadable, match="Reason"):
        actions.withdraw_reading(by=stage.cast.measurer, reading=reading, reason=" ")
    gone = actions.withdraw_reading(by=stage.cast.measurer, reading=reading, reason="Not this boat's mast.")
    assert current_readings(visit) == []
    assert gone.value is None
    back = record(stage, visit, "12149")
    assert (back.replaces, back.reason) == (gone, READ_AGAIN)
    assert [one.pk for one in current_readings(visit)] == [back.pk]


@pytest.mark.parametrize("state", ["signed", "under_review", "accepted"])
def test_what_is_signed_is_not_amended(stage: Stage, state: str) -> None:
    visit = stage.visit(state)
    reading = current_readings(visit)[0]
    with pytest.raises(WrongState):
        amend(stage, reading, "1", "No.")
    with pytest.raises(WrongState):
        actions.withdraw_reading(by=stage.cast.measurer, reading=reading, reason="No.")


@pytest.mark.parametrize("part", ["second_measurer", "reviewer", "certifier", "administrator", "owner", "stranger"])
def test_only_the_visits_measurer_writes(stage: Stage, part: str) -> None:
    visit = stage.visit()
    reading = record(stage, visit)
    by = getattr(stage.cast, part)
    with pytest.raises(NotAllowed):
        actions.amend_reading(by=by, reading=reading, text="1", unit="", instrument=None, reason="x")
    with pytest.raises(NotAllowed):
        actions.withdraw_reading(by=by, reading=reading, reason="x")
    with pytest.raises(NotAllowed):
        actions.set_conditions(by=by, visit=visit, edition=visit.edition, place="Elsewhere")
    with pytest.raises(NotAllowed):
        actions.answer_preparation(by=by, visit=visit, answers=[])
    with pytest.raises(NotAllowed):
        actions.follow_rig(by=by, visit=visit)


def test_an_instrument_out_of_use_takes_no_reading(stage: Stage) -> None:
    visit = stage.visit()
    actions.take_out_of_use(
        by=stage.cast.administrator, instrument=stage.kit["T-03"], since=timezone.localdate(), reason="Kinked at 7 m."
    )
    with pytest.raises(Unreadable, match="out of use") as refused:
        record(stage, visit)
    assert refused.value.field == "instrument"


@pytest.mark.parametrize("table", ["surveys_reading", "surveys_signoff", "surveys_settlement", "surveys_calibration"])
def test_rows_that_only_grow(stage: Stage, table: str) -> None:
    """The database itself refuses what no action would do."""
    visit = stage.visit("draft")
    stage.fill(visit)
    stage.break_something(visit)
    actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stage.stop_key, reason="No thermometer.")
    stage.sign(visit)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        assert cursor.fetchone()[0] > 0
        for statement in (f"UPDATE {table} SET id = id + 1000000", f"DELETE FROM {table}"):
            with pytest.raises(DatabaseError), transaction.atomic():
                cursor.execute(statement)
