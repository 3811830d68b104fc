"""From visits to the fleet's observations, one visit after another; only a few numbers of each are kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from computations.catalogue import READINGS, TAPES, ReadingKey
from computations.details import Details, details_of
from computations.fleet.observations import Datum, Observations, Sizes
from computations.inputs import Assumptions, Instrument, Reading, Visit
from computations.layout import effective_key, locate, usable
from computations.sources import SOURCES

# What is marked or stretched anew at every visit is another length each time.
PLACED_ANEW = frozenset({"string_to_sheer", "string_to_band", "mark_spacing", "mark_to_sheer"})
BY_BOOM = frozenset({"foot_distance", "boom_depth"})


class TapeKey(NamedTuple):
    """One tape under one calibration; `since`: the calibration's day, or that of the first visit without one."""

    identifier: str
    calibration: str
    since: dt.date | None
    applied_mm_per_m: float | None  # what its calibration record says it reads long; None without a record
    certificate_u: float | None  # standard uncertainty of that in mm/m; None without a certificate


class Quantity(NamedTuple):
    """One physical length: a reading of one spar of one boat."""

    boat: str
    reading: str
    mast: str
    position: str
    spar: str  # the spar's identification: a new spar is a new length


@dataclass(frozen=True, slots=True)
class Fleet:
    """Observations and the names of everything they count."""

    observations: Observations
    tapes: tuple[TapeKey, ...]
    measurers: tuple[str, ...]
    kinds: tuple[str, ...]
    quantities: tuple[Quantity, ...]
    visits: tuple[str, ...]
    data: tuple[Datum, ...]

    @property
    def sizes(self) -> Sizes:
        return Sizes(len(self.tapes), len(self.measurers), len(self.kinds))


class _Count:
    """Numbers things in the order in which they come."""

    def __init__(self) -> None:
        self.numbers: dict[object, int] = {}

    def of(self, thing: object) -> int:
        return self.numbers.setdefault(thing, len(self.numbers))


@dataclass(slots=True)
class Gathering:
    """`add` every accepted visit, then `finish`. Visits without a date are passed over."""

    assumptions: Assumptions
    tapes: dict[tuple[str, str], TapeKey] = field(default_factory=dict)
    rows: list[tuple[int, ...]] = field(default_factory=list)  # boat, quantity, visit, tape, measurer, kind
    numbers: list[tuple[float, float, float]] = field(default_factory=list)  # day, value, own u
    shared: list[tuple[int, int, float]] = field(default_factory=list)
    counts: dict[str, _Count] = field(default_factory=dict)
    sources: int = 0

    def add(self, boat: str, measurer: str, visit: Visit) -> None:
        """One visit: every length read with one known tape, unless it is marked anew at every visit."""
        tapes = {one.identifier: one for one in visit.instruments if one.kind in TAPES}
        taken = _read_with_one_tape(visit, tapes)
        if visit.date is None or not taken:
            return
        used = replace(
            visit,
            readings=tuple(reading for some in taken.values() for reading in some),
            instruments=tuple(_bare(one) for one in tapes.values()),
        )
        layout, instruments = locate(used, self.assumptions)
        values = [one.value for one in used.readings]
        details = details_of(layout, used, instruments, layout.arguments(used, instruments, values))
        first = len(self.rows)
        for key, value, u in zip(details.keys, details.corrected, _own_u(details), strict=True):
            tape = tapes[taken[key][0].instrument]
            self.rows.append(self._row(boat, measurer, visit, key, tape))
            self.numbers.append((float(visit.date.toordinal()), float(value), float(u)))
        visit_wide = [j for j, key in enumerate(details.sources) if SOURCES[key.kind].scope == "visit"]
        for row, column in zip(*np.nonzero(details.effects[:, visit_wide]), strict=True):
            effect = float(details.effects[row, visit_wide[column]])
            self.shared.append((first + int(row), self.sources + int(column), effect))
        self.sources += len(visit_wide)

    def _row(self, boat: str, measurer: str, visit: Visit, key: ReadingKey, tape: Instrument) -> tuple[int, ...]:
        slug, mast, position = key
        quantity = Quantity(boat, slug, mast, position, _spar(visit, slug, mast))
        wanted = {"boat": boat, "quantity": quantity, "visit": visit.key, "tape": self._tape(tape, visit)}
        wanted |= {"measurer": measurer, "kind": slug}
        return tuple(self.counts.setdefault(name, _Count()).of(thing) for name, thing in wanted.items())

    def _tape(self, tape: Instrument, visit: Visit) -> tuple[str, str]:
        known = (tape.identifier, tape.calibration or str(tape.calibrated_on or ""))
        if known not in self.tapes:
            self.tapes[known] = _tape_key(tape, known[1], visit.date)
        elif tape.calibrated_on is None and visit.date and (since := self.tapes[known].since) and visit.date < since:
            self.tapes[known] = self.tapes[known]._replace(since=visit.date)
        return known

    def finish(self) -> Fleet:
        """The observations of lengths that were read in more than one visit."""
        rows = np.array(self.rows, np.int64).reshape(-1, 6)
        numbers = np.array(self.numbers).reshape(-1, 3)
        shared = np.array(self.shared).reshape(-1, 3)
        per_quantity = np.unique(rows[:, 1:3], axis=0)[:, 0] if len(rows) else rows[:, 0]
        keep = np.bincount(per_quantity, minlength=int(rows[:, 1].max(initial=0)) + 1)[rows[:, 1]] > 1
        new_row = np.cumsum(keep) - 1
        kept = keep[shared[:, 0].astype(np.int64)]
        boat, quantity, visit, tape, measurer, kind = rows[keep].T
        at, source = new_row[shared[kept, 0].astype(np.int64)], shared[kept, 1].astype(np.int64)
        day, value, u = numbers[keep].T
        observations = Observations(
            boat, quantity, visit, tape, measurer, kind, day, value, u, at, source, shared[kept, 2]
        )
        named = {name: list(count.numbers) for name, count in self.counts.items()}
        tapes = tuple(self.tapes[known] for known in self.counts["tape"].numbers) if named else ()  # type: ignore[index]
        return Fleet(
            observations,
            tapes,
            tuple(str(one) for one in named.get("measurer", ())),
            tuple(str(one) for one in named.get("kind", ())),
            tuple(one for one in named.get("quantity", ()) if isinstance(one, Quantity)),
            tuple(str(one) for one in named.get("visit", ())),
            tuple(_data(tapes)),
        )


def _read_with_one_tape(visit: Visit, tapes: dict[str, Instrument]) -> dict[ReadingKey, list[Reading]]:
    """The lengths this visit gives, with their takes; one whose takes are of several instruments is left out."""
    taken: dict[ReadingKey, list[Reading]] = {}
    for reading in usable(visit.readings):
        key = effective_key(visit.rig, reading.slug, reading.mast, reading.position)
        if key is not None and READINGS[key[0]].quantity == "length" and READINGS[key[0]].feeds:
            taken.setdefault(key, []).append(reading)
    return {
        key: some
        for key, some in taken.items()
        if key[0] not in PLACED_ANEW
        and some[0].instrument in tapes
        and all(one.instrument == some[0].instrument for one in some)
    }


def _bare(tape: Instrument) -> Instrument:
    """The tape without what is known of its scale, which is the unknown here; its temperature still counts."""
    return replace(tape, calibration_error=0.0, calibration_u=None, limit_of_error=None, accuracy_class="II")


def _own_u(details: Details) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    own = [j for j, key in enumerate(details.sources) if SOURCES[key.kind].scope == "reading"]
    u: np.ndarray[tuple[int], np.dtype[np.float64]] = np.sqrt((details.effects[:, own] ** 2).sum(axis=1))
    return u


def _spar(visit: Visit, slug: str, mast: str) -> str:
    if slug == "pole_length":
        return visit.rig.pole_identification
    described = visit.rig.mast(mast)
    if described is None:
        return ""
    return described.boom_identification if slug in BY_BOOM else described.mast_identification


def _tape_key(tape: Instrument, calibration: str, day: dt.date | None) -> TapeKey:
    nominal = tape.nominal_length_mm
    applied = u = None
    if calibration and nominal:
        applied = -1000.0 * tape.calibration_error / nominal + 0.0  # the record says true minus indicated
        u = None if not tape.calibration_u else 1000.0 * tape.calibration_u / nominal
    return TapeKey(tape.identifier, calibration, tape.calibrated_on or day, applied, u)


def _data(tapes: Iterable[TapeKey]) -> Iterable[Datum]:
    for number, tape in enumerate(tapes):
        if tape.certificate_u and tape.applied_mm_per_m is not None:
            yield Datum(number, tape.applied_mm_per_m, tape.certificate_u)
