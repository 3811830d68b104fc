"""An office carried over from one database into another, row by row, and held against what it came from.

Every row goes over with its own number and its own moments: nothing is made anew on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connections, models, transaction
from django.db.models.sql import InsertQuery

from office.audit import triggers

CHUNK = 1000

Progress = Callable[[str, int, int], None]  # the table, rows so far, of all


class NotEmpty(Exception):
    """There is an office in the database that was to be moved into: one sentence."""


class Differs(Exception):
    """A row over there is not the row it came from: one sentence."""


def tables() -> list[type[models.Model]]:
    """Every table of the office: its models, and the tables between them."""
    return [model for model in apps.get_models(include_auto_created=True) if model._meta.managed]


def check_empty(target: str) -> None:
    """Raises NotEmpty if somebody works with the database already."""
    for model in tables():
        if model._meta.label in {"audit.Entry", "people.Person"} and model._base_manager.using(target).exists():
            raise NotEmpty("The database to move into holds an office already; name an empty one.")


def copy(source: str, target: str, progress: Progress = lambda table, done, of: None) -> int:
    """Copy every row from the alias `source` to the migrated, empty alias `target`, all or nothing; how many rows.

    Raises NotEmpty. Nobody may write to `source` meanwhile.
    """
    check_empty(target)
    connection, copied = connections[target], 0
    with triggers.set_aside(connection):
        with transaction.atomic(using=target), connection.constraint_checks_disabled():
            for model in reversed(tables()):  # what the migrations wrote there goes: the office brings its own
                rows = model._base_manager.using(target).all()
                rows._raw_delete(using=target)  # noqa: SLF001  (row by row would ask what hangs on each)
            for model in tables():
                copied += _copy_table(model, source, target, progress)
            connection.check_constraints()
        with connection.cursor() as cursor:
            for statement in connection.ops.sequence_reset_sql(no_style(), tables()):
                cursor.execute(statement)
    return copied


def compare(source: str, target: str, progress: Progress = lambda table, done, of: None) -> int:
    """Hold every row of `target` against its row in `source`; how many there are. Raises Differs at the first."""
    compared = 0
    for model in tables():
        name, total = model._meta.db_table, model._base_manager.using(source).count()
        theirs = _values(model, target)
        done = 0
        for done, row in enumerate(_values(model, source), start=1):
            if next(theirs, None) != row:
                raise Differs(f"Row {row[0]} of {name} is not the same in both databases.")
            if done % CHUNK == 0:
                progress(name, done, total)
        if next(theirs, None) is not None:
            raise Differs(f"{name} has more rows in the database moved into.")
        progress(name, done, total)
        compared += done
    return compared


def _copy_table(model: type[models.Model], source: str, target: str, progress: Progress) -> int:
    rows = model._base_manager.using(source).order_by("pk").iterator(chunk_size=CHUNK)
    total, done = model._base_manager.using(source).count(), 0
    fields = [field for field in model._meta.local_concrete_fields if not field.generated]
    while chunk := list(islice(rows, CHUNK)):
        # As stored: neither defaults nor "now" of a field are worked out again, and no model's own save is asked.
        most = connections[target].ops.bulk_batch_size(fields, chunk)
        for start in range(0, len(chunk), most):
            query = InsertQuery(model)
            query.insert_values(fields, chunk[start : start + most], raw=True)
            query.get_compiler(using=target).execute_sql()
        done += len(chunk)
        progress(model._meta.db_table, done, total)
    return done


def _values(model: type[models.Model], alias: str) -> Iterator[tuple[Any, ...]]:
    names = [field.attname for field in model._meta.local_concrete_fields]
    rows = model._base_manager.using(alias).order_by("pk").values_list("pk", *names)
    return iter(rows.iterator(chunk_size=CHUNK))
