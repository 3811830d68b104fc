"""Which boats the lines of a list mean: thousands at once, in a handful of statements. Taken only where sure.

Which boat is taken, and which are offered, says `boats.list_judging`; here they are looked for. Most of a list is as
registered, and done with after two statements. For the rest the indexes alone say which boats come into question; only
then are these read, each once and in the order in which they lie.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection
from rapidfuzz import process
from rapidfuzz.distance import Indel

from boats import near
from boats.bulk import given, parameter
from boats.list_judging import (
    BOTH,
    LEAST_ALIKE,
    MOST_OFFERED,
    NOTHING,
    Found,
    Known,
    Offered,
    Seen,
    Wanted,
    any_close,
    judge,
    near_enough,
    offer,
    seen,
)
from boats.models import Boat

__all__ = ["Found", "Known", "Offered", "look_wide", "match_list"]

_COLUMNS = ("id", "key", "name", "sail_number", "sail_number_normal", "sail_digits", "name_normal")
_ALL = ", ".join(f"boat.{column}" for column in _COLUMNS)

Rows = dict[int, list[int]]  # by a line's place in the list: rows of boats that come into question


def match_list(lines: Sequence[tuple[str, str]]) -> list[Found]:
    """For each line of (sail number, name) the boat it means; at most seven statements, however many lines."""
    near.bring_up_to_date()
    wanted = [Wanted.of(*line) for line in lines]
    numbered, letters = _by_number(wanted)
    found, left = [NOTHING] * len(wanted), []
    for place, one in enumerate(wanted):
        same = [boat for boat in numbered.get(place, ()) if boat.plain_name == one.name]
        if len(same) == 1:
            found[place] = Found(same[0], BOTH)
        elif one.number or one.name:
            left.append(place)
    for place, boats in _look_further(wanted, left, numbered, letters).items():
        found[place] = judge(wanted[place], boats)
    return found


def look_wide(sail_number: str, name: str) -> tuple[Offered, ...]:
    """For one line, the boats whose names are most like its own, however they differ: to be shown, never taken.

    Every name is compared: tens of milliseconds for a hundred thousand boats.
    """
    wanted = Wanted.of(sail_number, name)
    if not wanted.name:
        return ()
    names = dict(Boat.objects.values_list("pk", "name_normal"))
    found = process.extract(
        wanted.name, names, scorer=Indel.normalized_similarity, limit=MOST_OFFERED, score_cutoff=LEAST_ALIKE
    )
    rows = Boat.objects.filter(pk__in=[pk for *_, pk in found]).values_list(*_COLUMNS)
    return offer(wanted, seen(wanted, [Known(*row) for row in rows]))


# ---- What comes into question ----


def _by_number(wanted: Sequence[Wanted]) -> tuple[dict[int, list[Known]], set[str | None]]:
    """The boats that bear a line's number, letter by letter; and the national letters that any boat has at all."""
    letters = sorted({of for one in wanted if (of := near.letters_of(one.number, one.digits)) is not None})
    statement = (
        f"SELECT given.key, boat.id FROM {given()} JOIN boats_boat AS boat "  # noqa: S608  (fixed names)
        f"ON boat.sail_number_normal = given.value WHERE given.value <> '' UNION ALL {_ANY_WITH_LETTERS}"
    )
    begin = parameter(near.marks_with(one) for one in letters)
    rows = _execute(statement, [parameter([one.number for one in wanted]), begin])
    read = _read({row for place, row in rows if place >= 0})
    known: set[str | None] = {None}
    found: dict[int, list[Known]] = {}
    for place, row in rows:
        if place < 0:
            known.add(letters[-1 - place])
        elif row in read:
            found.setdefault(place, []).append(read[row])
    return found, known


def _look_further(
    wanted: Sequence[Wanted], left: Sequence[int], numbered: dict[int, list[Known]], letters: set[str | None]
) -> dict[int, list[Seen]]:
    """Boats by number without letters, by name and by near number; by near name where nothing close was found."""
    if not left:
        return {}
    sure, close_by = _around(wanted, left, letters)
    read = _read({row for found in (sure, close_by) for rows in found.values() for row in rows})
    pools: dict[int, list[Seen]] = {}
    names_too = []
    for place in left:
        one = wanted[place]
        boats = {boat.id: boat for boat in numbered.get(place, ())}
        boats.update({row: read[row] for row in sure[place] if row in read})
        pools[place] = pool = seen(one, boats.values())
        # Where a boat bears the very name, nothing speaks for a slip in it; where her number is near, none in that.
        same = [apart for fit, apart, _ in pool if fit == 1.0 and one.name]
        if same and min(same) <= 1:
            continue
        if close_by[place]:
            others = set(close_by[place]).difference(boats)
            pool += near_enough(one, [read[row] for row in others if row in read])
        if not same and not any_close(one, pool):
            names_too.append(place)
    named = _by_near_name(wanted, names_too)
    read = _read({row for rows in named.values() for row in rows})
    for place, rows in named.items():
        rows.difference_update([other.boat.id for other in pools[place]])
        pools[place] += seen(wanted[place], [read[row] for row in rows if row in read])
    return pools


def _around(wanted: Sequence[Wanted], left: Sequence[int], letters: set[str | None]) -> tuple[Rows, Rows]:
    """By a line's number or name, and by a number near its own: one statement, answered by indexes alone."""
    digits = [place for place in left if wanted[place].digits]
    names = [place for place in left if wanted[place].name]
    within: list[tuple[int, str]] = []  # of numbers without form
    one_off: list[int] = []  # marks; where a sketch would be, those that are looked for have the line's place
    one_more: list[int] = []
    for place in left:
        number, in_digits, _ = wanted[place]
        # Where no boat has these letters none has a number near this one.
        if number and near.letters_of(number, in_digits) in letters:
            off, other = near.marks_one_off(number, in_digits, place)
            one_off += off
            one_off += other
            one_more.append(near.mark_one_more(number, place))
            if not in_digits and (rest := near.digits_within(number)):
                within.append((place, rest))
    one_off.sort()  # as they lie in the index: each of its pages is then read once
    firm = len(digits) + len(names)
    parameters = [
        0, parameter([wanted[place].digits for place in digits]),
        len(digits), parameter([wanted[place].name for place in names]),
        firm, parameter([rest for _, rest in within]),
        parameter(one_off), parameter(one_more),
    ]  # fmt: skip
    places = [*digits, *names, *[place for place, _ in within]]
    sketches = {place: near.sketch_of(wanted[place].name) for place in left}
    sure: Rows = {place: [] for place in left}
    close_by: Rows = {place: [] for place in left}
    for key, row, mark in _execute(_AROUND, parameters):
        if mark >= 0:
            if near.most_alike(sketches[key], mark) >= LEAST_ALIKE:
                close_by[key].append(row)
        elif key < firm:
            sure[places[key]].append(row)
        else:
            close_by[places[key]].append(row)
    return sure, close_by


def _by_column(column: str) -> str:
    return (
        f"SELECT given.key + %s, boat.id, -1 FROM {given()} "  # noqa: S608  (fixed names)
        f"JOIN boats_boat AS boat ON boat.{column} = given.value"
    )


def _by_mark(bits: int) -> str:
    """Where a sketch would be, the marks that are looked for have the line's place."""
    begin = f"(CAST(given.value AS bigint) >> {bits} << {bits})"
    return (
        f"SELECT CAST(given.value AS bigint) & {near.SKETCHES}, near.boat_id, near.mark FROM {given()} "  # noqa: S608
        f"JOIN boats_nearspelling AS near ON near.mark BETWEEN {begin} AND {begin} + {(1 << bits) - 1}"
    )


_ANY_WITH_LETTERS = (
    f"SELECT -1 - given.key, NULL FROM {given()} WHERE EXISTS (SELECT 1 FROM boats_nearspelling AS near "  # noqa: S608
    f"WHERE near.mark BETWEEN CAST(given.value AS bigint) AND CAST(given.value AS bigint) + {near.AREA - 1})"
)
_AROUND = " UNION ALL ".join(
    (
        _by_column("sail_digits"),
        _by_column("name_normal"),
        _by_column("sail_digits"),
        _by_mark(near.SKETCH),
        _by_mark(near.SKETCH + near.PLACE),
    )
)


def _by_near_name(wanted: Sequence[Wanted], places: Iterable[int]) -> dict[int, set[int]]:
    """The rows of boats with a name one slip away."""
    order = sorted((mark, place) for place in places for mark in near.name_marks(wanted[place].name))
    if not order:
        return {}
    statement = (
        f"SELECT given.key, near.boat_id FROM {given()} "  # noqa: S608  (fixed names)
        "JOIN boats_nearspelling AS near ON near.mark = CAST(given.value AS bigint)"
    )
    found: dict[int, set[int]] = {}
    for key, row in _execute(statement, [parameter(mark for mark, _ in order)]):
        found.setdefault(order[key][1], set()).add(row)
    return found


def _read(rows: set[int]) -> dict[int, Known]:
    """These boats, in the order in which they lie."""
    if not rows:
        return {}
    statement = f"SELECT {_ALL} FROM {given()} JOIN boats_boat AS boat ON boat.id = CAST(given.value AS bigint)"  # noqa: S608
    return {row[0]: Known._make(row) for row in _execute(statement, [parameter(sorted(rows))])}


def _execute(statement: str, parameters: list[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows
