"""The lists read an index: for their order, and for what begins as it was typed. Each database tells its plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.db.models import QuerySet

from boats.models import Boat
from boats.particulars import as_columns
from office.certificates.models import Certificate
from office.lookups import begins_in_lower_case, begins_with
from office.people.models import Person
from surveys.listing import listed_visits
from surveys.models import Visit
from tests.cast import Cast

pytestmark = pytest.mark.django_db

DAY, NOW = dt.date(2026, 5, 4), dt.datetime(2026, 5, 4, 9, tzinfo=dt.UTC)


def plan(rows: QuerySet[Any]) -> str:
    """How the database would find these rows in a large table; in a small one PostgreSQL would read it whole."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL enable_seqscan = off")
    return rows.explain()


@pytest.fixture(autouse=True)
def _much_to_read(cast: Cast) -> None:
    """PostgreSQL guesses by how full a table is; one that was emptied by tests before is read by any index."""
    if connection.vendor != "postgresql":
        return
    numbers = range(1_000)
    boats = Boat.objects.bulk_create(
        Boat(**as_columns({"name": f"Quiet Margin {n}", "sail_number": f"QUA {n}"})) for n in numbers
    )
    visits = Visit.objects.bulk_create(
        Visit(boat=boat, measurer=cast.measurer, date=DAY - dt.timedelta(days=boat.pk % 900)) for boat in boats
    )
    Certificate.objects.bulk_create(
        Certificate(
            number=f"C-2026-{place:04}", boat=visit.boat, visit=visit, issued_at=NOW, issued_by=cast.certifier,
            valid_from=DAY, valid_until=DAY, in_force_before=DAY + dt.timedelta(days=1), snapshot="{}",
            snapshot_sha256="0" * 64, trail_head="0" * 64,
        )
        for place, visit in enumerate(visits)
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE boats_boat, surveys_visit, certificates_certificate, people_person")


@pytest.mark.parametrize("sort", ["date", "-date"])
def test_the_list_of_visits_is_in_the_order_of_an_index(cast: Cast, sort: str) -> None:
    found = plan(listed_visits(cast.administrator, sort=sort)[:50])
    assert "visits_by_day" in found
    assert "USE TEMP B-TREE FOR ORDER BY" not in found
    assert "Sort" not in found


def test_visits_of_some_days_are_read_from_it_too(cast: Cast) -> None:
    found = plan(Visit.objects.filter(pk__in=listed_visits(cast.administrator, since="2026-05-01").values("pk")))  # type: ignore[arg-type]
    assert "visits_by_day" in found


# What is searched by its beginning: the rows, and the index that finds them on SQLite and on PostgreSQL.
BEGINNINGS: dict[str, tuple[Callable[[], QuerySet[Any]], str, str]] = {
    "number": (lambda: Boat.objects.filter(begins_with("sail_number_normal", "QUA1")), "sail_number_normal", "_like"),
    "digits": (lambda: Boat.objects.filter(begins_with("sail_digits", "11")), "sail_digits", "_like"),
    "boat": (lambda: Boat.objects.filter(begins_with("name_normal", "QUIET")), "name_normal", "_like"),
    "second word": (lambda: Boat.objects.filter(begins_with("name_from_2", "MAR")), "name_from_2", "_like"),
    "third word": (lambda: Boat.objects.filter(begins_with("name_from_3", "MAR")), "name_from_3", "_like"),
    "fourth word": (lambda: Boat.objects.filter(begins_with("name_from_4", "MAR")), "name_from_4", "_like"),
    "certificate": (lambda: Certificate.objects.filter(begins_with("number", "C-20")), "number", "_like"),
    "harbour": (
        lambda: Visit.objects.filter(begins_in_lower_case("harbour__lower", "Sk")),
        "visits_by_harbour", "visits_by_beginning_of_harbour",
    ),
    "place": (
        lambda: Visit.objects.filter(begins_in_lower_case("place__lower", "Sk")),
        "visits_by_place", "visits_by_beginning_of_place",
    ),
    "person": (
        lambda: Person.objects.filter(begins_in_lower_case("name__lower", "Pe")).order_by(),
        "people_by_name", "people_by_beginning_of_name",
    ),
    "surname": (
        lambda: Person.objects.filter(begins_in_lower_case("name_after_first", "Sk")).order_by(),
        "name_after_first", "name_after_first",
    ),
    "e-mail": (
        lambda: Person.objects.filter(begins_in_lower_case("email__lower", "pe")).order_by(),
        "people_one_person_per_email", "people_by_beginning_of_email",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BEGINNINGS)
def test_a_beginning_is_a_range_of_an_index(name: str) -> None:
    rows, sqlite, postgresql = BEGINNINGS[name]
    found = plan(rows())
    assert (sqlite if connection.vendor == "sqlite" else postgresql) in found
    if connection.vendor == "postgresql":  # the range stands in the condition of the index, not in a filter after it
        assert "~>=~" in found
    else:
        assert "SCAN" not in found
