"""One cell at a time: each form a value may take, made canonical or refused with what was expected.

Every function returns the text to keep. Numbers keep the writing of the measurer; words, answers and dates have only
one writing each.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Iterable
from fractions import Fraction

from computations import units
from surveys.logsheet.errors import shown
from surveys.logsheet.fields import Field

EARLIEST = dt.date(1900, 1, 1)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_WHOLE = re.compile(r"\d{1,4}", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3},\d{3}", re.ASCII)
_ANSWERS = {"yes": "yes", "true": "yes", "no": "no", "false": "no"}
TEMPERATURE_UNITS = ("degC", "degF")
LONGEST_HINTED = 60  # longer texts are near to nothing, and slow to compare
MOST_HINTS = 200
DEFAULT_UNITS = {"length": "mm", "mass": "kg"}


class Unfit(ValueError):
    """The text does not fit the form; the message says what was expected, `column` where that is not the value."""

    def __init__(self, expected: str, column: str = "value") -> None:
        super().__init__(expected)
        self.expected = expected
        self.column = column


def listed(words: Iterable[str]) -> str:
    """Words as people list them: "a, b or c"."""
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def nearest(text: str, known: Iterable[str]) -> str:
    """A hint at the nearest known word, or nothing where none is near."""
    by_small = {word.casefold(): word for word in known}
    if len(text) > LONGEST_HINTED or len(by_small) > MOST_HINTS:
        return ""
    close = difflib.get_close_matches(text.casefold(), by_small, n=1, cutoff=0.6)
    return f" (the nearest is {by_small[close[0]]})" if close else ""


def text(value: str, longest: int, column: str = "value") -> str:
    """Any text of at most `longest` characters."""
    if len(value) > longest:
        raise Unfit(f"at most {longest} characters instead of {len(value)}", column)
    return value


def word(value: str, words: tuple[str, ...], column: str = "value") -> str:
    """One of the words, in any case; blanks and hyphens stand for underscores."""
    plain = re.sub(r"[ -]+", "_", value).casefold()
    for one in words:
        if plain == one.casefold():
            return one
    raise Unfit(listed(words), column)


def yes_no(value: str) -> str:
    answer = _ANSWERS.get(value.casefold())
    if answer is None:
        raise Unfit("yes, no, true or false")
    return answer


def date(value: str, today: dt.date, *, future: bool = False) -> str:
    """A day of the calendar as YYYY-MM-DD; one that is still to come only where `future` allows it."""
    expected = "a date as YYYY-MM-DD, such as 2026-05-14"
    if not _DATE.fullmatch(value):
        raise Unfit(expected)
    try:
        day = dt.date.fromisoformat(value)
    except ValueError:
        raise Unfit("a day that exists, as YYYY-MM-DD") from None
    if day < EARLIEST:
        raise Unfit(f"a date from {EARLIEST} on")
    if day > today and not future:
        raise Unfit(f"a date that is not in the future (today is {today})")
    return value


def whole(value: str, least: int, most: int, column: str = "value") -> str:
    """A whole number within its bounds, without leading noughts."""
    if not _WHOLE.fullmatch(value) or not least <= int(value) <= most:
        raise Unfit(f"a whole number from {least} to {most}", column)
    return str(int(value))


def temperature_c(value: str, unit: str, field: Field) -> Fraction:
    """A temperature in degrees Celsius, exactly."""
    if unit not in TEMPERATURE_UNITS:
        raise Unfit(listed(TEMPERATURE_UNITS), "unit")
    try:
        units.parse_number(value)
        celsius = units.parse_temperature(value, unit)
    except units.UnitError as error:
        raise Unfit(error.expected) from None
    if not field.least <= celsius <= field.most:
        raise Unfit(f"a temperature from {field.least:g} to {field.most:g} degC")
    return celsius


def quantity(value: str, unit: str, kind: str) -> Fraction:
    """A length in mm or a mass in kg, exactly. `kind` is "length" or "mass"; an empty unit means mm or kg.

    "15,286" in mm is refused: nobody reads micrometres off a tape, so the comma most likely sets off thousands.
    """
    default = DEFAULT_UNITS[kind]
    if _GROUPED.fullmatch(value) and unit in ("", default):
        plain, point = value.replace(",", ""), value.replace(",", ".")
        raise Unfit(f"no thousands separator: {plain}, or {point} if the comma is a decimal one")
    try:
        (units.mass_factor if kind == "mass" else units.length_factor)(unit or default)
    except units.UnitError as error:
        raise Unfit(error.expected, "unit") from None
    try:
        return (units.parse_mass if kind == "mass" else units.parse_length)(value, unit or default)
    except units.UnitError as error:
        expected = error.expected
        if expected.startswith("a unit "):
            example = units.A_MASS if kind == "mass" else units.A_LENGTH
            expected = f"{example} (“{shown(error.found)}” is no unit of {kind})"
        raise Unfit(expected) from None


def within(amount: Fraction, least: float, most: float, unit: str) -> Fraction:
    if not least <= amount <= most:
        raise Unfit(f"from {least:g} to {most:g} {unit}")
    return amount
