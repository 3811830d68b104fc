"""Figures in English words, to be read back: 15286 is "fifteen thousand two hundred and eighty-six"."""

from __future__ import annotations

from decimal import Decimal

from computations.rounding import to_decimals

GREATEST = 999_999

_SMALL = (
    "nought", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
UNITS = {"mm": ("millimetre", "millimetres"), "kg": ("kilogram", "kilograms")}


def whole_in_words(number: int) -> str:
    """A whole number from 0 to 999,999. ValueError beyond."""
    if not 0 <= number <= GREATEST:
        raise ValueError(f"only 0 to {GREATEST} is said in words")
    thousands, rest = divmod(number, 1000)
    if not thousands:
        return _below_thousand(rest)
    head = f"{_below_thousand(thousands)} thousand"
    if not rest:
        return head
    return f"{head} {'and ' if rest < 100 else ''}{_below_thousand(rest)}"


def in_words(value: float, decimals: int = 0) -> str:
    """A figure rounded (ISO 80000-1, rule A) to so many decimals; each decimal is said by itself, noughts at the end
    are left out. ValueError beyond 999,999.
    """
    rounded = to_decimals(value, decimals)
    whole, _, fraction = f"{abs(rounded):f}".partition(".")
    said = whole_in_words(int(whole))
    if digits := fraction.rstrip("0"):
        said += " point " + " ".join(_SMALL[int(digit)] for digit in digits)
    return f"minus {said}" if rounded < 0 else said


def with_unit(value: float, unit: str, decimals: int = 0) -> str:
    """The figure with its unit's whole name: "one millimetre", "two point five kilograms"."""
    one, many = UNITS[unit]
    return f"{in_words(value, decimals)} {one if abs(to_decimals(value, decimals)) == Decimal(1) else many}"


def _below_thousand(number: int) -> str:
    hundreds, rest = divmod(number, 100)
    if not hundreds:
        return _below_hundred(rest)
    head = f"{_SMALL[hundreds]} hundred"
    return f"{head} and {_below_hundred(rest)}" if rest else head


def _below_hundred(number: int) -> str:
    if number < 20:
        return _SMALL[number]
    tens, ones = divmod(number, 10)
    return f"{_TENS[tens]}-{_SMALL[ones]}" if ones else _TENS[tens]
