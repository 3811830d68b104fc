"""A reading said back to whoever typed it, and the name devices know it by."""

from __future__ import annotations

import hashlib

from computations import words
from computations.catalogue import READINGS, ReadingKind
from computations.rounding import format_number
from surveys.models import Instrument, Reading


def read_back(reading: Reading) -> str:
    """The figure once more, in digits and in words: "15 286 mm: fifteen thousand two hundred … millimetres"."""
    kind = READINGS[reading.slug]
    if reading.value is None:
        return "taken away"
    decimals = 0 if float(reading.value).is_integer() else 1
    digits = f"{format_number(reading.value, decimals)} {kind.unit}"
    said = f"{digits}: {words.with_unit(reading.value, kind.unit, decimals)}"
    plain = reading.unit_written in ("", kind.unit) and not any(
        sign.isalpha() or sign in "'\"" for sign in reading.written
    )
    return said if plain else f"{reading.as_written} is {said}"


def place_words(kind: ReadingKind, mast: str, position: str) -> str:
    """The reading's plain name with its side or halyard, and the mast where it is not the main one."""
    return ", ".join(part for part in (kind.name, position, f"{mast} mast" if mast != "main" else "") if part)


def instrument_words(instrument: Instrument) -> str:
    """T-03, steel tape, 30 m."""
    length = f"{instrument.nominal_length_mm / 1000:g} m" if instrument.nominal_length_mm else ""
    return ", ".join(part for part in (instrument.identifier, instrument.kind.replace("_", " "), length) if part)


def reading_token(reading: Reading, visit_key: str) -> str:
    """The reading's token; for one that no device made, a name of the same form that no one can guess a row from."""
    if reading.token:
        return reading.token
    digest = hashlib.sha256(f"reading {visit_key} {reading.pk}".encode()).hexdigest()
    return f"stored-{digest[:32]}"
