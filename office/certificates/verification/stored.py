"""SQLite takes anything in any column: values are held against the kinds of the models' fields.

A moment that is none reads as nothing, and a yes or no as no, so that no digest tells; but queries see what is stored.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.db import connection, models

from office.certificates.models import (
    Amendment,
    AmendmentDocument,
    AmendmentSeal,
    Certificate,
    Document,
    OfficeKey,
    Seal,
    Suspension,
)
from office.certificates.verification.findings import Misfit
from office.people.models import Authorisation
from surveys.models import Calibration, Maintenance, Photo, Reading, SignOff, Visit

# Each table, and where the name lies under which its rows are known.
NAMED = {
    Visit: "key",
    SignOff: "visit__key",
    Reading: "visit__key",
    Photo: "key",
    Certificate: "number",
    Document: "certificate__number",
    Seal: "certificate__number",
    Suspension: "certificate__number",
    Amendment: "certificate__number",
    AmendmentDocument: "amendment__certificate__number",
    AmendmentSeal: "amendment__certificate__number",
    OfficeKey: "identifier",
    Authorisation: "key",
    Calibration: "instrument__identifier",
    Maintenance: "instrument__identifier",
}
# What holds of a value of that kind; the first that fits a field.
KINDS: tuple[tuple[type[models.Field[Any, Any]], str], ...] = (
    (models.BooleanField, "typeof({0}) = 'integer' AND {0} IN (0, 1)"),
    (models.DateTimeField, "typeof({0}) = 'text' AND strftime('%Y-%m-%d %H:%M:%S', {0}) = substr({0}, 1, 19)"),
    (models.DateField, "typeof({0}) = 'text' AND date({0}) = {0}"),
    (models.IntegerField, "typeof({0}) = 'integer'"),
    (models.FloatField, "typeof({0}) IN ('real', 'integer')"),
    (models.BinaryField, "typeof({0}) = 'blob'"),
    (models.Field, "typeof({0}) = 'text'"),
)


def check_all(named: Mapping[type[models.Model], str] | None = None) -> Iterator[Misfit]:
    """Every row with a value that is none of its column's kind, or that refers to one that is gone.

    The database itself sees to both, but on SQLite.
    """
    if connection.vendor != "sqlite":
        return
    for model, name in (named or NAMED).items():
        yield from _check(model, name)
        yield from _dangling(model, name)


def _check(model: type[models.Model], name: str) -> Iterator[Misfit]:
    fields = [one for one in model._meta.concrete_fields if not one.primary_key]
    wrong = [f"({_not_of_its_kind(one)})" for one in fields]
    key = model._meta.pk.column
    statement = f"SELECT {key}, {', '.join(wrong)} FROM {model._meta.db_table} WHERE {' OR '.join(wrong)}"  # noqa: S608  (fixed names)
    with connection.cursor() as cursor:
        cursor.execute(statement)
        found = cursor.fetchall()
    for row, *said in found:
        columns = ", ".join(field.attname for field, is_wrong in zip(fields, said, strict=True) if is_wrong)
        yield Misfit(
            _subject(model, row, name),
            f"Row {row} of {model._meta.db_table} holds what the office does not write, in {columns}.",
        )


def _dangling(model: type[models.Model], name: str) -> Iterator[Misfit]:
    """Rows that no walk finds, since they are read together with what they refer to."""
    table = model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA foreign_key_check({table})")
        found = cursor.fetchall()
        cursor.execute(f"PRAGMA foreign_key_list({table})")
        columns = {number: column for number, _, _, column, *_ in cursor.fetchall()}
    for _, row, parent, number in found:
        yield Misfit(
            _subject(model, row, name),
            f"Row {row} of {table} refers by {columns[number]} to a row of {parent} that is not there.",
        )


def _subject(model: type[models.Model], row: int, name: str) -> str:
    return str(model._base_manager.filter(pk=row).values_list(name, flat=True).first() or model._meta.verbose_name)


def _not_of_its_kind(field: models.Field[Any, Any]) -> str:
    column = f'"{field.column}"'
    plain = field.target_field if isinstance(field, models.ForeignKey) else field
    of_its_kind = next(condition for kind, condition in KINDS if isinstance(plain, kind)).format(column)
    return f"COALESCE(NOT ({of_its_kind}), 1)" + (f" AND {column} IS NOT NULL" if field.null else "")
