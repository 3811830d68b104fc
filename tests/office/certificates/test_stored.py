"""What SQLite takes though it is not of the column's kind is named, row and column."""

from __future__ import annotations

import pytest
from django.db import connection

from office.audit.triggers import set_aside
from office.certificates.verification import stored
from office.racing import verification as racing
from surveys.actions.photos import add_photo
from surveys.models import Photo, Reading
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
