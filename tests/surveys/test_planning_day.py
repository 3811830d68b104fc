"""A measurer's day by harbour, and its log sheets in one print."""

from __future__ import annotations

import datetime as dt
import io
import re

import pypdf
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from boats import actions as boat_actions
from surveys import actions, days
from surveys.models import Visit
from tests.cast import Cast
from tests.surveys.makers import VISIT_DAY, Stage
from tests.surveys.test_paper import as_, text_of, undescribed

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]
DAY = VISIT_DAY


def planned(cast: Cast, name: str, harbour: str, *, measurer=None, on: dt.date = DAY, described: bool = True) -> Visit:
    boat = boat_actions.register_boat(by=cast.administrator, name=name, sail_number=f"SKE {len(name)}{len(harbour)}")
    if described:
        boat_actions.describe_rig(
            by=cast.administrator, boat=boat, since=dt.date(2020, 1, 1), rig_type="sloop",
            masts=[{"name": "main", "material": "carbon"}],
        )  # fmt: skip
    visit = actions.ask_for_visit(by=cast.administrator, boat=boat, request="Season.")
    return actions.plan_visit(
        by=cast.administrator, visit=visit, measurer=measurer or cast.measurer, planned_on=on, harbour=harbour
    )


def day_page(person, query: str = f"?on={DAY}") -> str:
    answer = as_(person).get(reverse("surveys:day") + query)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert " style=" not in text
    return text


def test_ones_own_day_by_harbour(cast: Cast):
    for name, harbour in (("Cormorant", "Skerrin Haven"), ("Avocet", "Aarn"), ("Bittern", "Skerrin Haven")):
        planned(cast, name, harbour)
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    planned(cast, "Egret", "Aarn", on=DAY + dt.timedelta(days=1))
    text = day_page(cast.measurer)
    places = [text.index(f"<h2>{one}</h2>") for one in ("Aarn", "Skerrin Haven")]
    boats = [text.index(f">{one}</a>") for one in ("Avocet", "Bittern", "Cormorant")]
    assert places[0] < boats[0] < places[1] < boats[1] < boats[2]
    assert text.count("<h2>Skerrin Haven</h2>") == 1
    assert "Dunlin" not in text
    assert "Egret" not in text


def test_the_office_sees_everybodys_or_one_measurers(cast: Cast):
    planned(cast, "Avocet", "Aarn")
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    text = day_page(cast.reviewer)
    assert "Avocet" in text
    assert "Dunlin" in text
    one = day_page(cast.reviewer, f"?on={DAY}&measurer={cast.second_measurer.key}")
    assert "Dunlin" in one
    assert "Avocet" not in one


def test_a_measurer_cannot_ask_for_anothers(cast: Cast):
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    text = day_page(cast.measurer, f"?on={DAY}&measurer={cast.second_measurer.key}")
    assert "Dunlin" not in text
    assert "No visit on this day" in text


def test_what_is_not_to_take_place_is_not_listed(cast: Cast, stage: Stage):
    visit = stage.visit("planned")
    assert "Quiet Margin" in day_page(cast.measurer)
    actions.call_off_visit(by=cast.administrator, visit=visit, reason="Storm.")
    assert "Quiet Margin" not in day_page(cast.measurer)


def test_the_days_ahead(cast: Cast, monkeypatch):
    monkeypatch.setattr("django.utils.timezone.localdate", lambda: DAY)
    for number, name in enumerate(("Avocet", "Bittern", "Cormorant")):
        planned(cast, name, "Aarn", on=DAY + dt.timedelta(days=min(number, 1)))
    planned(cast, "Older", "Aarn", on=DAY - dt.timedelta(days=1))
    assert [(one.on, one.visits) for one in days.days_ahead(cast.measurer)] == [
        (DAY, 1), (DAY + dt.timedelta(days=1), 2)
    ]  # fmt: skip
    assert days.days_ahead(cast.second_measurer) == []
    assert f"?on={DAY + dt.timedelta(days=1)}" in day_page(cast.measurer)


def test_who_sees_a_day(cast: Cast):
    for name in ("day", "day_paper"):
        got = {part: as_(one).get(reverse(f"surveys:{name}")).status_code for part, one in cast.people().items()}
        refused = {part for part, status in got.items() if status == 403}
        assert refused == {"owner", "other_owner", "race_committee", "stranger"}
        assert Client().get(reverse(f"surveys:{name}")).status_code == 302


@pytest.mark.parametrize("typed", ["yesterday", "2026-02-30", "99999-01-01", "<b>"])
def test_what_is_no_day(cast: Cast, typed: str):
    client = as_(cast.measurer)
    answer = client.get(reverse("surveys:day"), {"on": typed})
    assert answer.status_code == 422
    assert "Expected a date as in 2026-05-04." in answer.content.decode()
    assert client.get(reverse("surveys:day_paper"), {"on": typed}).status_code == 404


def test_all_sheets_in_one_print(cast: Cast):
    planned(cast, "Avocet", "Aarn")
    planned(cast, "Bittern", "Skerrin Haven")
    undescribed(cast)
    answer = as_(cast.measurer).get(reverse("surveys:day_paper") + f"?on={DAY}&paper=Letter")
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == f'inline; filename="log-sheets-{DAY}.pdf"'
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    assert float(reader.pages[0].mediabox.height) == pytest.approx(792, abs=0.5)
    text = text_of(answer.content)
    assert len(re.findall(r"page 1 of \d", text)) == 3, "the list and two sheets, each numbered by itself"
    assert "No sheet follows for Not Yet" in text
    first = reader.pages[0].extract_text()
    assert all(name in first for name in ("Avocet", "Bittern", "Aarn", "Skerrin Haven"))


def test_nothing_to_print_is_said(cast: Cast):
    answer = as_(cast.measurer).get(reverse("surveys:day_paper") + f"?on={DAY}")
    assert answer.status_code == 409
    assert f"No visit is planned for {DAY}" in answer.content.decode()


def test_more_visits_cost_no_more_queries(cast: Cast):
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            day_page(cast.reviewer)
        return len(captured)

    planned(cast, "Avocet", "Aarn")
    few = queries()
    for number in range(5):
        planned(cast, f"Tern {'x' * number}", "Aarn", measurer=cast.second_measurer)
    assert queries() == few


def test_what_is_overdue_on_the_day_is_said_before_it_comes(cast: Cast):
    for mark, days_on in (("T-81", 30), ("T-82", -1)):
        tape = actions.record_instrument(
            by=cast.administrator, identifier=mark, kind="steel_tape", accuracy_class="I", keeper=cast.measurer
        )
        actions.add_calibration(
            by=cast.administrator, instrument=tape, calibrated_on=DAY - dt.timedelta(days=400),
            due_on=DAY + dt.timedelta(days=days_on), error=0.0,
        )  # fmt: skip
    actions.record_instrument(by=cast.administrator, identifier="C-83", kind="calliper", keeper=cast.measurer)
    planned(cast, "Cormorant", "Aarn")
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    kit, none = days.kit_on([cast.measurer, cast.second_measurer], DAY)
    assert [one.identifier for one in kit.in_date] == ["T-81"]
    told = [(one.identifier, one.due) for one in kit.overdue]  # type: ignore[attr-defined]  # annotated
    assert told == [("C-83", None), ("T-82", DAY - dt.timedelta(days=1))]
    assert (none.in_date, none.overdue) == ([], [])
    text = day_page(cast.administrator)
    assert "never calibrated" in text
    assert f"{cast.second_measurer.name}: keeps no instrument" in text
    assert "T-82" not in day_page(cast.second_measurer)
