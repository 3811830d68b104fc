"""What SQLite takes though it is not of the column's kind is named, row and column."""

from __future__ import annotations

import pytest
from django.db import DataError, IntegrityError, connection, transaction

from office.audit.triggers import set_aside
from office.certificates.verification import stored, visits
from office.certificates.verification.findings import Misfit, chunks, readable
from office.racing import verification as racing
from surveys.actions.photos import add_photo
from surveys.models import Photo, Reading, SignOff, Visit
from tests.surveys.makers import picture


@pytest.mark.parametrize(
    ("model", "column", "value"),
    [
        (Reading, "withdrawn", "x"), (Reading, "withdrawn", 2), (Reading, "recorded_at", "2026-01-01 25:00:00"),
        (Reading, "value", "4123 mm"), (Reading, "take", 1.5), (Reading, "written", b"\xff"),
        (Photo, "removed_at", "x"), (Photo, "removed_at", 2461000),
    ],
)  # fmt: skip
def test_row_and_column_are_named(cast, stage, model, column, value):
    visit = stage.visit("draft")
    stage.fill(visit)
    file = picture()
    add_photo(by=cast.measurer, visit=visit, file=file, size=len(file.getvalue()), remark="")
    row = model.objects.order_by("pk").last()
    everything = lambda: [*stored.check_all(), *stored.check_all(racing.NAMED)]  # noqa: E731
    assert everything() == []
    if connection.vendor != "sqlite":
        return  # the database refuses it
    with set_aside(connection), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {model._meta.db_table} SET {column} = %s WHERE id = %s", [value, row.pk])
    [found] = everything()
    assert found.subject == (visit.key if model is Reading else row.key)
    assert (
        found.sentence == f"Row {row.pk} of {model._meta.db_table} holds what the office does not write, in {column}."
    )


def written(table: str, column: str, key: int, value: str | int) -> None:
    """Behind the office's back, whatever it refers to."""
    with set_aside(connection), connection.constraint_checks_disabled(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET {column} = %s WHERE id = %s", [value, key])


@pytest.mark.django_db(transaction=True)
def test_a_row_that_refers_to_nothing_is_named(stage):
    """The walks read a visit together with her boat: they pass over one whose boat is not there."""
    visit = stage.visit("draft")
    if connection.vendor != "sqlite":
        with pytest.raises(IntegrityError):
            written("surveys_visit", "boat_id", visit.pk, -7)
        return
    written("surveys_visit", "boat_id", visit.pk, -7)
    assert list(stored.check_all()) == [
        Misfit(
            visit.key, f"Row {visit.pk} of surveys_visit refers by boat_id to a row of boats_boat that is not there."
        )
    ]
    written("surveys_visit", "boat_id", visit.pk, visit.boat_id)
    assert list(stored.check_all()) == []


def test_a_row_that_cannot_be_read_hides_none_of_the_others(stage):
    before, broken, after = (stage.visit("signed") for _ in range(3))
    if connection.vendor != "sqlite":
        with pytest.raises(DataError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("UPDATE surveys_visit SET date = %s WHERE id = %s", ["2026-13-45", broken.pk])
        return
    with set_aside(connection):
        SignOff.objects.filter(visit__in=[before, after]).update(content="{}")
    written("surveys_visit", "date", broken.pk, "2026-13-45")
    found = {(one.subject, one.sentence) for one in visits.check_all()}
    assert (broken.key, next(said for key, said in found if key == broken.key)) in found
    assert f"Row {broken.pk} of surveys_visit cannot be read any more" in dict(found)[broken.key]
    for one in (before, after):
        assert any(one.key in subject and "was altered" in said for subject, said in found)


def test_rows_some_at_a_time_are_all_of_them_once(stage):
    made = [stage.visit("planned") for _ in range(5)]
    rows = Visit.objects.select_related("boat")
    for size in (1, 2, 5, 6):
        assert [
            [one.pk for one in chunk] for chunk, unreadable in chunks(rows, "key", size=size) if not unreadable
        ] == [[one.pk for one in made[at : at + size]] for at in range(0, 5, size)]
    assert list(readable(rows, "key")) == made
    assert list(readable(rows.none(), "key")) == []
