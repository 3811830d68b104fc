"""The rows of a spot check: each reading its items are made of, its takes, and what was typed into its form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from computations.catalogue import ReadingKind
from office.audit.refusals import NotAllowed, Refusal
from office.certificates import snapshot
from office.people.models import Person
from office.racing import spot_checks
from office.racing.models import SpotCheck, SpotReading
from office.racing.spot_figures import readings_of, standing_readings
from surveys.queries import usable_instruments
from surveys.reading_rows import UNITS
from surveys.reading_words import instrument_words, place_words
from surveys.row_keys import row_key

INPUTS = ("value", "unit", "instrument", "position")


@dataclass(frozen=True, slots=True)
class Tool:
    """An instrument that a reading of this check can be taken with."""

    identifier: str
    kind: str
    words: str


@dataclass(slots=True)
class SpotRow:
    """`position`: the side, or the halyard's name; `open_position` where a halyard is yet to be named."""

    kind: ReadingKind
    mast: str
    position: str
    open_position: bool = False
    takes: list[SpotReading] = field(default_factory=list)
    tools: list[Tool] = field(default_factory=list)
    typed: dict[str, str] = field(default_factory=dict)
    error: str = ""

    @property
    def key(self) -> str:
        return row_key(self.kind, self.mast, self.position, open_position=self.open_position)

    @property
    def name(self) -> str:
        return place_words(self.kind, self.mast, self.position)

    @property
    def units(self) -> tuple[str, ...]:
        return UNITS[self.kind.quantity]

    @property
    def unit(self) -> str:
        return self.typed.get("unit") or self.kind.unit

    @property
    def value(self) -> str:
        return self.typed.get("value", "")

    @property
    def named(self) -> str:
        return self.typed.get("position", "")

    @property
    def instrument(self) -> str:
        """As typed; else that of the last take; else the only one of this kind."""
        if "instrument" in self.typed:
            return self.typed["instrument"]
        if self.takes:
            return self.takes[-1].instrument
        return self.tools[0].identifier if len(self.tools) == 1 else ""


def tools_of(spot: SpotCheck) -> list[Tool]:
    """The inspector's own first, then the office's kit that is in use on the day."""
    own = [
        Tool(one.identifier, one.kind, f"{one.identifier}, {one.kind.replace('_', ' ')}, the inspector's own")
        for one in spot.instruments.all()
    ]
    return own + [Tool(one.identifier, one.kind, instrument_words(one)) for one in usable_instruments(spot.day)]


def rows_of(spot: SpotCheck) -> list[SpotRow]:
    rig = snapshot.rig_of(snapshot.read(spot.certificate))
    takes: dict[tuple[str, str, str], list[SpotReading]] = {}
    for one in standing_readings(spot):
        takes.setdefault((one.slug, one.mast, one.position), []).append(one)
    tools = tools_of(spot)
    rows = []
    for kind, mast, side in readings_of([(slug, mast) for slug, mast in spot.items], rig):
        fitting = [tool for tool in tools if tool.kind in kind.instrument_kinds]
        if not kind.named_position:
            rows.append(SpotRow(kind, mast, side, takes=takes.get((kind.slug, mast, side), []), tools=fitting))
            continue
        for (slug, where, name), there in sorted(takes.items()):
            if (slug, where) == (kind.slug, mast):
                rows.append(SpotRow(kind, mast, name, takes=there, tools=fitting))
        rows.append(SpotRow(kind, mast, "", open_position=True, tools=fitting))
    return rows


def read_form(rows: Iterable[SpotRow], sent: Mapping[str, Any]) -> None:
    """What was typed into each row, kept with it."""
    for row in rows:
        row.typed = {name: str(sent[f"{row.key}-{name}"])[:200] for name in INPUTS if f"{row.key}-{name}" in sent}


def store(by: Person, spot: SpotCheck, rows: Iterable[SpotRow]) -> int:
    """Records every row into which a value was typed; those that cannot be taken keep it, with the sentence why."""
    stored = 0
    for row in rows:
        if not row.value.strip():
            continue
        try:
            spot_checks.record_reading(
                by=by, spot=spot, slug=row.kind.slug, mast=row.mast,
                position=row.named if row.open_position else row.position, text=row.value,
                unit=row.typed.get("unit", ""), instrument=row.typed.get("instrument", ""),
            )  # fmt: skip
        except NotAllowed:
            raise
        except Refusal as refusal:
            row.error = str(refusal)
        else:
            stored += 1
            row.typed.pop("value")
    return stored
