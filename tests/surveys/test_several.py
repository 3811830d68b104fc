"""Ticked visits: planned together or not at all, printed together; and the search of the list."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import pypdf
import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from surveys import actions
from surveys.listing import listed_visits
from surveys.models import Visit
from surveys.views import several
from tests.cast import Cast
from tests.surveys.makers import Stage, record_kit, register_boat

PLAN, PRINT, LIST = (reverse(f"surveys:{name}") for name in ("plan_several", "print_several", "list"))


@pytest.fixture
def visits(cast: Cast) -> list[Visit]:
    """Asked for, of three boats; the first two at home in one harbour, the third elsewhere."""
    found = []
    for number, name in enumerate(("Blue Heron", "Grey Plover", "Red Knot"), 300):
        boat = register_boat(cast, name, f"SKE {number}")
        if name == "Red Knot":
            boat_actions.change_particulars(
                by=cast.administrator, boat=boat, edition=1, harbour="Averell Quay", reason="moved"
            )
        found.append(Stage(cast, boat).visit("asked_for"))
    return found


def entering(person: Any) -> Client:
    client = Client()
    client.force_login(person)
    return client


def address(page: str, visits: list[Visit]) -> str:
    return page + "?" + "&".join(f"visit={visit.key}" for visit in visits)


def test_ticked_visits_are_planned_in_one_go(cast: Cast, visits: list[Visit]) -> None:
    client = entering(cast.reviewer)
    page = client.get(address(PLAN, visits)).content.decode()
    assert all(visit.boat.name in page for visit in visits)
    day = timezone.localdate() + dt.timedelta(days=9)
    answer = client.post(address(PLAN, visits), {"measurer": cast.measurer.key, "planned_on": day.isoformat()})
    assert answer.headers["Location"] == LIST
    planned = {visit.boat.name: visit for visit in Visit.objects.select_related("boat", "measurer")}
    assert {visit.state for visit in planned.values()} == {"planned"}
    assert {(visit.measurer, visit.planned_on) for visit in planned.values()} == {(cast.measurer, day)}
    harbours = {name: visit.harbour for name, visit in planned.items()}
    assert harbours == {"Blue Heron": "Skerrin Haven", "Grey Plover": "Skerrin Haven", "Red Knot": "Averell Quay"}
    assert Entry.objects.filter(verb="plan_visit").count() == 3
    # Again, to another harbour for all of them.
    client.post(
        address(PLAN, visits), {"measurer": cast.measurer.key, "planned_on": day.isoformat(), "harbour": "North Yard"}
    )
    assert set(Visit.objects.values_list("harbour", flat=True)) == {"North Yard"}


def test_one_that_cannot_be_planned_stops_all_and_is_named(cast: Cast, visits: list[Visit]) -> None:
    boat_actions.declare_interest(
        by=cast.administrator, boat=visits[2].boat, person=cast.measurer, kind="crew", since=dt.date(2022, 1, 1)
    )
    day = timezone.localdate() + dt.timedelta(days=9)
    answer = entering(cast.reviewer).post(
        address(PLAN, visits), {"measurer": cast.measurer.key, "planned_on": day.isoformat()}
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Red Knot" in page
    assert "interest" in page
    assert "None of the ticked visits was planned" in page
    assert set(Visit.objects.values_list("state", flat=True)) == {"asked_for"}
    assert not Entry.objects.filter(verb="plan_visit").exists()


def test_what_is_closed_is_said_before_anything_is_typed(cast: Cast, visits: list[Visit]) -> None:
    actions.call_off_visit(by=cast.administrator, visit=visits[1], reason="Sold.")
    page = entering(cast.reviewer).get(address(PLAN, visits)).content.decode()
    assert "Grey Plover can no longer be planned" in " ".join(page.split())
    assert "Plan them" not in page


def test_no_ticks_or_too_many_are_said(cast: Cast, visits: list[Visit]) -> None:
    client = entering(cast.reviewer)
    for page in (PLAN, PRINT):
        assert "tick at least one" in client.get(page).content.decode()
        many = page + "?" + "&".join(f"visit=k{n}" for n in range(several.MOST + 1))
        assert "at most 50" in client.get(many).content.decode()
    assert client.get(PRINT + "?visit=%00&visit=none").status_code == 409


@pytest.mark.any_database
def test_ticked_visits_are_printed_in_one_file(cast: Cast, visits: list[Visit]) -> None:
    record_kit(cast)
    answer = entering(cast.administrator).get(address(PRINT, visits[:2]) + "&paper=A4")
    assert answer.headers["Content-Type"] == "application/pdf"
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    assert "Log sheets of 2 visits" in text
    assert "day not set" in text
    assert text.count("Blue Heron") >= 2  # in the list, and on her sheet
    assert text.count("Grey Plover") >= 2
    assert "Red Knot" not in text


def test_a_measurer_prints_their_own_only(cast: Cast, visits: list[Visit]) -> None:
    actions.plan_several(
        by=cast.reviewer, visits=visits[:1], measurer=cast.measurer, planned_on=timezone.localdate(), harbour="Quay"
    )
    assert entering(cast.second_measurer).get(address(PRINT, visits)).status_code == 409
    assert entering(cast.owner).get(address(PRINT, visits)).status_code == 403


def test_the_boxes_are_ticked_all_at_once_without_a_script(cast: Cast, visits: list[Visit]) -> None:
    client = entering(cast.reviewer)
    plain, ticked = client.get(LIST).content.decode(), client.get(LIST, {"ticked": "all"}).content.decode()
    assert (plain.count(" checked>"), ticked.count(" checked>")) == (0, 3)
    assert 'type="checkbox" name="visit"' not in entering(cast.owner).get(LIST).content.decode()


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("heron", {"Blue Heron"}),
        ("ske 301", {"Grey Plover"}),
        ("SKERRIN", {"Blue Heron", "Grey Plover"}),  # the harbour, whatever its case
        ("lind", {"Red Knot"}),  # the measurer's family name
        ("mara l", {"Red Knot"}),
        ("eron", set()),
        ("%", set()),
        ("_", set()),
    ],
)
def test_the_search_of_the_list(cast: Cast, visits: list[Visit], text: str, found: set[str]) -> None:
    for visit, who in zip(visits, (cast.second_measurer, cast.second_measurer, cast.measurer), strict=True):
        actions.plan_visit(
            by=cast.reviewer,
            visit=visit,
            measurer=who,
            planned_on=timezone.localdate(),
            harbour="Averell Quay" if visit == visits[2] else "Skerrin Haven",
        )
    assert {visit.boat.name for visit in listed_visits(cast.reviewer, search=text)} == found


@pytest.mark.django_db
def test_the_search_reads_indexes(cast: Cast) -> None:
    """A small table is read whole on PostgreSQL whatever its indexes; that they are there is what can be asked."""
    if connection.vendor == "sqlite":
        plan = listed_visits(cast.reviewer, search="skerrin").explain()
        assert "visits_by_harbour" in plan
        assert "visits_by_place" in plan
        assert "people_by_name" in plan
        assert "SCAN U0" not in plan
    with connection.cursor() as cursor:
        assert {"visits_by_harbour", "visits_by_place"} <= set(
            connection.introspection.get_constraints(cursor, "surveys_visit")
        )
