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
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line's number, the same without its letters, and its name, in the forms they are matched by."""

    number: str
    digits: str
    name: str

    @classmethod
    def of(cls, sail_number: str, name: str) -> Wanted:
        return cls(*normalise_sail_number(sail_number), normalise_name(name))


@dataclass(frozen=True, slots=True)
class Known:
    """A boat of the register, as far as matching needs her."""

    id: int
    key: str
    name: str
    sail_number: str
    number: str
    digits: str
    plain_name: str


@dataclass(frozen=True, slots=True)
class Offered:
    boat: Known
    why: str


@dataclass(frozen=True, slots=True)
class Found:
    """The boat that is meant without doubt, and why; or the boats that may be meant, the likeliest first."""

    boat: Known | None = None
    why: str = ""
    offered: tuple[Offered, ...] = ()


NOTHING = Found()


def match_list(lines: Sequence[tuple[str, str]]) -> list[Found]:
    """For each line of (sail number, name) the boat it means; at most five statements, however many lines."""
    near.bring_up_to_date()
    wanted = [Wanted.of(*line) for line in lines]
    found = [NOTHING] * len(wanted)
    pool: dict[int, dict[int, Known]] = defaultdict(dict)
    for place, boat in _by_number(wanted):
        pool[place][boat.id] = boat
    open_: list[int] = []
    for place, one in enumerate(wanted):
        plain = _plainly(one, pool[place].values()) if place in pool else None
        if plain is not None:
            found[place] = Found(plain, "number and name")
        elif one.number or one.name:
            open_.append(place)
    _look_further(wanted, open_, pool)
    for place in open_:
        found[place] = _judge(wanted[place], list(pool[place].values()))
    return found


def _plainly(wanted: Wanted, boats: Iterable[Known]) -> Known | None:
    """The one boat with this very number and this very name."""
    if not wanted.name:
        return None
    same = [boat for boat in boats if boat.plain_name == wanted.name and boat.number == wanted.number]
    return same[0] if len(same) == 1 else None


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


def _by_number(wanted: Sequence[Wanted]) -> Iterable[tuple[int, Known]]:
    statement = (
        f"SELECT given.key, {_COLUMNS} FROM {given()} JOIN boats_boat AS boat "  # noqa: S608  (fixed names)
        "ON boat.sail_number_normal = given.value WHERE given.value <> ''"
    )
    yield from _rows(statement, [parameter(one.number for one in wanted)])


def _look_further(wanted: Sequence[Wanted], places: Sequence[int], pool: dict[int, dict[int, Known]]) -> None:
    """Boats by number without letters, by name and by near number; by near name where nothing else was found."""
    digits = {place: {wanted[place].digits} - {""} for place in places}
    names = {place: {wanted[place].name} - {""} for place in places}
    _gather(pool, "boat.sail_digits = given.value", digits)
    _gather(pool, "boat.name_normal = given.value", names)
    _gather_near(pool, {place: near.number_spellings(wanted[place].number) for place in places})
    left = [place for place in places if wanted[place].name and not _any_fits(wanted[place], pool[place].values())]
    _gather_near(pool, {place: near.name_spellings(wanted[place].name) for place in left})


def _any_fits(wanted: Wanted, boats: Iterable[Known]) -> bool:
    return any(alike(boat.plain_name, wanted.name) >= LEAST_ALIKE for boat in boats)


def _gather(pool: dict[int, dict[int, Known]], condition: str, texts: dict[int, set[str]]) -> None:
    _fill(pool, texts, f"SELECT given.key, {_COLUMNS} FROM {given()} JOIN boats_boat AS boat ON {condition}")  # noqa: S608


def _gather_near(pool: dict[int, dict[int, Known]], texts: dict[int, set[str]]) -> None:
    statement = (
        f"SELECT given.key, {_COLUMNS} FROM {given()} "  # noqa: S608  (fixed names)
        "JOIN boats_nearspelling AS near ON near.spelling = given.value "
        "JOIN boats_boat AS boat ON boat.id = near.boat_id"
    )
    _fill(pool, texts, statement)


def _fill(pool: dict[int, dict[int, Known]], texts: dict[int, set[str]], statement: str) -> None:
    pairs = [(place, text) for place, some in texts.items() for text in some]
    if pairs:
        for number, boat in _rows(statement, [parameter(text for _, text in pairs)]):
            pool[pairs[number][0]].setdefault(boat.id, boat)


def _rows(statement: str, parameters: list[str]) -> Iterable[tuple[int, Known]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        for key, *columns in cursor.fetchall():
            yield key, Known(*columns)


# ---- Judging ----


def _judge(wanted: Wanted, boats: list[Known]) -> Found:
    sure = _sure(wanted, boats)
    if sure is not None:
        return sure
    return Found(offered=_judge_offered(wanted, [boat for boat in boats if _may_be(wanted, boat)]))


def _may_be(wanted: Wanted, boat: Known) -> bool:
    """A number that is only near is no reason by itself: where numbers lie close together, each boat has neighbours."""
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
        return Found(named[0], "number and name") if len(named) == 1 else None
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
