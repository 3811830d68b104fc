"""Lists of people, designs, instruments, certificates: search, filters in the address, order, the same as a file."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any
from urllib.parse import unquote

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf
from office.people.models import Person
from office.people.queries import people
from surveys import actions
from tests.cast import Cast, make_person
from tests.surveys.makers import Stage, record_kit, register_boat


def entering(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def rows_of(client: Client, name: str, asked: dict[str, Any]) -> list[dict[str, str]]:
    answer = client.get(reverse(name, args=["csv"]), asked)
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(answer.content.decode())))


# ---- People ----


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("petra", {"Petra Skau"}),
        ("SKAU", {"Petra Skau"}),
        ("petra.s", {"Petra Skau"}),  # her e-mail address
        ("stein", {"Ada Stein"}),
        ("tein", set()),
        ("%", set()),
        ("", None),
    ],
)
def test_people_are_found_by_either_name(cast: Cast, text: str, found: set[str] | None) -> None:
    everybody = {person.name for person in cast.people().values()}
    assert {person.name for person in people(name=text)} == (everybody if found is None else found)


def test_a_name_that_goes_leaves_nothing_to_be_found_by(cast: Cast) -> None:
    """The database keeps the second part itself: whoever writes the name, it follows."""
    Person.objects.filter(pk=cast.owner.pk).update(name="Removed", email="removed-1@office.example")
    assert not people(name="skau").exists()
    assert Person.objects.get(pk=cast.owner.pk).name_after_first == "removed"


def test_the_search_for_people_reads_indexes(cast: Cast) -> None:
    if connection.vendor == "sqlite":
        plan = people(name="sk").explain()
        assert "people_by_name" in plan
        assert "people_one_person_per_email" in plan
        assert "SCAN people_person\n" not in plan
    with connection.cursor() as cursor:
        indexed = connection.introspection.get_constraints(cursor, "people_person").values()
    assert any(one["columns"] == ["name_after_first"] and one["index"] for one in indexed)


def test_the_list_of_people_sorts_and_goes_out_as_a_file(cast: Cast) -> None:
    make_person("=cmd Person", "owner")
    client = entering(cast.administrator)
    page = client.get(reverse("people:list"), {"sort": "-name", "role": "owner"})
    assert [one.name for one in page.context["page"]] == ["Petra Skau", "Olaf Brandt", "=cmd Person"]
    rows = rows_of(client, "people:export", {"sort": "-name", "role": "owner"})
    assert [row["name"] for row in rows] == ["Petra Skau", "Olaf Brandt", "'=cmd Person"]
    assert rows[0]["roles"] == "Owner"
    assert client.get(reverse("people:export", args=["xlsx"])).content.startswith(b"PK")
    assert client.get(reverse("people:export", args=["pdf"])).status_code == 404


# ---- Designs ----


def test_the_list_of_designs_is_searched_sorted_and_exported(cast: Cast) -> None:
    by = cast.administrator
    designs = [
        boat_actions.add_design(by=by, name=name, designer=who)
        for name, who in (("Tern 31", "Ohm"), ("Avocet 7", "Lau"), ("+Tern", ""))
    ]
    boat_actions.register_boat(by=by, name="Sea Lark", sail_number="QUA 7", design=designs[0])
    for greatest in (9000.0, 9100.0):  # the second ends the first
        boat_actions.set_limit(by=by, design=designs[0], dimension="luff", greatest=greatest, source="the drawing")
    client = entering(cast.reviewer)
    page = client.get(reverse("boats:designs"), {"sort": "-boats"}).context["page"]
    assert next((one.name, one.boat_count, one.limit_count) for one in page) == ("Tern 31", 1, 1)
    assert [one.name for one in client.get(reverse("boats:designs"), {"q": "lau"}).context["page"]] == ["Avocet 7"]
    assert "No design fits" in client.get(reverse("boats:designs"), {"q": "zzz"}).content.decode()
    assert [row["design"] for row in rows_of(client, "boats:designs_export", {})] == ["'+Tern", "Avocet 7", "Tern 31"]


# ---- Instruments ----


def test_what_is_due_for_calibration(cast: Cast) -> None:
    today, by = timezone.localdate(), cast.administrator
    for mark, days in (("T-1", -3), ("T-2", 20), ("T-3", 90), ("T-4", None)):
        piece = actions.record_instrument(
            by=by, identifier=mark, kind="steel_tape", maker="Ohm & Sons", keeper=cast.measurer
        )
        if days is not None:
            due = today + dt.timedelta(days=days)
            actions.add_calibration(
                by=by, instrument=piece, calibrated_on=today - dt.timedelta(days=300), due_on=due, error=0.0
            )
    client, address = entering(cast.reviewer), reverse("instruments:list")

    def listed(**asked: str) -> list[str]:
        return [one.identifier for one in client.get(address, asked).context["page"]]

    assert listed(within="30") == ["T-1", "T-2"]
    assert listed(within="100", sort="-due") == ["T-3", "T-2", "T-1"]
    assert listed(due="none") == ["T-4"]
    assert listed(q="t-3") == ["T-3"]
    assert listed(q="ohm") == ["T-1", "T-2", "T-3", "T-4"]
    assert listed(q="mara") == ["T-1", "T-2", "T-3", "T-4"]
    rows = rows_of(client, "instruments:export", {"within": "30"})
    assert [(row["instrument"], row["standing"]) for row in rows] == [("T-1", "overdue"), ("T-2", "due soon")]
    letter = client.get(address, {"within": "100"}).context["letters"][0]
    assert letter.pieces == 2
    assert letter.address.startswith(f"mailto:{cast.measurer.email}?subject=Calibration%20due")
    assert "T-1, steel tape: due" in unquote(letter.address)
    assert "T-3" not in letter.address
    assert entering(cast.measurer).get(address, {"within": "100"}).context["letters"] == []


# ---- Certificates ----


def test_certificates_that_end_within_some_days(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    made = certificate_actions.issue(by=cast.certifier, visit=stage.visit("accepted"))
    client, address = entering(cast.certifier), reverse("certificates:list")
    left = (made.valid_until - timezone.localdate()).days

    def found(**asked: Any) -> bool:
        given = {name: str(value) for name, value in asked.items()}
        return [one.number for one, _ in client.get(address, given).context["rows"]] == [made.number]

    assert found(ends=left)
    on = made.valid_until - dt.timedelta(days=5)
    if on >= made.valid_from:
        assert found(ends=5, on=on)
        assert not found(ends=4, on=on)
    assert not found(ends=3660, on=made.valid_until + dt.timedelta(days=1))  # ended already
    assert client.get(address, {"ends": "3660", "on": "9999-12-31"}).status_code == 200
    assert [row["certificate"] for row in rows_of(client, "certificates:export", {"ends": left})] == [made.number]
