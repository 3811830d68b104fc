"""What a walk through the register brings home."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db import InterfaceError, OperationalError
from django.db.models import Model, QuerySet

from office.storage.address import StorageAway

Row = TypeVar("Row", bound=Model)
AWAY = (StorageAway, OperationalError, InterfaceError)  # storage or database, which says nothing of the register
CHUNK = 100  # rows held at once; a certificate brings two papers of some tens of kilobytes


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something that does not fit: the thing it is about, and one sentence."""

    subject: str
    sentence: str


def guarded(subject: str, check: Iterator[Misfit]) -> Iterator[Misfit]:
    """What a check finds; where what it reads was altered so far that it breaks the reader, that is the finding."""
    try:
        yield from check
    except AWAY:
        raise
    except Exception as error:  # noqa: BLE001  (rows altered behind the office's back may break anything)
        yield Misfit(
            subject,
            f"It cannot be looked at any more ({type(error).__name__}): what it rests on was altered or is gone.",
        )


def chunks(rows: QuerySet[Row], name: str, *, size: int = CHUNK) -> Iterator[tuple[list[Row], list[Misfit]]]:
    """All rows by their primary keys, some at a time; those that cannot be read any more, under what `name` holds.

    A value that is none of its column's kind breaks the reading of all the rows asked for with it; the others are
    then read one by one, so that it hides nothing that was done to them.
    """
    rows, reached = rows.order_by("pk"), None
    while True:
        following = rows[:size] if reached is None else rows.filter(pk__gt=reached)[:size]
        unreadable: list[Misfit] = []
        try:
            chunk = list(following)
            keys = [one.pk for one in chunk]
        except AWAY:
            raise
        except Exception:  # noqa: BLE001  (rows altered behind the office's back may break anything)
            keys = list(following.values_list("pk", flat=True))
            chunk, unreadable = _one_by_one(rows, keys, name)
        if not keys:
            return
        reached = keys[-1]
        yield chunk, unreadable


def readable(rows: QuerySet[Row], name: str) -> Iterator[Row | Misfit]:
    """The same row by row, with a finding in the place of each that cannot be read."""
    for chunk, unreadable in chunks(rows, name):
        yield from unreadable
        yield from chunk


def _one_by_one(rows: QuerySet[Row], keys: list[Any], name: str) -> tuple[list[Row], list[Misfit]]:
    chunk, unreadable = [], []
    for key in keys:
        try:
            chunk.append(rows.get(pk=key))
        except AWAY:
            raise
        except Exception as error:  # noqa: BLE001  (see above)
            subject = rows.model._base_manager.filter(pk=key).values_list(name, flat=True).first()
            unreadable.append(
                Misfit(
                    str(subject or rows.model._meta.verbose_name),
                    f"Row {key} of {rows.model._meta.db_table} cannot be read any more ({type(error).__name__}).",
                )
            )
    return chunk, unreadable


def parsed(text: str) -> dict[str, Any]:
    """A JSON object, empty where the text is none, or nested deeper than anything of ours."""
    try:
        value = json.loads(text or "{}")
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}
