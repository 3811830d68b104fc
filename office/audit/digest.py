"""The digest of one row of a table: the trail keeps it, and what a change wrote is known again, column by column.

A column that says nothing is not under it, so that a column added later leaves digests of before as they were: it says
its default, or null where it may, or else an empty text. No default changes once it is there. One that is emptied, or
set back to its default, changes the digest all the same, since it was under it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Collection, Iterable
from typing import Any

from django.db import models

from office.audit.instants import instant


def row_sha256(row: models.Model, *, without: Collection[str] = ()) -> str:
    """SHA-256, in hexadecimal, of the row's columns but its own number, and but those that come later (`without`).

    Columns are named as the database has them (`visit_id`). The table's name is under it as well.
    """
    columns = {
        field.attname: _plain(field, value)
        for field in row._meta.concrete_fields
        if not field.primary_key
        and field.attname not in without
        and not _says_nothing(field, value := getattr(row, field.attname))
    }
    return _sha256({"table": row._meta.db_table, "columns": columns})


def rows_sha256(rows: Iterable[models.Model]) -> str:
    """One digest for several rows, in whatever order they come."""
    return _sha256(sorted(row_sha256(row) for row in rows))


def _says_nothing(field: models.Field[Any, Any], value: Any) -> bool:
    """Whether this is what rows of before get where the column is new: null and an empty text are not the same."""
    if field.has_default() and callable(field.default) and field.default not in {dict, list}:
        return False
    return bool(value == field.get_default())


def _sha256(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def _plain(field: models.Field[Any, Any], value: Any) -> Any:
    """The same text for what was written and for what is read back, whichever database it lay in."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(field, models.FloatField):
        return repr(float(value))
    if isinstance(value, dt.datetime):
        return instant(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return hashlib.sha256(value).hexdigest()
    return value if isinstance(field, models.JSONField) else str(value)
