"""Near spellings: what is left of a sail number or a name when one sign is taken out.

Two texts that differ by one sign too many, too few or another, or by two neighbours swapped, have such a spelling in
common. An index over the spellings of every boat therefore finds each near miss by a few exact look-ups. (Deletion
neighbourhoods; common practice, no source.) Numbers lie close together, so with theirs goes the place of the sign
taken out: without it every number two signs off would be found as well. And with them goes a sketch of the boat's
name: most boats found by a near number have quite another name, and these are passed over without reading their rows.

A spelling is kept as its mark, a whole number: of a name below zero, of a number from zero up, in three parts,

    check sum of the letters (9 bits) and what is left of the digits (20) | place of the digit taken out, or 15 (4)
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
WHOLE = (1 << PLACE) - 1  # in the place of a place: no sign is taken out
FIGURE = 20  # of those of the check, for up to six digits
SKETCH = SIGNS + LENGTH
SKETCHES = (1 << SKETCH) - 1
AREA = 1 << FIGURE + PLACE + SKETCH
_PLAIN = re.compile("([A-Z]{3}|)([0-9]{1,6})", re.ASCII)
_DIGITS = re.compile("([0-9]{1,6})([A-Z]?)$", re.ASCII)
_SIGNS, _LENGTH = (1 << SIGNS) - 1, (1 << LENGTH) - 1

# ---- Numbers ----


def number_marks(number: str, digits: str, sketch: int) -> list[int]:
    """All that a number, as `normalise_sail_number` gives it, is indexed under: whole, and without each of its signs.

    Of a number that has its form only slips in the digits count: a slip in the letters leaves those, by which she is
    found. Two spellings may share a mark: who is found by it is held against the line anyway.
    """
    return [_mark(_check(number), WHOLE, sketch), *marks_one_off(number, digits, sketch)[0]]


def marks_one_off(number: str, digits: str, sketch: int) -> tuple[list[int], list[int]]:
    """Under which those numbers are found that have another sign in one place; that lack one, or have two swapped."""
    if not digits.isdigit():
        return _of_signs(number, len(number) - len(digits) if digits else 0, sketch)
    figure, last, power = int(digits), 0, 1
    check = _check(number)
    letters, whole = check - figure, WHOLE << SKETCH | sketch
    off, other = [], []
    for place in range(len(digits) - 1, -1, -1):  # thousands of lines: this is counted, not written out
        rest = letters + figure // (10 * power) * power + figure % power << PLACE + SKETCH
        off.append(rest | place << SKETCH | sketch)
        other.append(rest | whole)
        digit = figure // power % 10
        if place < len(digits) - 1 and digit != last:
            other.append(check + (last - digit) * 9 * power // 10 << PLACE + SKETCH | whole)
        last, power = digit, power * 10
    return off, other


def letters_of(number: str, digits: str) -> str | None:
    """The national letters, none too, of a number whose near ones all have the same; None where that is not known."""
    return number[: len(number) - len(digits)] if digits.isdigit() else None


def marks_with(letters: str) -> int:
    """Where the marks begin of all numbers with these letters, AREA of them."""
    return _check(f"{letters}0") << PLACE + SKETCH


def mark_one_more(number: str, sketch: int) -> int:
    """Where the marks of all those begin that have one sign more."""
    return _mark(_check(number), 0, sketch)


def _of_signs(number: str, first: int, sketch: int) -> tuple[list[int], list[int]]:
    rests = without_one(number)[first:]
    swapped = [
        number[:at] + number[at + 1] + number[at] + number[at + 2 :]
        for at in range(first, len(number) - 1)
        if number[at] != number[at + 1]
    ]
    off = [_mark(_check(rest), place, sketch) for place, rest in enumerate(rests)]
    return off, [_mark(_check(text), WHOLE, sketch) for text in rests + swapped]


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
    return (check << PLACE | min(place, WHOLE)) << SKETCH | sketch


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
    return [*number_marks(number, digits, sketch_of(name)), *name_marks(name)]


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
