"""Conditions that each database answers from an index, and counts that end."""

from __future__ import annotations

from typing import Any

from django.db import connections, migrations
from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Lower

CharField.register_lookup(Lower)  # so that a condition can name the index on the lower-case form
_LAST = "\U0010ffff"


def begins_with(column: str, prefix: str) -> Q:
    """Rows whose column begins with a prefix, in the form each database answers from its index.

    SQLite's LIKE ignores case and therefore the index, a range does not; on PostgreSQL a range follows the
    language's order of letters, LIKE has an index of its own.
    """
    if connections["default"].vendor == "sqlite":
        return Q(**{f"{column}__gte": prefix, f"{column}__lt": prefix + _LAST})
    return Q(**{f"{column}__startswith": prefix})


def begins_in_lower_case(column: str, prefix: str) -> Q:
    """The same whatever the case, for a column that is lower case or named by its lower form: `name__lower`.

    The database itself makes the prefix lower case, as it did what stands in the index. On PostgreSQL the lower form
    needs an index made by `index_of_beginnings`; a plain column has its own from the framework.
    """
    if connections["default"].vendor == "sqlite":
        return Q(**{f"{column}__gte": Lower(Value(prefix)), f"{column}__lt": Lower(Value(prefix + _LAST))})
    return Q(**{f"{column}__startswith": Lower(Value(prefix))})


def index_of_beginnings(name: str, table: str, column: str) -> migrations.RunPython:
    """Migration operation: on PostgreSQL, an index of a column's lower form, letter by letter.

    There an index in the language's order of letters finds no beginnings. SQLite reads its one index for both.
    """

    def make(_: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f'CREATE INDEX "{name}" ON "{table}" (lower("{column}") text_pattern_ops)')

    def drop(_: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f'DROP INDEX IF EXISTS "{name}"')

    return migrations.RunPython(make, drop)


MOST_COUNTED = 1000


def beyond(rows: QuerySet[Any, Any], shown: int) -> str:
    """How many rows there are beside the first so many, in words: "" for none, "more than 1000" past that.

    A count of all would read the whole index to say what nobody needs to know.
    """
    more = rows.order_by()[shown : shown + MOST_COUNTED + 1].count()
    return f"more than {MOST_COUNTED}" if more > MOST_COUNTED else str(more or "")
