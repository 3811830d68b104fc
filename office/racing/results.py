"""What a check finds for one entry, and the same as JSON: in the database, in files and on the command line."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

STATUSES = ("in_force", "ends_during_event", "expired", "withdrawn", "suspended", "none", "unsure")
# What an entry's own columns may not be called beside ours in a file of results.
FIELDS = (
    "sail_number", "boat", "status", "certificate", "valid_from", "valid_until", "matched_boat", "candidates",
    "last_day", "row", "why", "notes",
)  # fmt: skip


class Named(NamedTuple):
    """A boat of the register as a committee sees her; `why` says why she is offered."""

    key: str
    name: str
    sail_number: str
    why: str = ""

    def __str__(self) -> str:
        return f"{self.name} ({self.sail_number})"


class Result(NamedTuple):
    """One entry. Days as ISO 8601 texts, "" for none; `valid_until` as printed, `last_day` as things stand."""

    row: int
    sail_number: str
    boat: str
    extra: tuple[str, ...]
    status: str
    why: str = ""
    certificate: str = ""
    valid_from: str = ""
    valid_until: str = ""
    last_day: str = ""
    matched: Named | None = None
    offered: tuple[Named, ...] = ()
    notes: tuple[str, ...] = ()
    settled: bool = False


def count(results: Iterable[Result]) -> dict[str, int]:
    """How many of each status, every status named."""
    found = Counter(one.status for one in results)
    return {status: found[status] for status in STATUSES}


# ---- Stored ----


def dumps(results: Iterable[Result]) -> str:
    return json.dumps([_packed(one) for one in results], ensure_ascii=False, separators=(",", ":"))


def loads(text: str) -> list[Result]:
    return [_unpacked(row) for row in json.loads(text)]


def _packed(one: Result) -> list[Any]:
    boats = [[boat.key, boat.name, boat.sail_number, boat.why] for boat in one.offered]
    matched = [one.matched.key, one.matched.name, one.matched.sail_number] if one.matched else None
    return [
        one.row, one.sail_number, one.boat, one.extra, one.status, one.why, one.certificate, one.valid_from,
        one.valid_until, one.last_day, matched, boats, one.notes, one.settled,
    ]  # fmt: skip


def _unpacked(row: list[Any]) -> Result:
    (
        number,
        sail_number,
        boat,
        extra,
        status,
        why,
        certificate,
        begins,
        until,
        last,
        matched,
        offered,
        notes,
        by_hand,
    ) = row
    return Result(
        number, sail_number, boat, tuple(extra), status, why, certificate, begins, until, last,
        Named(*matched) if matched else None, tuple(Named(*one) for one in offered), tuple(notes), by_hand,
    )  # fmt: skip


# ---- Given out ----


def extra_names(extra: Sequence[str]) -> list[str]:
    """Names for the columns that are carried through, none of them one of ours."""
    return [f"{name} (entry)" if name in FIELDS else name for name in extra]


def document(results: Iterable[Result], extra: Sequence[str]) -> list[dict[str, Any]]:
    """JSON-ready rows; what is not there is null."""
    names = extra_names(extra)
    return [
        {
            "sail_number": one.sail_number,
            "boat": one.boat,
            "status": one.status,
            "certificate": one.certificate or None,
            "valid_from": one.valid_from or None,
            "valid_until": one.valid_until or None,
            "matched_boat": _boat(one.matched) if one.matched else None,
            "candidates": [{**_boat(boat), "why": boat.why} for boat in one.offered],
            "last_day": one.last_day or None,
            "row": one.row,
            "why": one.why,
            "notes": list(one.notes),
            **dict(zip(names, one.extra, strict=True)),
        }
        for one in results
    ]


def _boat(boat: Named) -> dict[str, str]:
    return {"key": boat.key, "name": boat.name, "sail_number": boat.sail_number}


def table(results: Iterable[Result], extra: Sequence[str]) -> tuple[list[str], list[list[str]]]:
    """Header and rows of texts for a file, the entry's own columns last."""
    header = [
        "sail_number", "boat", "status", "certificate", "valid_from", "valid_until", "matched_boat", "candidates",
        "last_day", "row", "why", "notes", *extra_names(extra),
    ]  # fmt: skip
    rows = [
        [
            one.sail_number,
            one.boat,
            one.status,
            one.certificate,
            one.valid_from,
            one.valid_until,
            str(one.matched) if one.matched else "",
            "; ".join(map(str, one.offered)),
            one.last_day,
            str(one.row),
            one.why,
            " ".join(one.notes),
            *one.extra,
        ]
        for one in results
    ]
    return header, rows
