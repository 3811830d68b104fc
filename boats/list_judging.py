"""Which of the boats that a line of a list may mean is meant without doubt, and in which order the others are offered.

A line has a sail number, a name, or both. A boat is taken without asking where

- the number is hers, whatever its spacing, case or missing national letters, and the name is hers too;
- the number with its letters is hers, the name is all but hers, and no near number has a boat whose name fits as well;
- only the number, or only the name, was given, and one boat alone bears it.

Everything else is doubtful: near numbers, other national letters, another name under the number, near names. Such
boats are offered, the likeliest first, and never taken. (The rules are ours; common practice, no source.)
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from rapidfuzz.distance import OSA, Indel

from boats import near
from boats.names import normalise_name, normalise_sail_number

MOST_OFFERED = 8
LEAST_ALIKE = 0.6  # of two names, 1 being the same: below it a name found by the number speaks against the boat
OTHER_NUMBER = 3  # signs by which a number differs that is another one altogether
WEIGHT_OF_NAME = 4.0  # a wholly different name weighs more than a number one sign off


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


class Seen(NamedTuple):
    """A boat held against a line."""

    fit: float  # how much alike her name and the line's are: 1 the same or none given, 0 without a sign in common
    apart: int  # how far her number is from the line's, see `numbers_apart`; 0 where none was given
    boat: Known


class Offered(NamedTuple):
    wanted: Wanted
    seen: Seen

    @property
    def boat(self) -> Known:
        return self.seen.boat

    @property
    def why(self) -> str:
        """Why she is offered."""
        return _why(self.wanted, *self.seen)


class Found(NamedTuple):
    """The boat that is meant without doubt, and why; or the boats that may be meant, the likeliest first."""

    boat: Known | None = None
    why: str = ""
    offered: tuple[Offered, ...] = ()


NOTHING = Found()
BOTH = "number and name"


# ---- How near ----


def all_but(one: str, other: str) -> bool:
    """One slip apart, in names long enough; two in long ones."""
    shortest = min(len(one), len(other))
    allowed = 2 if shortest >= 10 else 1 if shortest >= near.SHORTEST_NAME else 0
    return OSA.distance(one, other, score_cutoff=allowed) <= allowed


def numbers_apart(wanted: Wanted, boat: Known) -> int:
    """Signs, as far as they tell: 0 the same number, 1 also for other national letters, at most OTHER_NUMBER."""
    if boat.number == wanted.number:
        return 0
    if wanted.digits and boat.digits == wanted.digits:
        return 0 if wanted.digits in {wanted.number, boat.number} else 1
    return min(OSA.distance(boat.number, wanted.number, score_cutoff=OTHER_NUMBER - 1), OTHER_NUMBER)


def seen(wanted: Wanted, boats: Iterable[Known]) -> list[Seen]:
    number, _, name = wanted
    return [
        Seen(
            Indel.normalized_similarity(boat.plain_name, name) if name else 1.0,
            numbers_apart(wanted, boat) if number else 0,
            boat,
        )
        for boat in boats
    ]


def near_enough(wanted: Wanted, boats: Iterable[Known]) -> list[Seen]:
    """Of those found by a near number, the ones with a name like it.

    A near number is no reason by itself: where numbers lie close together, every boat has such neighbours.
    """
    if name := wanted.name:
        boats = [boat for boat in boats if Indel.normalized_similarity(boat.plain_name, name) >= LEAST_ALIKE]
    return [one for one in seen(wanted, boats) if one.apart <= 1]


def any_close(wanted: Wanted, boats: Iterable[Seen]) -> bool:
    """Whether a boat fits but for one slip in her name and one in her number: then nobody fits better."""
    return any(
        fit >= LEAST_ALIKE and apart <= 1 and OSA.distance(boat.plain_name, wanted.name, score_cutoff=1) <= 1
        for fit, apart, boat in boats
    )


# ---- Judging ----


def judge(wanted: Wanted, boats: list[Seen]) -> Found:
    """Of the boats that the line may mean, as far as they were found by its number or its name, or near them."""
    sure = _sure(wanted, boats)
    if sure is not None:
        return sure
    return Found(offered=offer(wanted, boats, LEAST_ALIKE)) if boats else NOTHING


def offer(wanted: Wanted, boats: Iterable[Seen], least_alike: float = 0.0) -> tuple[Offered, ...]:
    """The likeliest, at most MOST_OFFERED. Whose name is less alike needs the number, if with other letters."""
    number, digits, _ = wanted
    likely = [
        (one.apart + WEIGHT_OF_NAME * (1.0 - one.fit), one.boat.name, one.boat.id, one)
        for one in boats
        if one.fit >= least_alike or one.boat.number == number or (digits and one.boat.digits == digits)
    ]
    likely.sort()
    return tuple([Offered(wanted, one) for *_, one in likely[:MOST_OFFERED]])


def _sure(wanted: Wanted, boats: list[Seen]) -> Found | None:
    if not wanted.number:
        named = [one.boat for one in boats if one.boat.plain_name == wanted.name]
        return Found(named[0], "name; no number was given") if len(named) == 1 else None
    numbered = [one for one in boats if one.apart == 0]
    if not wanted.name:
        return Found(numbered[0].boat, "number; no name was given") if len(numbered) == 1 else None
    named = [one.boat for one in numbered if one.boat.plain_name == wanted.name]
    if named:
        return Found(named[0], BOTH) if len(named) == 1 else None
    number, _, name = wanted
    spelled = [one for one in numbered if one.boat.number == number and all_but(one.boat.plain_name, name)]
    if len(spelled) == 1 and not _rivals(spelled[0], boats):
        return Found(spelled[0].boat, "number; the name is spelled otherwise")
    return None


def _rivals(taken: Seen, boats: list[Seen]) -> bool:
    """Whether another boat's name fits as well: then the number may be the slip."""
    return any(one.fit >= taken.fit and one.boat.id != taken.boat.id for one in boats)


# ---- In words ----


def _why(wanted: Wanted, fit: float, apart: int, boat: Known) -> str:
    number = _about_number(wanted, boat, apart)
    if not wanted.name:
        return number or "several boats bear this number"
    name = "this name" if boat.plain_name == wanted.name else "a name like it" if fit >= LEAST_ALIKE else "another name"
    return f"{number}, {name}" if number else name


def _about_number(wanted: Wanted, boat: Known, apart: int) -> str:
    if not wanted.number:
        return ""
    if boat.number == wanted.number:
        return "this number"
    if apart == 0:
        return "this number, national letters missing"
    if wanted.digits and boat.digits == wanted.digits:
        return "this number with other national letters"
    return "a number one sign off" if apart == 1 else "another number"
