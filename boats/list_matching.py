"""Which boats the lines of a list mean: thousands at once, in a handful of statements. Taken only where sure.

A line has a sail number, a name, or both. A boat is taken without asking where

- the number is hers, whatever its spacing, case or missing national letters, and the name is hers too;
- the number with its letters is hers, the name is all but hers, and no near number has a boat whose name fits as well;
- only the number, or only the name, was given, and one boat alone bears it.

Everything else is doubtful: near numbers, other national letters, another name under the number, near names. Such
boats are offered, the likeliest first, and never taken. (The rules are ours; common practice, no source.)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from django.db import connection
from rapidfuzz import process
from rapidfuzz.distance import OSA, Indel

from boats import near
from boats.bulk import given, parameter
from boats.models import Boat
from boats.names import normalise_name, normalise_sail_number

MOST_OFFERED = 8
LEAST_ALIKE = 0.6  # of two names, 1 being the same: below it a name found by the number speaks against the boat
OTHER_NUMBER = 3  # signs by which a number differs that is another one altogether
WEIGHT_OF_NAME = 4.0  # a wholly different name weighs more than a number one sign off

_COLUMNS = "boat.id, boat.key, boat.name, boat.sail_number, boat.sail_number_normal, boat.sail_digits, boat.name_normal"


class Wanted(NamedTuple):
    """A line's number, the same without its letters, and its name, in the forms they are matched by."""

    number: str
    digits: str
    name: str

    @classmethod
    def of(cls, sail_number: str, name: str) -> Wanted:
        number, digits = normalise_sail_number(sail_number)
        return cls(number, digits, normalise_name(name))


class Known(NamedTuple):  # thousands are made for a list: the kind of row quickest to make
    """A boat of the register, as far as matching needs her."""

    id: int
    key: str
    name: str
    sail_number: str
    number: str
    digits: str
    plain_name: str


class Offered(NamedTuple):
    boat: Known
    why: str


class Found(NamedTuple):
    """The boat that is meant without doubt, and why; or the boats that may be meant, the likeliest first."""

    boat: Known | None = None
    why: str = ""
    offered: tuple[Offered, ...] = ()


NOTHING = Found()
BOTH = "number and name"
Pool = dict[int, dict[int, Known]]  # a line's place in the list -> boats that may be meant, by their rows


def match_list(lines: Sequence[tuple[str, str]]) -> list[Found]:
    """For each line of (sail number, name) the boat it means; at most five statements, however many lines."""
    near.bring_up_to_date()
    wanted = [Wanted.of(*line) for line in lines]
    found = [NOTHING] * len(wanted)
    numbered: dict[int, list[Known]] = defaultdict(list)
    for place, boat in _by_number(wanted):
        numbered[place].append(boat)
    pool: Pool = {}
    for place, one in enumerate(wanted):
        boats = numbered.get(place, ())
        same = [boat for boat in boats if boat.plain_name == one.name]
        if len(same) == 1:
            found[place] = Found(same[0], BOTH)
        elif one.number or one.name:
            pool[place] = {boat.id: boat for boat in boats}
    _look_further(wanted, pool)
    for place, offered in pool.items():
        found[place] = _judge(wanted[place], list(offered.values()))
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
    columns = ("pk", "key", "name", "sail_number", "sail_number_normal", "sail_digits", "name_normal")
    boats = [Known(*row) for row in Boat.objects.filter(pk__in=[pk for *_, pk in found]).values_list(*columns)]
    return _judge_offered(wanted, boats)


# ---- Looking ----


def _by_number(wanted: Sequence[Wanted]) -> list[tuple[int, Known]]:
    statement = (
        f"SELECT given.key, {_COLUMNS} FROM {given()} JOIN boats_boat AS boat "  # noqa: S608  (fixed names)
        "ON boat.sail_number_normal = given.value WHERE given.value <> ''"
    )
    return _rows(statement, [parameter(one.number for one in wanted)])


def _look_further(wanted: Sequence[Wanted], pool: Pool) -> None:
    """Boats by number without letters and by name; by near number, then by near name, where nothing close was found."""
    _gather(pool, "sail_digits", {place: [wanted[place].digits] for place in pool if wanted[place].digits})
    _gather(pool, "name_normal", {place: [wanted[place].name] for place in pool if wanted[place].name})
    left = [place for place in pool if not _any_close(wanted[place], pool[place].values(), slips=0)]
    around = {place: near.numbers_one_off(wanted[place].number, wanted[place].digits) for place in left}
    _gather_near(pool, {place: spellings for place, (spellings, _) in around.items()})
    _gather(pool, "sail_number_normal", {place: numbers for place, (_, numbers) in around.items()})
    left = [place for place in left if not _any_close(wanted[place], pool[place].values(), slips=1)]
    _gather_near(pool, {place: near.name_spellings(wanted[place].name) for place in left})


def _any_close(wanted: Wanted, boats: Iterable[Known], slips: int) -> bool:
    """Whether a boat fits but for so many slips in her name and one in her number: then nobody fits better."""
    return bool(wanted.name) and any(
        OSA.distance(boat.plain_name, wanted.name, score_cutoff=slips) <= slips and _numbers_apart(wanted, boat) <= 1
        for boat in boats
    )


def _gather(pool: Pool, column: str, texts: Mapping[int, Iterable[str]]) -> None:
    statement = f"SELECT given.key, {_COLUMNS} FROM {given()} JOIN boats_boat AS boat ON {column} = given.value"  # noqa: S608
    _fill(pool, sorted((text, place) for place, some in texts.items() for text in some), statement)


def _gather_near(pool: Pool, texts: Mapping[int, Iterable[str]]) -> None:
    statement = (
        f"SELECT given.key, {_COLUMNS} FROM {given()} "  # noqa: S608  (fixed names)
        "JOIN boats_nearspelling AS near ON near.mark = CAST(given.value AS bigint) "
        "JOIN boats_boat AS boat ON boat.id = near.boat_id"
    )
    # In the order of the index, whose pages are then read once each.
    _fill(pool, sorted((near.mark(text), place) for place, some in texts.items() for text in some), statement)


def _fill(pool: Pool, looked_for: Sequence[tuple[str | int, int]], statement: str) -> None:
    """`looked_for`: what the statement joins with, and the line's place."""
    if looked_for:
        for number, boat in _rows(statement, [parameter(what for what, _ in looked_for)]):
            pool[looked_for[number][1]][boat.id] = boat


def _rows(statement: str, parameters: list[str]) -> list[tuple[int, Known]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return [(row[0], Known._make(row[1:])) for row in cursor.fetchall()]


# ---- Judging ----


def _judge(wanted: Wanted, boats: list[Known]) -> Found:
    sure = _sure(wanted, boats)
    if sure is not None:
        return sure
    return Found(offered=_judge_offered(wanted, [boat for boat in boats if _may_be(wanted, boat)]))


def _may_be(wanted: Wanted, boat: Known) -> bool:
    """A near number is no reason by itself: where numbers lie close together, every boat has such neighbours."""
    if not wanted.name or alike(boat.plain_name, wanted.name) >= LEAST_ALIKE:
        return True
    return has_number(boat, wanted) or (bool(wanted.digits) and boat.digits == wanted.digits)


def _judge_offered(wanted: Wanted, boats: list[Known]) -> tuple[Offered, ...]:
    likely = sorted(boats, key=lambda boat: (_unlikeliness(wanted, boat), boat.name, boat.id))
    return tuple(Offered(boat, _why(wanted, boat)) for boat in likely[:MOST_OFFERED])


def _sure(wanted: Wanted, boats: list[Known]) -> Found | None:
    if not wanted.number:
        named = [boat for boat in boats if boat.plain_name == wanted.name]
        return Found(named[0], "name; no number was given") if len(named) == 1 else None
    numbered = [boat for boat in boats if has_number(boat, wanted)]
    if not wanted.name:
        return Found(numbered[0], "number; no name was given") if len(numbered) == 1 else None
    named = [boat for boat in numbered if boat.plain_name == wanted.name]
    if named:
        return Found(named[0], BOTH) if len(named) == 1 else None
    spelled = [boat for boat in numbered if boat.number == wanted.number and all_but(boat.plain_name, wanted.name)]
    if len(spelled) == 1 and not _rivals(wanted, spelled[0], boats):
        return Found(spelled[0], "number; the name is spelled otherwise")
    return None


def _rivals(wanted: Wanted, taken: Known, boats: list[Known]) -> bool:
    """Whether another boat's name fits as well: then the number may be the slip."""
    fit = alike(taken.plain_name, wanted.name)
    return any(boat.id != taken.id and alike(boat.plain_name, wanted.name) >= fit for boat in boats)


def has_number(boat: Known, wanted: Wanted) -> bool:
    """The same number, or the same but for letters that one side lacks."""
    if boat.number == wanted.number:
        return True
    return bool(wanted.digits) and boat.digits == wanted.digits and wanted.digits in {wanted.number, boat.number}


def all_but(one: str, other: str) -> bool:
    """One slip apart, in names long enough; two in long ones."""
    shortest = min(len(one), len(other))
    allowed = 2 if shortest >= 10 else 1 if shortest >= near.SHORTEST_NAME else 0
    return bool(OSA.distance(one, other, score_cutoff=allowed) <= allowed)


def alike(one: str, other: str) -> float:
    """1 for the same name, 0 for two without a sign in common."""
    return float(Indel.normalized_similarity(one, other))


def _unlikeliness(wanted: Wanted, boat: Known) -> float:
    apart = 0.0
    if wanted.number:
        apart += _numbers_apart(wanted, boat)
    if wanted.name:
        apart += WEIGHT_OF_NAME * (1.0 - alike(boat.plain_name, wanted.name))
    return apart


def _numbers_apart(wanted: Wanted, boat: Known) -> int:
    if has_number(boat, wanted):
        return 0
    if wanted.digits and boat.digits == wanted.digits:
        return 1
    return int(min(OSA.distance(boat.number, wanted.number), OTHER_NUMBER))


def _why(wanted: Wanted, boat: Known) -> str:
    """In words, why she is offered."""
    number = _about_number(wanted, boat)
    if not wanted.name:
        return number or "several boats bear this number"
    if boat.plain_name == wanted.name:
        name = "this name"
    elif alike(boat.plain_name, wanted.name) >= LEAST_ALIKE:
        name = "a name like it"
    else:
        name = "another name"
    return f"{number}, {name}" if number else name


def _about_number(wanted: Wanted, boat: Known) -> str:
    if not wanted.number:
        return ""
    apart = _numbers_apart(wanted, boat)
    if boat.number == wanted.number:
        return "this number"
    if apart == 0:
        return "this number, national letters missing"
    if wanted.digits and boat.digits == wanted.digits:
        return "this number with other national letters"
    return "a number one sign off" if apart == 1 else "another number"
