"""What a log sheet may say besides its readings: one line for each item, with the form its value takes.

Readings are not listed here: they come from the catalogue. Longest texts are those the office's records hold.
"""

from __future__ import annotations

from dataclasses import dataclass

from computations.inputs import (
    ANSWERS,
    INSTRUMENT_KINDS,
    INTERESTS,
    MAST_MATERIALS,
    PREPARATION_ITEMS,
    RIG_TYPES,
    RIGGING_MATERIALS,
)

COLUMNS = ("record", "item", "mast", "position", "take", "value", "unit", "instrument", "remark")
# A row still says something without these; without one of the others it says nothing.
OPTIONAL_COLUMNS = frozenset({"mast", "take", "unit", "remark"})
RECORDS = ("visit", "rig", "instrument", "reading")

MOST_COLUMNS = 64  # more than anyone fills by mistake
LARGEST_FILE = 2 * 1024 * 1024  # bytes
MOST_ROWS = 5_000  # rows that say something; blank and comment lines are free
LONGEST_REMARK = 200
LONGEST_POSITION = 40
LONGEST_INSTRUMENT = 20
LONGEST_WRITTEN = 40  # a reading's value
LONGEST_UNIT = 12
MOST_TAKES = 99
MOST_POSITIONS = 12  # halyards of one mast that bear a name (common practice, no source)

MAST_STATES = ("ashore", "stepped")
ACCURACY_CLASSES = ("I", "II", "III")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One item. `form` names how its value is read; `per_mast` says whether each mast has its own.

    Bounds are in mm, kg or degrees Celsius, wide enough for anything afloat (common practice, no source): they
    catch a slipped decimal, not a poor figure.
    """

    form: str  # text | word | yes_no | date | count | temperature | length | error
    longest: int = 0
    words: tuple[str, ...] = ()
    per_mast: bool = False
    least: float = 0.0
    most: float = 0.0
    future: bool = False


def _mast(form: str, **more: object) -> Field:
    return Field(form=form, per_mast=True, **more)  # type: ignore[arg-type]


VISIT_FIELDS: dict[str, Field] = {
    "boat": Field(form="text", longest=80),
    "sail_number": Field(form="text", longest=20),
    "design": Field(form="text", longest=80),
    "date": Field(form="date"),
    "place": Field(form="text", longest=120),
    "measurer": Field(form="text", longest=120),
    "air_temperature": Field(form="temperature", least=-50.0, most=60.0),
    "interest": Field(form="word", words=INTERESTS),
}

RIG_FIELDS: dict[str, Field] = {
    "rig_type": Field(form="word", words=RIG_TYPES),
    "inner_forestay": Field(form="yes_no"),
    "outrigger": Field(form="yes_no"),
    "pole_identification": Field(form="text", longest=60),
    "mast_identification": _mast("text", longest=60),
    "mast_material": _mast("word", words=MAST_MATERIALS),
    "spreader_pairs": _mast("count", most=12),
    "runner_pairs": _mast("count", most=12),
    "jumper_pairs": _mast("count", most=12),
    "checkstays": _mast("yes_no"),
    "rigging_material": _mast("word", words=RIGGING_MATERIALS),
    "upper_band": _mast("yes_no"),
    "band_contrast": _mast("yes_no"),
    "mast_state": _mast("word", words=MAST_STATES),
    "boom_identification": _mast("text", longest=60),
    **{item: _mast("word", words=ANSWERS) for item in PREPARATION_ITEMS},
}

INSTRUMENT_FIELDS: dict[str, Field] = {
    "kind": Field(form="word", words=INSTRUMENT_KINDS),
    "accuracy_class": Field(form="word", words=ACCURACY_CLASSES),
    "limit_of_error": Field(form="error", least=0.0, most=100.0),
    "nominal_length": Field(form="length", least=1.0, most=200_000.0),
    "calibration_error": Field(form="error", least=-100.0, most=100.0),
    "calibrated_on": Field(form="date"),
    "due_on": Field(form="date", future=True),
    "reference_temperature": Field(form="temperature", least=-50.0, most=60.0),
}

# A reading's own bounds (common practice, no source): no mast is 120 m high, no scale lifts 20 t.
LARGEST_LENGTH_MM = 120_000.0
LARGEST_MASS_KG = 20_000.0
# These divide other readings, or are a thing's own size: nought makes no sense.
MAY_BE_NOUGHT = frozenset({"taper_length", "forestay_to_bow", "string_to_band", "sling_weight"})
