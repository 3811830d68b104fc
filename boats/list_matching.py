"""Which boats the lines of a list mean: thousands at once, in a handful of statements. Taken only where sure.

Which boat is taken, and which are offered, says `boats.list_judging`; here they are looked for. Most of a list is as
registered, and done with after one statement. For the rest the indexes alone say which boats come into question; only
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
    """For each line of (sail number, name) the boat it means; at most six statements, however many lines."""
    near.bring_up_to_date()
    wanted = [Wanted.of(*line) for line in lines]
    numbered = _by_number(wanted)
    found, left = [NOTHING] * len(wanted), []
    for place, one in enumerate(wanted):
        same = [boat for boat in numbered.get(place, ()) if boat.plain_name == one.name]
        if len(same) == 1:
            found[place] = Found(same[0], BOTH)
        elif one.number or one.name:
            left.append(place)
    for place, boats in _look_further(wanted, left, numbered).items():
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


def _by_number(wanted: Sequence[Wanted]) -> dict[int, list[Known]]:
    """The boats that bear a line's number, letter by letter."""
    statement = (
        f"SELECT given.key, {_ALL} FROM {given()} JOIN boats_boat AS boat "  # noqa: S608  (fixed names)
        "ON boat.sail_number_normal = given.value WHERE given.value <> ''"
    )
    found: dict[int, list[Known]] = {}
    for row in _execute(statement, [parameter(one.number for one in wanted)]):
        found.setdefault(row[0], []).append(Known._make(row[1:]))
    return found


def _look_further(
    wanted: Sequence[Wanted], left: Sequence[int], numbered: dict[int, list[Known]]
) -> dict[int, list[Seen]]:
    """Boats by number without letters, by name and by near number; by near name where nothing close was found."""
    if not left:
        return {}
    sure, close_by = _around(wanted, left)
    read = _read({row for found in (sure, close_by) for rows in found.values() for row in rows})
    pools: dict[int, list[Seen]] = {}
    names_too = []
    for place in left:
        one = wanted[place]
        boats = {boat.id: boat for boat in numbered.get(place, ())}
        boats.update({row: read[row] for row in sure[place] if row in read})
        pool = seen(one, boats.values())
        if not any_close(one, pool, slips=0):
            others = set(close_by[place]).difference(boats)
            pool += near_enough(one, seen(one, [read[row] for row in others if row in read]))
            # Where a boat bears the very name, nothing speaks for a slip in it.
            if not any(boat.plain_name == one.name for _, boat in pool) and not any_close(one, pool, slips=1):
                names_too.append(place)
        pools[place] = pool
    named = _by_near_name(wanted, names_too)
    read = _read({row for rows in named.values() for row in rows})
    for place, rows in named.items():
        rows.difference_update([boat.id for _, boat in pools[place]])
        pools[place] += seen(wanted[place], [read[row] for row in rows if row in read])
    return pools


def _listed() -> tuple[list[str], list[int]]:
    """Texts that are looked for, and for each the place of its line."""
    return [], []


def _around(wanted: Sequence[Wanted], left: Sequence[int]) -> tuple[Rows, Rows]:
    """By a line's number or name, and by a number near its own: one statement, answered by indexes alone."""
    digits, names, whole, others = _listed(), _listed(), _listed(), _listed()
    one_off: list[int] = []
    one_more: list[int] = []
    sketches = {}
    for place in left:
        number, tail, name = wanted[place]
        sketches[place] = near.sketch_of(name)
        if tail:
            digits[0].append(tail)
            digits[1].append(place)
        if name:
            names[0].append(name)
            names[1].append(place)
        if number:
            numbers = near.numbers_one_off(number, tail)
            one_off += near.place_marks(number, tail, place)
            one_more.append(near.number_mark(number, place))
            whole[0].extend(numbers)
            whole[1].extend([place] * len(numbers))
            if not tail and (within := near.digits_within(number)):
                others[0].append(within)
                others[1].append(place)
    one_off.sort()  # as they lie in the index: each of its pages is then read once
    sure: Rows = {place: [] for place in left}
    close_by: Rows = {place: [] for place in left}
    places = (digits[1], names[1], whole[1], others[1])
    asked = [parameter(one) for one in (digits[0], names[0], whole[0], others[0], one_off, one_more)]
    for part, key, row, mark in _execute(_AROUND, asked):
        if part == _MARK:
            if near.most_alike(sketches[key], mark) >= LEAST_ALIKE:
                close_by[key].append(row)
        elif part in {_WHOLE, _OTHERS}:
            close_by[places[part][key]].append(row)
        else:
            sure[places[part][key]].append(row)
    return sure, close_by


def _by_column(part: int, column: str) -> str:
    return (
        f"SELECT {part}, given.key, boat.id, 0 FROM {given()} "  # noqa: S608  (fixed names)
        f"JOIN boats_boat AS boat ON boat.{column} = given.value"
    )


def _by_mark(bits: int) -> str:
    """Where a sketch would be, the marks that are looked for have the line's place."""
    begin = f"(CAST(given.value AS bigint) >> {bits} << {bits})"
    return (
        f"SELECT {_MARK}, CAST(given.value AS bigint) & {near.SKETCHES}, near.boat_id, near.mark FROM {given()} "  # noqa: S608
        f"JOIN boats_nearspelling AS near ON near.mark BETWEEN {begin} AND {begin} + {(1 << bits) - 1}"
    )


_DIGITS, _NAME, _WHOLE, _OTHERS, _MARK = range(5)
_AROUND = " UNION ALL ".join(
    (
        _by_column(_DIGITS, "sail_digits"),
        _by_column(_NAME, "name_normal"),
        _by_column(_WHOLE, "sail_number_normal"),
        _by_column(_OTHERS, "sail_digits"),
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


def _execute(statement: str, parameters: list[str]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows
