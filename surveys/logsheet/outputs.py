"""From a visit, as the office holds it, to the log sheet that carries it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from computations.catalogue import READINGS
from computations.inputs import Instrument, Mast, Reading, Visit
from surveys.logsheet.document import LogSheet, Row

# What the file calls an item, and where the computations keep it.
_VISIT_TEXTS = ("boat", "sail_number", "design", "date", "place", "measurer", "interest")
_RIG_ITEMS = ("rig_type", "inner_forestay", "outrigger", "pole_identification")
_MAST_ITEMS = {
    "mast_identification": "mast_identification",
    "mast_material": "material",
    "spreader_pairs": "spreader_pairs",
    "runner_pairs": "runner_pairs",
    "jumper_pairs": "jumper_pairs",
    "checkstays": "checkstays",
    "rigging_material": "rigging_material",
    "upper_band": "upper_band",
    "band_contrast": "band_contrast",
    "mast_state": "state",
    "boom_identification": "boom_identification",
}


def from_inputs(visit: Visit) -> LogSheet:
    """The visit as a log sheet. What is not known has no row; a reading keeps the writing of its measurer."""
    return LogSheet.of(_rows(visit))


def _rows(visit: Visit) -> Iterator[Row]:
    for item in _VISIT_TEXTS:
        if value := _text(getattr(visit, item)):
            yield Row("visit", item, value)
    if visit.air_temperature_c is not None:
        yield Row("visit", "air_temperature", _number(visit.air_temperature_c), "degC")
    for item in _RIG_ITEMS:
        if value := _text(getattr(visit.rig, item)):
            yield Row("rig", item, value)
    for mast in visit.rig.masts:
        yield from _mast_rows(mast)
    for one in visit.preparation:
        yield Row("rig", one.item, one.answer, mast=one.mast, remark=one.remark)
    for instrument in visit.instruments:
        yield from _instrument_rows(instrument)
    for reading in visit.readings:
        yield _reading_row(reading)


def _text(value: object) -> str:
    """The value as a file says it; empty for what is not known."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _number(value: float) -> str:
    """The shortest decimal that is read as the same number, without exponent; at most 12 decimals, as read."""
    text = f"{round(Decimal(repr(value)), 12):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _mast_rows(mast: Mast) -> Iterator[Row]:
    for item, attribute in _MAST_ITEMS.items():
        if value := _text(getattr(mast, attribute)):
            yield Row("rig", item, value, mast=mast.name)


def _instrument_rows(instrument: Instrument) -> Iterator[Row]:
    def row(item: str, value: str, unit: str = "") -> Row:
        return Row("instrument", item, value, unit, instrument=instrument.identifier)

    error_unit = "kg" if instrument.kind == "scale" else "mm"
    yield row("kind", instrument.kind)
    if instrument.accuracy_class:
        yield row("accuracy_class", instrument.accuracy_class)
    if instrument.limit_of_error is not None:
        yield row("limit_of_error", _number(instrument.limit_of_error), error_unit)
    if instrument.nominal_length_mm is not None:
        yield row("nominal_length", _number(instrument.nominal_length_mm), "mm")
    if instrument.calibrated_on is not None:
        if instrument.nominal_length_mm is not None or instrument.kind == "scale":
            yield row("calibration_error", _number(instrument.calibration_error), error_unit)
        yield row("calibrated_on", instrument.calibrated_on.isoformat())
    if instrument.due_on is not None:
        yield row("due_on", instrument.due_on.isoformat())
    if instrument.reference_temperature_c != 20.0:
        yield row("reference_temperature", _number(instrument.reference_temperature_c), "degC")


def _reading_row(reading: Reading) -> Row:
    written, unit = reading.written, reading.unit_written
    if not written:
        written, unit = _number(reading.value), READINGS[reading.slug].unit
    return Row(
        "reading",
        reading.slug,
        written,
        unit,
        reading.mast,
        reading.position,
        reading.take,
        reading.instrument,
        reading.remark,
    )
