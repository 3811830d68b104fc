"""Near spellings: what is left of a sail number or a name when one sign is taken out.

Two texts that differ by one sign too many, too few or another, or by two neighbours swapped, have such a spelling in
common. An index over the spellings of every boat therefore finds each near miss by a few exact look-ups. (Deletion
neighbourhoods; common practice, no source.) Numbers lie close together, so with theirs goes the place of the sign
taken out: without it every number two signs off would be found as well. And with them goes a sketch of the boat's
name: most boats found by a near number have quite another name, and these are passed over without reading their rows.

A spelling is kept as its mark, a whole number: of a name below zero, of a number from zero up, in three parts,

    check sum of the letters (9 bits) and what is left of the digits (20) | place of the digit taken out (4)
    | sketch of the name (30)

so that the boats of one spelling, and those of one spelling and place, lie side by side. (Of numbers that are not
letters and digits: check sum of what is left, 29 bits.)

The index follows by itself: a boat whose row says other spellings than those it was indexed under is indexed anew
before the next look, however her particulars came to change.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from itertools import islice
from typing import Any
from zlib import crc32

from django.db import connection, transaction
from django.db.models import F

from boats.models import NOT_INDEXED, Boat, NearSpelling

SHORTEST_NAME = 4  # letters: of shorter names every other one is near
LONGEST_NAME = 32  # letters that are looked at: enough to tell any two names apart, and few enough to keep
CHUNK = 1_000

SIGNS, LENGTH, PLACE, CHECK = 25, 5, 4, 29  # bits
FIGURE = 20  # of those of the check, for up to six digits
SKETCH = SIGNS + LENGTH
SKETCHES = (1 << SKETCH) - 1
_PLAIN = re.compile("([A-Z]{3}|)([0-9]{1,6})", re.ASCII)
_DIGITS = re.compile("([0-9]{1,6})([A-Z]?)$", re.ASCII)
_SIGNS, _LENGTH = (1 << SIGNS) - 1, (1 << LENGTH) - 1

# ---- Numbers ----


def number_mark(number: str, sketch: int = 0) -> int:
    """Of the number as it is: where the marks of all those begin that have one sign more."""
    return _mark(_check(number), 0, sketch)


def place_marks(number: str, digits: str, sketch: int = 0) -> list[int]:
    """Of a number, as `normalise_sail_number` gives it, without each one of its digits; of its signs if it has no form.

    Two spellings may share one: who is found by it is held against the line anyway.
    """
    first = len(number) - len(digits) if digits else 0
    if digits.isdigit():
        figure = int(digits)
        begin, power, marks = _mark(_check(number) - figure, 0, sketch), 1, []
        for place in range(len(digits) - 1, -1, -1):
            rest = figure // (10 * power) * power + figure % power
            marks.append(begin + ((rest << PLACE | place) << SKETCH))
            power *= 10
        return marks
    return [_mark(_check(rest), place, sketch) for place, rest in enumerate(without_one(number)[first:])]


def numbers_one_off(number: str, digits: str) -> list[str]:
    """The whole numbers with one sign less, or with two neighbours swapped.

    Of a number that has its form only slips in the digits: a slip in the letters leaves those, by which she is found.
    """
    first, last = len(number) - len(digits) if digits else 0, len(number) - 1
    rest = [number[:place] + number[place + 1 :] for place in range(first, last + 1)]
    return rest + [
        number[:at] + number[at + 1] + number[at] + number[at + 2 :]
        for at in range(first, last)
        if number[at] != number[at + 1]
    ]


def digits_within(number: str) -> str:
    """Of a number without form, what its digits may be: it may only be the letters before them that went wrong."""
    found = _DIGITS.search(number)
    return (found[1].lstrip("0") or "0") + found[2] if found else ""


def without_one(text: str) -> list[str]:
    """What is left of the text without each one of its signs, in their order."""
    return [text[:place] + text[place + 1 :] for place in range(len(text))]


def _check(number: str) -> int:
    """Numbers that lie side by side stay so: the marks of a line's near numbers then lie on few pages of the index."""
    if plain := _PLAIN.fullmatch(number):
        letters = crc32(plain[1].encode()) >> 32 - CHECK + FIGURE
        return letters << FIGURE | int(plain[2])
    return crc32(number.encode()) >> 32 - CHECK


def _mark(check: int, place: int, sketch: int) -> int:
    return (check << PLACE | place % (1 << PLACE)) << SKETCH | sketch


# ---- Names ----


def sketch_of(name: str) -> int:
    """How long a name is, and which signs it has; several share a bit."""
    signs = 0
    for sign in name:
        signs |= 1 << ord(sign) % SIGNS
    return min(len(name), _LENGTH) << SIGNS | signs


def most_alike(one: int, other: int) -> float:
    """From two sketches, the most that the names can be alike (1 the same, 0 not a sign in common)."""
    length, others = one >> SIGNS & _LENGTH, other >> SIGNS & _LENGTH
    if not length or _LENGTH in {length, others}:
        return 1.0
    common = min(length - (one & ~other & _SIGNS).bit_count(), others - (other & ~one & _SIGNS).bit_count())
    return 1.0 - (length + others - 2 * common) / (length + others)


def name_marks(name: str) -> set[int]:
    """Of a name as `normalise_name` gives it; nothing for names too short to be mistaken safely."""
    if len(name) < SHORTEST_NAME:
        return set()
    looked_at = name[:LONGEST_NAME]
    return {-1 - crc32(spelling.encode()) for spelling in (looked_at, *without_one(looked_at))}


# ---- The index ----


def marks_of(number: str, digits: str, name: str) -> list[int]:
    """All that a boat is indexed under."""
    return [*place_marks(number, digits, sketch_of(name)), *name_marks(name)]


def bring_up_to_date() -> int:
    """Indexes the boats whose spellings are not those of their row; how many there were. One statement if none."""
    with connection.cursor() as cursor:
        cursor.execute(*_any_stale(connection.vendor))
        if cursor.fetchone() is None:
            return 0
    indexed = 0
    with transaction.atomic():
        stale = Boat.objects.filter(NOT_INDEXED).order_by("pk").select_for_update()
        rows = iter(stale.values_list("pk", "sail_number_normal", "sail_digits", "name_normal"))
        while some := list(islice(rows, CHUNK)):
            _index(some)
            indexed += len(some)
    return indexed


@cache
def _any_stale(_vendor: str) -> tuple[str, tuple[Any, ...]]:
    """The statement is always the same, and making it takes longer than asking it."""
    return Boat.objects.filter(NOT_INDEXED).order_by().values("pk")[:1].query.sql_with_params()


def _index(rows: list[tuple[int, str, str, str]]) -> None:
    keys = [row[0] for row in rows]
    NearSpelling.objects.filter(boat__in=keys).delete()
    with connection.cursor() as cursor:
        cursor.executemany("INSERT INTO boats_nearspelling (boat_id, mark) VALUES (%s, %s)", list(_rows(rows)))
    Boat.objects.filter(pk__in=keys).update(near_number=F("sail_number_normal"), near_name=F("name_normal"))


def _rows(boats: Iterable[tuple[int, str, str, str]]) -> Iterator[tuple[int, int]]:
    for pk, number, digits, name in boats:
        for mark in marks_of(number, digits, name):
            yield pk, mark
