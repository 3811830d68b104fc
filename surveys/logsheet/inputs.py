"""From a log sheet to what the computations take, and back from a stored visit to a log sheet."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from computations.catalogue import READINGS
from computations.inputs import (
    PREPARATION_ITEMS,
    Instrument,
    Mast,
    Preparation,
    Reading,
    Rig,
    Visit,
)
from surveys.logsheet import csv_file
from surveys.logsheet.cells import quantity, temperature_c
from surveys.logsheet.document import LogSheet, Row
from surveys.logsheet.fields import INSTRUMENT_FIELDS, VISIT_FIELDS, Field
from surveys.logsheet.rows import kind_of_unit
from surveys.logsheet.table import table_of
from surveys.logsheet.whole import masts_of


@dataclass(frozen=True, slots=True)
class Difference:
    """What a file says of an instrument against the office's record, which wins. Values in mm, kg or degC."""

    identifier: str
    field: str
    file_value: object
    stored_value: object


def to_inputs(
    sheet: LogSheet, stored_instruments: Mapping[str, Instrument] | None = None, *, key: str = ""
) -> tuple[Visit, list[Difference]]:
    """The visit as the computations take it, and where the file's instruments differ from the office's records.

    `stored_instruments` maps identifiers to the records under the calibration of the visit's day; each wins over the
    file's rows. `key` identifies the visit; left empty it is made from the content, so that the same sheet read
    twice is the same visit.
    """
    stored = stored_instruments or {}
    declared = _declared(sheet)
    differences = [
        difference
        for identifier, (instrument, items) in declared.items()
        if identifier in stored
        for difference in _differences(instrument, stored[identifier], items)
    ]
    used = {row.instrument for row in sheet.record("reading") if row.instrument}
    instruments = {
        identifier: stored.get(identifier) or declared[identifier][0]
        for identifier in sorted({*declared, *used})
        if identifier in stored or identifier in declared
    }
    temperature = sheet.visit("air_temperature")
    day = _said(sheet.visit("date"))
    visit = Visit(
        key=key or hashlib.sha256(csv_file.write_table(table_of(sheet))).hexdigest()[:16],
        boat=_said(sheet.visit("boat")),
        sail_number=_said(sheet.visit("sail_number")),
        design=_said(sheet.visit("design")),
        date=dt.date.fromisoformat(day) if day else None,
        place=_said(sheet.visit("place")),
        measurer=_said(sheet.visit("measurer")),
        air_temperature_c=float(temperature_c(temperature.value, temperature.unit, VISIT_FIELDS["air_temperature"]))
        if temperature
        else None,
        interest=_said(sheet.visit("interest")) or "none",
        rig=_rig(sheet),
        instruments=tuple(instruments.values()),
        readings=tuple(_reading(row) for row in sheet.record("reading")),
        preparation=tuple(
            Preparation(item=row.item, answer=row.value, mast=row.mast, remark=row.remark)
            for row in sheet.record("rig")
            if row.item in PREPARATION_ITEMS
        ),
    )
    return visit, differences


def _said(row: Row | None) -> str:
    return row.value if row else ""


def _answer(row: Row | None) -> bool | None:
    return None if row is None else row.value == "yes"


def _count(row: Row | None) -> int | None:
    return None if row is None else int(row.value)


def _reading(row: Row) -> Reading:
    return Reading(
        slug=row.item,
        value=float(quantity(row.value, row.unit, READINGS[row.item].quantity)),
        mast=row.mast,
        position=row.position,
        take=row.take,
        instrument=row.instrument,
        written=row.value,
        unit_written=row.unit,
        remark=row.remark,
    )


def _rig(sheet: LogSheet) -> Rig:
    """The rig as described; what the file has no word for follows from the readings that were taken."""
    rig_type = _said(sheet.rig("rig_type"))
    taken = {(row.item, row.mast) for row in sheet.record("reading")}
    slugs = {slug for slug, _ in taken}
    described = {row.mast for row in sheet.record("rig")}
    pole = _said(sheet.rig("pole_identification"))
    outrigger = _answer(sheet.rig("outrigger"))
    return Rig(
        rig_type=rig_type or "sloop",
        masts=tuple(_mast(sheet, name, taken) for name in masts_of(rig_type or None, described)),
        inner_forestay=_answer(sheet.rig("inner_forestay")),
        outrigger=outrigger if outrigger is not None else "outrigger_reach" in slugs,
        pole_identification=pole,
        spinnaker=True if "spinnaker_halyard_above_band" in slugs else None,
        pole=True if pole or "pole_length" in slugs else None,
        bowsprit=True if "bowsprit_tack_reach" in slugs else None,
        headsail_foil=True if "foil_fore_aft" in slugs else None,
    )


def _mast(sheet: LogSheet, name: str, taken: set[tuple[str, str]]) -> Mast:
    upper_band = _answer(sheet.rig("upper_band", name))
    if upper_band is None:
        upper_band = ("luff_to_sheave", name) not in taken or ("luff_between_bands", name) in taken
    return Mast(
        name=name,
        material=_said(sheet.rig("mast_material", name)) or None,
        spreader_pairs=_count(sheet.rig("spreader_pairs", name)),
        runner_pairs=_count(sheet.rig("runner_pairs", name)),
        jumper_pairs=_count(sheet.rig("jumper_pairs", name)),
        checkstays=_answer(sheet.rig("checkstays", name)),
        rigging_material=_said(sheet.rig("rigging_material", name)) or None,
        upper_band=upper_band,
        band_contrast=_answer(sheet.rig("band_contrast", name)),
        state=_said(sheet.rig("mast_state", name)) or None,
        mast_identification=_said(sheet.rig("mast_identification", name)),
        boom_identification=_said(sheet.rig("boom_identification", name)),
    )


def _declared(sheet: LogSheet) -> dict[str, tuple[Instrument, set[str]]]:
    """The file's instruments, each with the fields the file states."""
    rows: dict[str, dict[str, Row]] = {}
    for row in sheet.record("instrument"):
        rows.setdefault(row.instrument, {})[row.item] = row
    return {identifier: _instrument(identifier, items) for identifier, items in rows.items()}


# What the file calls an item against what the computations call it, where the two differ.
_FIELD_OF = {
    "nominal_length": "nominal_length_mm",
    "reference_temperature": "reference_temperature_c",
}


def _instrument(identifier: str, items: Mapping[str, Row]) -> tuple[Instrument, set[str]]:
    kind = items["kind"].value if "kind" in items else Instrument(identifier).kind
    values: dict[str, Any] = {
        _FIELD_OF.get(item, item): _instrument_value(kind, row, INSTRUMENT_FIELDS[item]) for item, row in items.items()
    }
    if "calibrated_on" in values:
        # The day of its calibration tells one record from the next.
        values["calibration"] = items["calibrated_on"].value
    return Instrument(identifier=identifier, **values), {_FIELD_OF.get(item, item) for item in items}


def _instrument_value(kind: str, row: Row, field: Field) -> str | float | dt.date:
    match field.form:
        case "word":
            return row.value
        case "date":
            return dt.date.fromisoformat(row.value)
        case "temperature":
            return float(temperature_c(row.value, row.unit or "degC", field))
        case "length":
            return float(quantity(row.value, row.unit, "length"))
        case _:
            by_unit = "mass" if kind == "scale" else kind_of_unit(row.value, row.unit)
            return float(quantity(row.value, row.unit, by_unit))


def _differences(file: Instrument, stored: Instrument, fields: set[str]) -> list[Difference]:
    return [
        Difference(file.identifier, field, getattr(file, field), getattr(stored, field))
        for field in sorted(fields)
        if getattr(file, field) != getattr(stored, field)
    ]
