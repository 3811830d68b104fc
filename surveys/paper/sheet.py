"""What stands on a visit's log sheet: the rows to fill in, station by station and mast by mast.

Plain data for the template. Only what this rig can have stands on it; the boom's height stands once for each method.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import count

from computations import typesetting
from computations.catalogue import (
    BOOM_HEIGHT_METHODS,
    READINGS,
    STATIONS,
    ReadingKind,
    applicable_readings,
    required_readings,
)
from computations.inputs import Rig

MAST_TITLES = {"main": "Main mast", "mizzen": "Mizzen mast", "fore": "Fore mast"}
METHOD_TITLES = {"string": "by the string", "two_mark": "by two marks"}
BOOM_HEIGHT = frozenset(slug for slugs in BOOM_HEIGHT_METHODS.values() for slug in slugs)
BLANK_HALYARDS = 2  # lines for halyards that nobody has named yet
Place = tuple[str, str, str]  # slug, mast, side or halyard


@dataclass(frozen=True, slots=True)
class Line:
    """One line of boxes: its number on the sheet, the side or halyard, what was read last time ("" where hidden)."""

    number: int
    place: str = ""
    previous: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """One reading and its lines."""

    kind: ReadingKind
    note: str  # "", "optional" or "where she has one"
    lines: tuple[Line, ...]

    @property
    def names_places(self) -> bool:
        return bool(self.kind.sides) or self.kind.named_position


@dataclass(frozen=True, slots=True)
class Part:
    """Items under one heading: a mast at a station, or one method for the height of its boom."""

    title: str
    items: tuple[Item, ...]
    method: str = ""


@dataclass(frozen=True, slots=True)
class Station:
    slug: str
    title: str
    parts: tuple[Part, ...]


@dataclass(slots=True)
class Numbering:
    """Numbers the lines from the first to the last, and remembers which readings got which."""

    previous: Mapping[Place, float]
    halyards: Mapping[str, tuple[str, ...]]
    numbers: Iterator[int] = field(default_factory=lambda: count(1))
    given: dict[tuple[str, str], list[int]] = field(default_factory=dict)

    def lines(self, kind: ReadingKind, mast: str, sides: list[str]) -> tuple[Line, ...]:
        if kind.named_position:
            known = self.halyards.get(mast, ())
            sides = [*known, *[""] * max(1, BLANK_HALYARDS - len(known))]
        return tuple(self._line(kind, mast, side) for side in sides)

    def _line(self, kind: ReadingKind, mast: str, place: str) -> Line:
        number = next(self.numbers)
        self.given.setdefault((kind.slug, mast), []).append(number)
        value = None if kind.named_position and not place else self.previous.get((kind.slug, mast, place))
        text = "" if value is None else typesetting.number(value, decimals_of(kind))
        return Line(number, place, text)


def decimals_of(kind: ReadingKind) -> int:
    return 1 if kind.resolution < 1 else 0


def stations_of(rig: Rig, numbering: Numbering) -> tuple[Station, ...]:
    """Every station this rig has something to read at."""
    wanted = _items_wanted(rig)
    required = {(slug, mast) for slug, mast, _ in required_readings(rig)}
    several = len(rig.masts) > 1
    found = []
    for station, title in STATIONS.items():
        parts: list[Part] = []
        for mast in rig.masts:
            here = {key: sides for key, sides in wanted.items() if key[1] == mast.name}
            parts += _parts(station, here, required, numbering, several=several)
        if parts:
            found.append(Station(station, title, tuple(parts)))
    return tuple(found)


def _items_wanted(rig: Rig) -> dict[tuple[str, str], list[str]]:
    """(slug, mast) -> its sides, in the catalogue's order."""
    wanted: dict[tuple[str, str], list[str]] = {}
    for slug, mast, side in applicable_readings(rig):
        wanted.setdefault((slug, mast), []).append(side)
    return wanted


def _parts(
    station: str,
    here: Mapping[tuple[str, str], list[str]],
    required: set[tuple[str, str]],
    numbering: Numbering,
    *,
    several: bool,
) -> Iterator[Part]:
    """The parts of one mast at one station: each boom-height method first, then the rest."""
    mine = {key: sides for key, sides in here.items() if READINGS[key[0]].station == station}
    if not mine:
        return
    mast = next(iter(mine))[1]
    title = MAST_TITLES[mast] if several else ""
    for method, slugs in BOOM_HEIGHT_METHODS.items():
        chosen = {key: sides for key, sides in mine.items() if key[0] in slugs}
        if chosen:
            named = f"Boom above the sheer, {METHOD_TITLES[method]}"
            named = f"{title}: {named[0].lower()}{named[1:]}" if title else named
            yield Part(named, _items(chosen, required, numbering), method)
    rest = {key: sides for key, sides in mine.items() if key[0] not in BOOM_HEIGHT}
    if rest:
        yield Part(title, _items(rest, required, numbering))


def _items(
    chosen: Mapping[tuple[str, str], list[str]], required: set[tuple[str, str]], numbering: Numbering
) -> tuple[Item, ...]:
    return tuple(
        Item(READINGS[slug], _note(slug, mast, required), numbering.lines(READINGS[slug], mast, sides))
        for (slug, mast), sides in chosen.items()
    )


def _note(slug: str, mast: str, required: set[tuple[str, str]]) -> str:
    if (slug, mast) in required or slug in BOOM_HEIGHT:
        return ""
    return "optional" if READINGS[slug].optional else "where she has one"


def numbers_in_words(numbers: list[int]) -> str:
    """The lines a dimension is read on: line 3, lines 20–27, lines 5, 9."""
    if not numbers:
        return ""
    ordered = sorted(numbers)
    if len(ordered) == 1:
        return f"line {ordered[0]}"
    runs = ordered[-1] - ordered[0] == len(ordered) - 1
    return f"lines {ordered[0]}–{ordered[-1]}" if runs else "lines " + ", ".join(str(one) for one in ordered)
