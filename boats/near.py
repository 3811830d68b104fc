"""Near spellings: what is left of a sail number or a name when one sign is taken out.

Two texts that differ by one sign too many, too few or another, or by two neighbours swapped, have such a spelling in
common. An index over the spellings of every boat therefore finds each near miss by a few exact look-ups. (Deletion
neighbourhoods; common practice, no source.) Numbers lie close together, so with theirs goes the place of the sign
taken out: without it every number two signs off would be found as well.

The index follows by itself: a boat whose row says other spellings than those it was indexed under is indexed anew
before the next look, however her particulars came to change.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from zlib import crc32

from django.db import connection, transaction
from django.db.models import F

from boats.models import NOT_INDEXED, Boat, NearSpelling

NAME_SIGN = "~"  # before the spellings of names: no sail number has it
SHORTEST_NAME = 4  # letters: of shorter names every other one is near
LONGEST_NAME = 32  # letters that are looked at: enough to tell any two names apart, and few enough to keep
CHUNK = 1_000


def mark(spelling: str) -> int:
    """What a spelling is kept as (CRC-32). Two may share one: who is found by it is held against the line anyway."""
    return crc32(spelling.encode())


def without_one(text: str) -> set[str]:
    """The text and what is left of it without each one of its signs."""
    return {text, *(text[:place] + text[place + 1 :] for place in range(len(text)))}


def number_spellings(number: str) -> list[str]:
    """What a boat's number, as `normalise_sail_number` gives it, is indexed under."""
    return [f"{number[:place]}{number[place + 1 :]}|{place}" for place in range(len(number))]


def numbers_one_off(number: str, digits: str) -> tuple[list[str], list[str]]:
    """Where to look for the numbers one slip away: among the spellings, and among the whole numbers.

    Another sign in one place, or one too few: spellings. One too many, or two neighbours swapped: whole numbers. Of a
    number that has its form (`digits`) the digits only: a slip in the letters leaves those, by which she is found.
    """
    if not number:
        return [], []
    first, length = len(number) - len(digits) if digits else 0, len(number)
    without = [(place, f"{number[:place]}{number[place + 1 :]}") for place in range(first, length)]
    spellings = [f"{rest}|{place}" for place, rest in without]
    fewer = [f"{number}|{place}" for place in range(first, length + 1)]
    swapped = [
        f"{number[:place]}{number[place + 1]}{number[place]}{number[place + 2 :]}" for place in range(first, length - 1)
    ]
    return spellings + fewer, [rest for _, rest in without] + swapped


def name_spellings(name: str) -> set[str]:
    """Of a name as `normalise_name` gives it, marked as such; nothing for names too short to be mistaken safely."""
    if len(name) < SHORTEST_NAME:
        return set()
    return {NAME_SIGN + spelling for spelling in without_one(name[:LONGEST_NAME])}


def bring_up_to_date() -> int:
    """Indexes the boats whose spellings are not those of their row; how many there were. One statement if none."""
    if not Boat.objects.filter(NOT_INDEXED).exists():
        return 0
    indexed = 0
    with transaction.atomic():
        stale = Boat.objects.filter(NOT_INDEXED).order_by("pk").select_for_update()
        rows = iter(stale.values_list("pk", "sail_number_normal", "name_normal"))
        while some := list(islice(rows, CHUNK)):
            _index(some)
            indexed += len(some)
    return indexed


def _index(rows: list[tuple[int, str, str]]) -> None:
    keys = [pk for pk, _, _ in rows]
    NearSpelling.objects.filter(boat__in=keys).delete()
    with connection.cursor() as cursor:
        cursor.executemany("INSERT INTO boats_nearspelling (boat_id, mark) VALUES (%s, %s)", list(_rows(rows)))
    Boat.objects.filter(pk__in=keys).update(near_number=F("sail_number_normal"), near_name=F("name_normal"))


def _rows(boats: Iterable[tuple[int, str, str]]) -> Iterator[tuple[int, int]]:
    for pk, number, name in boats:
        for spelling in (*number_spellings(number), *name_spellings(name)):
            yield pk, mark(spelling)
