"""An entry list against the register and the certificates: which boat each entry means and how she stands.

Nine or ten statements for a whole list. Nothing is guessed: an entry that may mean several boats, or that fits one
only nearly, is unsure until a person settles it.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from functools import lru_cache

from boats.list_matching import Found, match_list
from boats.models import Boat
from boats.names import normalise_name, normalise_sail_number
from office.certificates import batch
from office.certificates.batch import Over
from office.racing.entry_file import Entry
from office.racing.results import Named, Result

Key = tuple[str, str]
LONGEST_NUMBER, LONGEST_NAME = 60, 80
NOT_REGISTERED = "no such boat in this office's register"
SETTLED = "settled by the race committee"
SETTLED_AS_NONE = "settled by the race committee: no boat of this office's register"


def key_of(sail_number: str, boat: str) -> Key:
    """What an entry is remembered by: its number and name in the forms they are matched by."""
    return normalise_sail_number(sail_number)[0][:LONGEST_NUMBER], normalise_name(boat)[:LONGEST_NAME]


def check_entries(
    entries: Sequence[Entry], first: dt.date, last: dt.date, settled: Mapping[Key, int | None] | None = None
) -> list[Result]:
    """A result for each entry, in their order. `settled`: what persons have decided, a boat's row or None for none.

    ValueError where the days are the wrong way round.
    """
    if last < first:
        raise ValueError("The last day lies before the first.")
    known = settled or {}
    keys = [key_of(one.sail_number, one.boat) for one in entries] if known else []
    decided = {place: known[key] for place, key in enumerate(keys) if key in known}
    found = match_list([(one.sail_number, one.boat) for one in entries])
    chosen = _boats(row for row in decided.values() if row is not None)
    meant: list[tuple[int, Named] | None] = []
    for place, one in enumerate(found):
        if place in decided:
            row = decided[place]
            meant.append(None if row is None else (row, chosen[row]))
        else:
            meant.append((one.boat.id, Named(one.boat.key, one.boat.name, one.boat.sail_number)) if one.boat else None)
    standings = batch.over_days((one[0] for one in meant if one), first, last)
    notes = _repeats(entries, [one[0] if one else None for one in meant])
    return [
        _result(entry, found[place], meant[place], standings, notes.get(place, ()), place in decided)
        for place, entry in enumerate(entries)
    ]


def _boats(rows: object) -> dict[int, Named]:
    found = Boat.objects.filter(pk__in=set(rows)).values_list("pk", "key", "name", "sail_number")  # type: ignore[call-overload]
    return {pk: Named(key, name, number) for pk, key, name, number in found}


def _result(
    entry: Entry,
    found: Found,
    meant: tuple[int, Named] | None,
    standings: Mapping[int, Over],
    notes: tuple[str, ...],
    settled: bool,
) -> Result:
    if meant is None:
        offered = () if settled else found.offered
        why = SETTLED_AS_NONE if settled else offered[0].why if offered else NOT_REGISTERED
        candidates = tuple(Named(one.boat.key, one.boat.name, one.boat.sail_number, one.why) for one in offered)
        status = "unsure" if offered else "none"
        return Result(
            entry.row, entry.sail_number, entry.boat, entry.extra, status, why, offered=candidates, notes=notes,
            settled=settled,
        )  # fmt: skip
    row, boat = meant
    over = standings[row]
    status = "ends_during_event" if over.status == batch.ENDS else over.status
    why = SETTLED if settled else found.why
    paper = over.paper
    if paper is None:
        return Result(entry.row, entry.sail_number, entry.boat, entry.extra, status, why, matched=boat,
                      notes=("No certificate has been issued for her.", *notes), settled=settled)  # fmt: skip
    begins, until, last = _in_words(paper.valid_from, paper.valid_until, paper.last_day)
    said = notes if over.status == "in_force" else (*_days(over), *notes)
    return Result(
        entry.row, entry.sail_number, entry.boat, entry.extra, status, why, paper.number, begins, until, last, boat,
        (), said, settled,
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _in_words(begins: dt.date, until: dt.date, last: dt.date | None) -> tuple[str, str, str]:
    """Certificates share a few days."""
    return begins.isoformat(), until.isoformat(), last.isoformat() if last else ""


def _days(over: Over) -> list[str]:
    """In words, what the days of the event bring."""
    said = []
    if over.ends_on is not None:
        then = {"replaced": "not in force", "not_yet": "not in force"}.get(over.then, over.then)
        said.append(f"Last day in force {over.ends_on.isoformat()}, then {then}.")
    if over.begins_on is not None:
        said.append(f"In force from {over.begins_on.isoformat()} on, not on the first day.")
    elif over.status == "none" and over.paper is not None:
        said.append(f"Her certificate begins on {over.paper.valid_from.isoformat()}, after the event.")
    return said


def _repeats(entries: Sequence[Entry], boats: Sequence[int | None]) -> dict[int, tuple[str, ...]]:
    """Notes on entries that are there twice, and on two names under one number."""
    said: dict[int, list[str]] = defaultdict(list)
    for places in _several(boats):
        _tell(said, entries, places, "The same boat stands in row {}.")
    for places in _several(["".join(entry.sail_number.split()).casefold() or None for entry in entries]):
        meant = {boats[place] if boats[place] is not None else entries[place].boat.casefold() for place in places}
        if len(meant) > 1:
            _tell(said, entries, places, "The same sail number stands in row {}, with another boat.")
        elif boats[places[0]] is None:
            _tell(said, entries, places, "The same entry stands in row {}.")
    return {place: tuple(some) for place, some in said.items()}


def _several(keys: Sequence[Hashable | None]) -> Iterable[list[int]]:
    """The places of each key that is there more than once."""
    counted = Counter(keys)
    found: dict[Hashable, list[int]] = defaultdict(list)
    for place, key in enumerate(keys):
        if key is not None and counted[key] > 1:
            found[key].append(place)
    return found.values()


def _tell(said: dict[int, list[str]], entries: Sequence[Entry], places: list[int], sentence: str) -> None:
    for place in places:
        rows = ", ".join(str(entries[other].row) for other in places[:6] if other != place)
        said[place].append(sentence.format(rows))
