"""The rows of the readings page: what this rig can have, as a measurer walks, with what was read and typed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from computations.catalogue import READINGS, STATIONS, ReadingKind, applicable_readings, required_readings
from computations.inputs import Rig
from office.audit.refusals import Refusal
from office.people.models import Person
from surveys.actions import record_reading
from surveys.actions.readings import TakeExists
from surveys.inputs import rig_inputs
from surveys.models import AbsentReading, Instrument, Query, Reading, Visit
from surveys.queries import absences_of, current_readings, usable_instruments
from surveys.row_keys import row_key
from surveys.values import Unreadable, unit_beside

UNITS = {"length": ("mm", "cm", "m", "in", "ft"), "mass": ("kg", "lb")}
# Typed into a row; each has its own input, named KEY-value and so on.
INPUTS = ("value", "unit", "instrument", "remark", "position", "take")


@dataclass(slots=True)
class ReadingRow:
    """One reading of one mast, side or halyard: the takes there are, and the inputs for the next one."""

    kind: ReadingKind
    mast: str
    position: str
    required: bool
    open_position: bool = False  # a halyard yet to be named
    takes: list[Reading] = field(default_factory=list)
    queries: list[Query] = field(default_factory=list)
    absent: AbsentReading | None = None  # "not on this rig", as far as it stands
    instruments: list[Instrument] = field(default_factory=list)
    default_instrument: str = ""
    typed: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Names the row in the page: safe in an id, the same from one request to the next."""
        return row_key(self.kind, self.mast, self.position, open_position=self.open_position)

    @property
    def next_take(self) -> int:
        return max((one.take for one in self.takes), default=0) + 1

    @property
    def units(self) -> tuple[str, ...]:
        return UNITS[self.kind.quantity]

    @property
    def typed_value(self) -> str:
        return self.typed.get("value", "")

    @property
    def typed_remark(self) -> str:
        return self.typed.get("remark", "")

    @property
    def typed_position(self) -> str:
        return self.typed.get("position", "")

    @property
    def unit(self) -> str:
        """As typed; else as the last take was written; else the reading's own."""
        last = self.takes[-1].unit_written if self.takes else ""
        return self.typed.get("unit") or (last if last in self.units else "") or self.kind.unit

    @property
    def instrument(self) -> str:
        """As typed; else that of the last take; else the only one there is."""
        if "instrument" in self.typed:
            return self.typed["instrument"]
        used = [one.instrument.identifier for one in self.takes if one.instrument]
        if used:
            return used[-1]
        return self.default_instrument

    @property
    def sent(self) -> bool:
        """Whether anything but the choices was typed into the row."""
        return bool(self.typed.get("value", "").strip() or self.typed.get("remark", "").strip())


def rows_of(visit: Visit) -> list[ReadingRow]:
    """Every row of the visit's rig; a halyard has one for each that is named, and one for another."""
    rig = rig_inputs(visit.rig) if visit.rig else Rig()
    takes = _takes(visit)
    queries = defaultdict(list)
    for query in visit.queries.filter(settled_at__isnull=True).select_related("asked_by", "answered_by"):
        queries[query.slug, query.mast, query.position].append(query)
    required = set(required_readings(rig))
    rows = []
    for slug, mast, side in applicable_readings(rig):
        kind = READINGS[slug]
        named = sorted({place for (s, m, place) in (*takes, *queries) if (s, m) == (slug, mast)})
        positions = [one for one in named if one] if kind.named_position else [side]
        needed = (slug, mast, side) in required
        rows += [ReadingRow(kind, mast, position, needed) for position in positions]
        if kind.named_position:
            rows.append(ReadingRow(kind, mast, "", needed and not positions, open_position=True))
    absent = {(one.slug, one.mast, one.position): one for one in absences_of(visit)}
    for row in rows:
        row.takes = takes.get((row.kind.slug, row.mast, row.position), [])
        row.absent = absent.get((row.kind.slug, row.mast, row.position))
        row.queries = queries.get((row.kind.slug, row.mast, row.position), [])
    _offer_instruments(visit, rows)
    return rows


def _takes(visit: Visit) -> dict[tuple[str, str, str], list[Reading]]:
    takes = defaultdict(list)
    for reading in current_readings(visit):
        takes[reading.slug, reading.mast, reading.position].append(reading)
    return dict(takes)


def _offer_instruments(visit: Visit, rows: list[ReadingRow]) -> None:
    """Each row offers the instruments that suit it; the one used last for its kind is chosen beforehand."""
    usable = usable_instruments(visit.date)
    last: dict[str, tuple[int, str]] = {}
    for row in rows:
        for take in row.takes:
            if take.instrument:
                kind = take.instrument.kind
                last[kind] = max(last.get(kind, (0, "")), (take.pk, take.instrument.identifier))
    for row in rows:
        row.instruments = [one for one in usable if one.kind in row.kind.instrument_kinds]
        row.default_instrument = _default(row, last)


def _default(row: ReadingRow, last: dict[str, tuple[int, str]]) -> str:
    """By the kinds that suit the reading, the best first: the one used last, or the only one there is."""
    for kind in row.kind.instrument_kinds:
        if kind in last:
            return last[kind][1]
        known = [one.identifier for one in row.instruments if one.kind == kind]
        if known:
            return known[0] if len(known) == 1 else ""  # of several unused ones the measurer says which
    return ""


def stations_of(rows: list[ReadingRow]) -> list[tuple[str, list[ReadingRow]]]:
    """The rows under the station they are taken at."""
    return [(title, [row for row in rows if row.kind.station == station]) for station, title in STATIONS.items()]


def take_typed(rows: Iterable[ReadingRow], data: Mapping[str, str]) -> None:
    """What was sent for each row, kept as it was typed."""
    for row in rows:
        for name in INPUTS:
            if (text := data.get(f"{row.key}-{name}")) is not None:
                row.typed[name] = text


def store(row: ReadingRow, *, by: Person, visit: Visit) -> Reading | None:
    """Record what was typed into the row; None where nothing was, or it is stored already. Errors stay in the row."""
    if not row.sent:
        return None
    chosen = row.typed.get("instrument", "")
    instrument = next((one for one in row.instruments if one.identifier == chosen), None)
    if chosen and instrument is None:
        row.errors["instrument"] = "Expected an instrument of the office that is in use."
        return None
    position = row.typed.get("position", "").strip() if row.open_position else row.position
    try:
        return record_reading(
            by=by,
            visit=visit,
            slug=row.kind.slug,
            mast=row.mast,
            position=position,
            take=_take(row),
            text=row.typed.get("value", ""),
            unit=_unit(row),
            instrument=instrument,
            remark=row.typed.get("remark", ""),
        )
    except Unreadable as refusal:
        name = refusal.field if refusal.field in INPUTS else "value"
        row.errors[name] = f"Expected {refusal.expected}."
    except TakeExists as refusal:
        stored = (refusal.reading.written, refusal.reading.unit_written)
        if stored != (row.typed.get("value", "").strip(), _unit(row)):
            row.errors["value"] = f"{refusal} What you typed is kept here."
        else:
            row.typed.clear()  # the button was pressed twice
    except Refusal as refusal:
        row.errors["value"] = str(refusal)
    return None


def _unit(row: ReadingRow) -> str:
    return unit_beside(row.kind, row.typed.get("value", ""), row.typed.get("unit", ""))


def _take(row: ReadingRow) -> int:
    """The take the form was made for, so that a form sent twice is not two takes."""
    text = row.typed.get("take", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else row.next_take
