"""Rows of the trail as people read them: keys become the names they stand for today."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models

from boats.models import Boat
from office.audit.models import Entry
from office.people.models import Person
from office.people.queries import names_by_key

# A spreadsheet's cell holds no more than this (ECMA-376 sets no limit; common practice of spreadsheets).
LONGEST_CELL = 32_000
MACHINE = "the office's own machine"
EXPORTED = (
    "number", "at", "actor", "role", "verb", "subject_kind", "subject", "subject_label", "boat", "visit",
    "certificate", "before", "after", "reason", "previous_hash", "hash",
)  # fmt: skip
HEADER = ("number", "at", "who", *EXPORTED[2:])


@dataclass(frozen=True, slots=True)
class Field:
    """One changed field. None: not stated on that side."""

    name: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Row:
    entry: Entry
    at: dt.datetime
    who: str
    subject: str
    boat: str
    fields: tuple[Field, ...]


def readable(entries: list[Entry]) -> list[Row]:
    """The rows with every name looked up: two queries, however many rows."""
    contents = [(_parsed(entry.before), _parsed(entry.after)) for entry in entries]
    keys = {key for entry in entries for key in (entry.actor, entry.subject)}
    names = names_by_key(keys.union(*(_texts(side) for sides in contents for side in sides)))
    boats = dict(
        Boat.objects.filter(key__in={entry.boat for entry in entries if entry.boat}).values_list("key", "name")
    )
    return [
        Row(
            entry=entry,
            at=dt.datetime.fromisoformat(entry.at),
            who=names.get(entry.actor, entry.actor) or MACHINE,
            subject=entry.subject_label or names.get(entry.subject, ""),
            boat=boats.get(entry.boat, entry.boat),
            fields=tuple(_fields(before, after, names)),
        )
        for entry, (before, after) in zip(entries, contents, strict=True)
    ]


def exported(found: models.QuerySet[Entry]) -> Iterator[list[Any]]:
    """Every row of the filter as it stands in the trail, with the actor's name of today beside the key."""
    names = dict(Person.objects.values_list("key", "name"))
    for number, at, actor, *rest in found.values_list(*EXPORTED).iterator(chunk_size=2_000):
        yield [number, at, names.get(actor, "") if actor else MACHINE, actor, *rest]


def shortened(rows: Iterable[list[Any]]) -> Iterator[list[Any]]:
    """No text longer than a spreadsheet's cell holds."""
    for row in rows:
        yield [
            f"{cell[:LONGEST_CELL]}…" if isinstance(cell, str) and len(cell) > LONGEST_CELL else cell for cell in row
        ]


def _parsed(text: str) -> dict[str, Any]:
    """What before or after say; a row spoilt behind the office's back is shown as it is."""
    try:
        content = json.loads(text) if text else {}
    except ValueError:
        content = text
    return content if isinstance(content, dict) else {"": content}


def _fields(before: dict[str, Any], after: dict[str, Any], names: Mapping[str, str]) -> Iterator[Field]:
    for name in dict.fromkeys([*before, *after]):
        old, new = (_shown(side[name], names) if name in side else None for side in (before, after))
        yield Field(name.replace("_", " "), old, new)


def _shown(value: Any, names: Mapping[str, str]) -> str:
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "none"}[value]
    if isinstance(value, list):
        return ", ".join(_shown(one, names) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{key.replace('_', ' ')}: {_shown(one, names)}" for key, one in value.items())
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _texts(value: Any) -> set[str]:
    """Every text inside a JSON value that could be a person's key."""
    if isinstance(value, str):
        return {value} if len(value) <= 32 else set()
    if isinstance(value, dict):
        value = list(value.values())
    return set().union(*map(_texts, value)) if isinstance(value, list) else set()
