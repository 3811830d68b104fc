"""The digest of a row: every column that says something is under it, and columns to come leave it as it is."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from django.db import models

from office.audit.digest import row_sha256, rows_sha256
from surveys.models import Reading

MAST = models.CharField(max_length=10, default="main")
VALUE = models.FloatField()
REMARK = models.TextField(blank=True)
TAKEN_ON = models.DateField(null=True)
WITHDRAWN = models.BooleanField(default=False)
TOKEN = models.CharField(max_length=32, null=True)
COLUMNS: dict[str, models.Field[Any, Any]] = {
    "mast": MAST, "value": VALUE, "remark": REMARK, "taken_on": TAKEN_ON, "withdrawn": WITHDRAWN, "token": TOKEN,
}  # fmt: skip
for name, column in COLUMNS.items():
    column.set_attributes_from_name(name)


def row(*columns: models.Field[Any, Any], **values: Any) -> Any:
    return SimpleNamespace(_meta=SimpleNamespace(db_table="readings", concrete_fields=columns), **values)


def test_a_column_added_later_leaves_the_digest_as_it_was() -> None:
    before = row_sha256(row(MAST, VALUE, mast="mizzen", value=4123.0))
    later = row(MAST, VALUE, REMARK, TAKEN_ON, WITHDRAWN, mast="mizzen", value=4123.0)
    later.remark, later.taken_on, later.withdrawn = "", None, False
    assert row_sha256(later) == before
    later.withdrawn = True
    assert row_sha256(later) != before


@pytest.mark.parametrize(
    ("column", "first", "then"),
    [
        (MAST, "mizzen", "main"), (MAST, "main", "mizzen"), (VALUE, 0.0, 1.0), (VALUE, 1.0, 0.0), (REMARK, "x", ""),
        (WITHDRAWN, True, False), (WITHDRAWN, False, True), (TOKEN, None, ""), (TOKEN, "", None),
    ],
)  # fmt: skip
def test_whatever_changes_is_seen(column: models.Field[Any, Any], first: Any, then: Any) -> None:
    assert column.name
    digests = {row_sha256(row(column, **{column.name: value})) for value in (first, then)}
    assert len(digests) == 2


def test_what_says_the_same_in_two_columns_is_not_the_same() -> None:
    one, other = Reading(slug="foot_distance", remark="x"), Reading(slug="foot_distance", position="x")
    assert row_sha256(one) != row_sha256(other)
    assert rows_sha256([one, other]) == rows_sha256([other, one])
