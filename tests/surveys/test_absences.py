""" "Not on this rig": not asked for any more, seen by the reviewer, under the signature, and taken back."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse

from office.audit.models import Entry as TrailRow
from office.audit.refusals import NotAllowed, WrongState
from surveys import actions
from surveys.actions.absences import MarkExists
from surveys.content import canonical_content, still_as_signed
from surveys.export import log_sheet_of
from surveys.figures import derive_visit
from surveys.logsheet.errors import LogSheetErrors
from surveys.models import AbsentReading, Visit
from surveys.queries import current_readings
from surveys.values import Unreadable
from tests.surveys.makers import Stage
from tests.surveys.test_dock import Device, row

POLE = {"slug": "pole_length", "mast": "main", "position": ""}
POLE_ROW = "pole_length-main-one"
REASON = "No pole aboard; the spinnaker is set from the bow."


def mark(stage: Stage, visit: Visit, part: str = "measurer", **changes: Any) -> AbsentReading:
    return actions.mark_absent(by=getattr(stage.cast, part), visit=visit, **{**POLE, "reason": REASON, **changes})


def findings(visit: Visit) -> dict[str, str]:
    return {one.check: one.grade for one in derive_visit(visit).checks if "pole_length" in one.key}


@pytest.fixture
def visit(stage: Stage) -> Visit:
    return stage.visit()


def test_what_is_marked_is_not_asked_for_but_shown_to_the_reviewer(stage: Stage, visit: Visit) -> None:
    assert findings(visit) == {"reading_missing": "stop"}
    made = mark(stage, visit)
    assert findings(visit) == {"reading_not_on_rig": "ask"}
    trail = TrailRow.objects.get(verb="mark_absent")
    assert (trail.reason, trail.visit) == (REASON, visit.key)
    actions.take_absence_back(by=stage.cast.measurer, mark=made, reason="Found it below.")
    assert findings(visit) == {"reading_missing": "stop"}
    assert AbsentReading.objects.get().taken_back_by == stage.cast.measurer
    assert mark(stage, visit).pk != made.pk


def test_a_rig_without_it_is_signed_accepted_and_stays_as_signed(stage: Stage, visit: Visit) -> None:
    stage.fill(visit)
    [pole] = [one for one in current_readings(visit) if one.slug == "pole_length"]
    with pytest.raises(WrongState, match="readings of it"):
        mark(stage, visit)
    actions.withdraw_reading(by=stage.cast.measurer, reading=pole, reason="Read from the wrong boat's sheet.")
    before = canonical_content(visit)
    assert '"absent"' not in before
    mark(stage, visit)
    visit.refresh_from_db()
    stage.sign(visit)
    content = json.loads(canonical_content(visit))
    assert [(one["reading"], one["reason"]) for one in content["absent"]] == [("pole_length", REASON)]
    assert still_as_signed(visit)
    reviewer = Client()
    reviewer.force_login(stage.cast.reviewer)
    page = reviewer.get(reverse("desk:review", args=[visit.key])).content.decode()
    assert REASON in page


def test_what_is_marked_takes_no_reading_until_the_mark_is_taken_back(stage: Stage, visit: Visit) -> None:
    phone = Device(stage, visit)
    entry, answer = phone.one(kind="absent", row=POLE_ROW, reason=REASON)
    assert answer["outcome"] == "stored"
    assert "description" in answer["sentence"]
    assert phone.send(entry)[0]["outcome"] == "already"
    assert phone.one(kind="absent", row=POLE_ROW, reason="Again.")[1]["outcome"] == "already"
    shown = row(phone.state(), POLE_ROW)
    assert shown["absent"]["reason"] == REASON
    assert "not on this rig" in phone.one(text="4100", row=POLE_ROW)[1]["sentence"]
    back = {"kind": "present", "row": POLE_ROW, "replaces": shown["absent"]["token"]}
    assert phone.one(**back)[1]["outcome"] == "stored"
    assert phone.one(**back)[1]["outcome"] == "already"
    assert phone.one(text="4100", row=POLE_ROW)[1]["outcome"] == "stored"
    assert phone.one(kind="absent", row=POLE_ROW, reason=REASON)[1]["outcome"] == "refused"
    assert phone.one(kind="absent", row="taper_length-main-one")[1]["outcome"] == "refused", "no reason"


def test_no_halyard_means_none_of_them(stage: Stage, visit: Visit) -> None:
    mark(stage, visit, slug="spinnaker_halyard_above_band")
    phone = Device(stage, visit)
    new = "spinnaker_halyard_above_band-main-new"
    assert phone.one(text="12300", row=new, position="masthead")[1]["outcome"] == "refused"
    assert not [one for one in derive_visit(visit).checks if one.check == "reading_missing" and "halyard" in one.key]


def test_a_log_sheet_has_no_place_for_it(stage: Stage, visit: Visit) -> None:
    """It is left out of the file, and a file that reads what is not there is refused at its row."""
    mark(stage, visit)
    assert not [one for one in log_sheet_of(visit).rows if one.item == "pole_length"]
    with pytest.raises(LogSheetErrors) as refused:
        stage.fill(visit)
    assert {one.column for one in refused.value.errors} == {"item"}
    assert "not on this rig" in refused.value.errors[0].expected
    assert not visit.readings.exists()


def test_marked_once(stage: Stage, visit: Visit) -> None:
    first = mark(stage, visit)
    with pytest.raises(MarkExists) as refused:
        mark(stage, visit)
    assert refused.value.mark == first
    actions.take_absence_back(by=stage.cast.measurer, mark=first)
    with pytest.raises(WrongState, match="taken back already"):
        actions.take_absence_back(by=stage.cast.measurer, mark=first)


@pytest.mark.parametrize(
    "change", [{"slug": "luff_to_sheave"}, {"mast": "mizzen"}, {"position": "port"}, {"slug": "none"}, {"reason": " "}]
)
def test_only_what_this_rig_can_have(stage: Stage, visit: Visit, change: dict[str, str]) -> None:
    with pytest.raises(Unreadable):
        mark(stage, visit, **change)


@pytest.mark.parametrize("part", ["second_measurer", "reviewer", "certifier", "administrator", "owner", "stranger"])
def test_only_the_visits_measurer_marks(stage: Stage, visit: Visit, part: str) -> None:
    with pytest.raises(NotAllowed):
        mark(stage, visit, part)
    made = mark(stage, visit)
    with pytest.raises(NotAllowed):
        actions.take_absence_back(by=getattr(stage.cast, part), mark=made)


@pytest.mark.parametrize("state", ["planned", "signed", "under_review", "accepted"])
def test_only_while_it_is_written_to(stage: Stage, state: str) -> None:
    with pytest.raises(WrongState):
        mark(stage, stage.visit(state), slug="foot_distance")


def test_the_mark_by_the_pages(stage: Stage, visit: Visit) -> None:
    client = Client()
    client.force_login(stage.cast.measurer)
    address = reverse("surveys:absent", args=[visit.key, POLE_ROW])
    assert "described as having it" in client.get(address).content.decode()
    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": REASON}).status_code == 302
    assert REASON in client.get(reverse("surveys:readings", args=[visit.key])).content.decode()
    assert REASON in client.get(reverse("surveys:visit", args=[visit.key])).content.decode()
    assert client.post(address, {"reason": "There it is."}).status_code == 302
    assert AbsentReading.objects.get().taken_back_at is not None


def test_the_rows_of_the_dock_only_grow(stage: Stage, visit: Visit) -> None:
    """The database refuses what no action would do, in the new tables and in the one that was rebuilt."""
    phone = Device(stage, visit)
    phone.one(text="12150")
    Device(stage, visit).one(text="12510")
    mark(stage, visit)
    tables = ("surveys_reading", "surveys_deviceentry", "surveys_readingconflict", "surveys_absentreading")
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f"SELECT count(*) FROM {table}")
            assert cursor.fetchone()[0] > 0
            for statement in (f"UPDATE {table} SET token = 'x'", f"DELETE FROM {table}"):
                with pytest.raises(DatabaseError), transaction.atomic():
                    cursor.execute(statement)
