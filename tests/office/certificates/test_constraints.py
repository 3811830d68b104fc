"""What the database refuses by itself, on SQLite and on PostgreSQL alike, whatever the code above it does."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.checks import Tags, run_checks
from django.db import DatabaseError, IntegrityError, connection, transaction

from office.certificates import constraints
from office.certificates.models import Certificate, Document
from tests.office.certificates.conftest import make_boat

D = dt.date
SPAN = {"valid_from": D(2026, 5, 4), "valid_until": D(2026, 12, 31), "in_force_before": D(2027, 1, 1)}

OVERLAPS = [
    (D(2026, 5, 4), D(2027, 1, 1)),  # the same days
    (D(2026, 1, 1), D(2026, 5, 5)),  # the first day only
    (D(2026, 12, 31), D(2027, 6, 1)),  # the last day only
    (D(2026, 7, 1), D(2026, 7, 2)),  # one day within
    (D(2025, 1, 1), D(2028, 1, 1)),  # all around
]
BESIDE = [
    (D(2026, 1, 1), D(2026, 5, 4)),  # ends the day before
    (D(2027, 1, 1), D(2027, 6, 1)),  # begins the day after
    (D(2026, 7, 1), D(2026, 7, 1)),  # never in force
]


def _span(first: D, before: D) -> dict[str, D]:
    return {"valid_from": first, "valid_until": max(first, before - dt.timedelta(days=1)), "in_force_before": before}


@pytest.mark.parametrize(("first", "before"), OVERLAPS)
def test_two_in_force_on_one_day_are_refused(row, first: D, before: D) -> None:
    boat = make_boat()
    row(boat=boat, **SPAN)
    with pytest.raises(IntegrityError), transaction.atomic():
        row(boat=boat, **_span(first, before))
    assert Certificate.objects.filter(boat=boat).count() == 1


@pytest.mark.parametrize(("first", "before"), BESIDE)
def test_days_beside_each_other_are_not(row, first: D, before: D) -> None:
    boat = make_boat()
    row(boat=boat, **SPAN)
    row(boat=boat, **_span(first, before))
    assert Certificate.objects.filter(boat=boat).count() == 2


def test_two_boats_may_each_have_one(row) -> None:
    row(**SPAN)
    row(**SPAN)
    assert Certificate.objects.count() == 2


@pytest.mark.parametrize("way", ["bulk_create", "raw"])
def test_no_way_round_the_overlap(row, way: str) -> None:
    boat = make_boat()
    first = row(boat=boat, **SPAN)
    values = {field.attname: getattr(first, field.attname) for field in Certificate._meta.concrete_fields}
    values |= {"id": first.pk + 1000, "number": "ZZ-2026-9999"}
    texts = [str(value) if isinstance(value, dt.date | dt.datetime) else value for value in values.values()]
    statement = f"INSERT INTO certificates_certificate ({', '.join(values)}) VALUES ({', '.join(['%s'] * len(values))})"
    ways = {
        "bulk_create": lambda: Certificate.objects.bulk_create([Certificate(**values)]),
        "raw": lambda: connection.cursor().execute(statement, texts),
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        ways[way]()


def test_an_end_is_brought_forward_but_never_put_off(row) -> None:
    one = row(**SPAN)
    rows = Certificate.objects.filter(pk=one.pk)
    assert rows.update(in_force_before=D(2026, 8, 1), ending="withdrawn") == 1
    with pytest.raises(DatabaseError), transaction.atomic():
        rows.update(in_force_before=D(2026, 8, 2))
    assert rows.get().in_force_before == D(2026, 8, 1)


FROZEN = {
    "number": "ZZ-1",
    "issued_at": dt.datetime(2020, 1, 1, tzinfo=dt.UTC),
    "issue_reason": "another",
    "valid_from": D(2026, 5, 5),
    "valid_until": D(2027, 3, 1),
    "snapshot": '{"other":1}',
    "snapshot_sha256": "11" * 32,
    "trail_head": "11" * 32,
    "boat_id": None,
    "visit_id": None,
    "replaces_id": None,
    "issued_by_id": None,
}


def test_every_column_but_the_ending_is_listed_as_frozen() -> None:
    endings = {"in_force_before", "ending", "ended_on", "ended_at", "ended_by_id", "ending_reason"}
    assert {field.attname for field in Certificate._meta.concrete_fields} == {"id", *endings, *FROZEN}


@pytest.mark.parametrize("column", FROZEN)
def test_what_a_certificate_states_is_never_altered(row, cast, column: str) -> None:
    one, other = row(**SPAN), row(**SPAN)
    relations = {
        "boat_id": other.boat_id, "visit_id": other.visit_id, "replaces_id": other.pk, "issued_by_id": cast.owner.pk,
    }  # fmt: skip
    with pytest.raises(DatabaseError), transaction.atomic():
        Certificate.objects.filter(pk=one.pk).update(**{column: relations.get(column, FROZEN[column])})
    again = Certificate.objects.get(pk=one.pk)
    assert getattr(again, column) == getattr(one, column)


def test_neither_a_certificate_nor_its_document_is_removed(row) -> None:
    one = row(**SPAN)
    paper = Document.objects.create(certificate=one, paper="A4", pdf=b"%PDF-", pdf_sha256="22" * 32)
    for table in (Document, Certificate):
        with pytest.raises(DatabaseError), transaction.atomic():
            table.objects.all()._raw_delete("default")
    with pytest.raises(DatabaseError), transaction.atomic():
        Document.objects.filter(pk=paper.pk).update(pdf=b"%PDF-other")
    assert bytes(Document.objects.get().pdf) == b"%PDF-"


INSERT_AS_IT_STANDS = (
    "INTO certificates_certificate (id, number, issued_at, issue_reason, valid_from, valid_until, snapshot, "
    "snapshot_sha256, trail_head, in_force_before, ending, ended_on, ended_at, ending_reason, boat_id, ended_by_id, "
    "issued_by_id, replaces_id, visit_id) SELECT id, number, issued_at, issue_reason, valid_from, valid_until, '{}', "
    "snapshot_sha256, trail_head, in_force_before, ending, ended_on, ended_at, ending_reason, boat_id, ended_by_id, "
    "issued_by_id, replaces_id, visit_id FROM certificates_certificate WHERE true "
)


def test_an_insert_that_would_overwrite_is_refused(row) -> None:
    """SQLite's INSERT OR REPLACE asks no delete trigger; ON CONFLICT is known to both databases."""
    one = row(**SPAN, snapshot='{"as":"issued"}')
    statements = [f"INSERT {INSERT_AS_IT_STANDS} ON CONFLICT (number) DO UPDATE SET snapshot = '{{}}'"]
    if connection.vendor == "sqlite":
        statements.append(f"INSERT OR REPLACE {INSERT_AS_IT_STANDS}")
    for statement in statements:
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    assert Certificate.objects.get().snapshot == one.snapshot


def test_the_constraints_stand_and_the_check_says_when_not(db) -> None:
    assert constraints.missing(connection) == []
    assert run_checks(tags=[Tags.database], databases=["default"]) == []
    constraints.drop(connection)
    found = [one.id for one in run_checks(tags=[Tags.database], databases=["default"])]
    assert found
    assert set(found) == {"certificates.E001"}
    constraints.create(connection)
    assert constraints.missing(connection) == []
