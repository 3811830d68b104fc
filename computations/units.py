"""Lengths, masses and temperatures as people write them, converted exactly.

What a person typed is read by the grammars below and never given to the unit library as an expression: pint
would read "50 ft 1 13/16 in" as a product of feet and inches. Only a bare unit name is looked up in its registry.
Exact factors: 1 in = 25.4 mm, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

from computations.rounding import MINUS, nearest_multiple, written

MOST_CHARACTERS = 64

# The everyday names, so that the registry is not loaded for them; tests hold them against it.
LENGTHS = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "inch": Fraction(254, 10),
    "inches": Fraction(254, 10),
    "ft": Fraction(3048, 10),
    "foot": Fraction(3048, 10),
    "feet": Fraction(3048, 10),
}
MASSES = {
    "kg": Fraction(1),
    "g": Fraction(1, 1000),
    "lb": Fraction(45359237, 100_000_000),
    "lbs": Fraction(45359237, 100_000_000),
    "oz": Fraction(45359237, 1_600_000_000),
}
_CELSIUS = ("degc", "°c", "c", "celsius", "degree_celsius")
_FAHRENHEIT = ("degf", "°f", "f", "fahrenheit", "degree_fahrenheit")

_PRIMES = str.maketrans({"′": "'", "’": "'", "ʹ": "'", "″": '"', "”": '"', "ʺ": '"', "−": "-", "⁄": "/"})
_NUMBER = r"[0-9]{1,12}(?:[.,][0-9]{1,12})?"
_FRACTION = r"[0-9]{1,3}/[0-9]{1,4}"
_FEET = r"(?:feet|foot|ft\.?|')"
_INCHES = r"(?:inches|inch|in\.?|\"|'')"
_MIXED = rf"(?:(?P<whole>[0-9]{{1,6}})[ -]{{1,2}}(?P<part>{_FRACTION})|(?P<only>{_FRACTION})|(?P<inches>{_NUMBER}))"

_PLAIN = re.compile(rf"(?P<sign>[+-]?) ?(?P<number>{_NUMBER}) ?(?P<unit>[^\W\d_]\w{{0,39}}\.?)?")
_FEET_INCHES = re.compile(
    rf"(?P<sign>[+-]?) ?(?P<feet>{_NUMBER}) ?{_FEET}(?:(?:, ?|-| )?{_MIXED} ?{_INCHES})?", re.IGNORECASE
)
_ONLY_INCHES = re.compile(rf"(?P<sign>[+-]?) ?{_MIXED} ?{_INCHES}", re.IGNORECASE)
_FRACTION_ALONE = re.compile(rf"(?P<sign>[+-]?) ?{_MIXED}")
_POUNDS_OUNCES = re.compile(
    rf"(?P<sign>[+-]?) ?(?P<pounds>[0-9]{{1,6}}) ?lbs?\.?,? ?(?P<ounces>{_NUMBER}) ?oz\.?", re.IGNORECASE
)

A_LENGTH = "a length such as 15286, 15.286 m or 50 ft 1 13/16 in"
A_MASS = "a weight such as 142.5 or 314 lb"
A_TEMPERATURE = "a temperature such as 18.5, in degC or degF"


class UnitError(ValueError):
    """Something that is no length, mass or temperature: what was found, and what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"found “{found}”, expected {expected}")
        self.found = found
        self.expected = expected


def tidy(text: str) -> str:
    """One line, single spaces, plain primes, signs and fractions ("1½" becomes "1 1/2"). UnitError if too long."""
    if len(text) > MOST_CHARACTERS:
        raise UnitError(text[:MOST_CHARACTERS] + "…", f"at most {MOST_CHARACTERS} characters")
    pieces = []
    for character in text.translate(_PRIMES):
        if unicodedata.category(character) == "No" and "⁄" in (vulgar := unicodedata.normalize("NFKC", character)):
            pieces.append(" " + vulgar.replace("⁄", "/"))
        else:
            pieces.append(character)
    return " ".join("".join(pieces).split())


def parse_number(text: str) -> Fraction:
    """A plain number with a decimal point or a decimal comma, exactly; nothing else. Raises UnitError."""
    found = re.fullmatch(rf"([+-]?)({_NUMBER})", tidy(text))
    if found is None:
        raise UnitError(text, "a number with a decimal point or a decimal comma and no thousands separator")
    return _signed(found[1], _number(found[2]))


def parse_length(text: str, unit: str = "mm") -> Fraction:
    """The length in mm, exactly. A unit within the text goes before `unit`. Raises UnitError."""
    tidied = tidy(text)
    if found := _FEET_INCHES.fullmatch(tidied):
        _same_unit(text, unit, ("ft", "in") if found["whole"] or found["only"] or found["inches"] else ("ft",))
        return _feet_inches(text, found)
    if found := _ONLY_INCHES.fullmatch(tidied):
        _same_unit(text, unit, ("in",))
        return _signed(found["sign"], _mixed(text, found) * LENGTHS["in"])
    if (found := _FRACTION_ALONE.fullmatch(tidied)) and _factor(unit or "mm", "length") == LENGTHS["in"]:
        return _signed(found["sign"], _mixed(text, found) * LENGTHS["in"])
    return _plain(text, tidied, unit, "length", A_LENGTH)


def parse_mass(text: str, unit: str = "kg") -> Fraction:
    """The mass in kg, exactly. A unit within the text goes before `unit`. Raises UnitError."""
    tidied = tidy(text)
    if found := _POUNDS_OUNCES.fullmatch(tidied):
        ounces = _number(found["ounces"])
        if ounces >= 16:
            raise UnitError(text, "fewer than 16 ounces beside the pounds")
        return _signed(found["sign"], _number(found["pounds"]) * MASSES["lb"] + ounces * MASSES["oz"])
    return _plain(text, tidied, unit, "mass", A_MASS)


def parse_temperature(text: str, unit: str = "degC") -> Fraction:
    """The temperature in degrees Celsius, exactly. Raises UnitError."""
    found = re.fullmatch(rf"([+-]?) ?({_NUMBER}) ?(.{{0,20}})", tidy(text))
    if found is None:
        raise UnitError(text, A_TEMPERATURE)
    name = (found[3] or tidy(unit) or "degC").casefold().replace("° ", "°")
    value = _signed(found[1], _number(found[2]))
    if name in _CELSIUS:
        celsius = value
    elif name in _FAHRENHEIT:
        celsius = (value - 32) * Fraction(5, 9)
    else:
        raise UnitError(found[3] or unit, "degC or degF")
    if celsius < Fraction("-273.15"):
        raise UnitError(text, "a temperature above absolute zero")
    return celsius


def length_factor(unit: str) -> Fraction:
    """Millimetres in one `unit`, exactly ("" is mm). Raises UnitError."""
    return _factor(unit or "mm", "length")


def mass_factor(unit: str) -> Fraction:
    """Kilograms in one `unit`, exactly ("" is kg). Raises UnitError."""
    return _factor(unit or "kg", "mass")


def _plain(text: str, tidied: str, unit: str, quantity: str, expected: str) -> Fraction:
    found = _PLAIN.fullmatch(tidied)
    if found is None:
        raise UnitError(text, expected)
    if own := found["unit"]:
        try:
            _factor(own, quantity)
        except UnitError as error:
            raise UnitError(text, error.expected) from None
        _same_unit(text, unit, (own,), quantity)
    factor = _factor(own or unit or ("mm" if quantity == "length" else "kg"), quantity)
    return _signed(found["sign"], _number(found["number"]) * factor)


def _same_unit(text: str, column: str, own: tuple[str, ...], quantity: str = "length") -> None:
    """A unit written beside the value may be the default or one of the value's own, but not contradict it."""
    default = "mm" if quantity == "length" else "kg"
    if column in ("", default):
        return
    if _factor(column, quantity) not in [_factor(name, quantity) for name in own]:
        raise UnitError(text, f"a value in {column}, as the unit beside it says")


def _feet_inches(text: str, found: re.Match[str]) -> Fraction:
    feet = _number(found["feet"])
    inches = Fraction(0)
    if found["whole"] or found["only"] or found["inches"]:
        if feet.denominator != 1:
            raise UnitError(text, "whole feet where inches follow")
        inches = _mixed(text, found)
        if inches >= 12:
            raise UnitError(text, "fewer than 12 inches beside the feet")
    return _signed(found["sign"], feet * LENGTHS["ft"] + inches * LENGTHS["in"])


def _mixed(text: str, found: re.Match[str]) -> Fraction:
    """Inches as "1 13/16", "13/16" or "1.8125"."""
    if found["inches"]:
        return _number(found["inches"])
    above, below = (int(piece) for piece in (found["part"] or found["only"]).split("/"))
    if not 0 < above < below:
        raise UnitError(text, "a fraction of an inch between 0 and 1, such as 13/16")
    return int(found["whole"] or 0) + Fraction(above, below)


def _number(digits: str) -> Fraction:
    return Fraction(digits.replace(",", "."))


def _signed(sign: str, value: Fraction) -> Fraction:
    return -value if sign == "-" else value


@lru_cache(maxsize=512)
def _factor(unit: str, quantity: str) -> Fraction:
    """How many mm or kg one `unit` is, exactly; everyday names from the tables, all others from pint's registry."""
    name = tidy(unit).removesuffix(".")
    known = LENGTHS if quantity == "length" else MASSES
    # Capitals all through ("MM") mean the everyday unit, "Mm" the megametre it is.
    everyday = known.get(name) or known.get(name.casefold() if name.isupper() else "")
    if everyday is not None:
        return everyday
    expected = f"a unit of {quantity}, such as " + ("mm, m, in or ft" if quantity == "length" else "kg or lb")
    if not re.fullmatch(r"[^\W\d]\w{0,39}", name):
        raise UnitError(unit, expected)
    factor = _factor_from_registry(name, "[length]" if quantity == "length" else "[mass]")
    if factor is None:
        raise UnitError(unit, expected)
    if factor.denominator % 3937 == 0:
        # 1200/3937 m: the US survey foot and everything still defined by it, retired at the end of 2022.
        raise UnitError(unit, "a unit of the international foot (0.3048 m); US survey units are retired")
    return factor


def _factor_from_registry(name: str, dimension: str) -> Fraction | None:
    registry = _registry()
    readings = registry.parse_unit_name(name)
    if not readings:
        return None
    prefix, base, _ = readings[0]
    unit = registry.Unit(prefix + base)
    if dict(unit.dimensionality) != {dimension: 1}:
        return None
    target = "millimeter" if dimension == "[length]" else "kilogram"
    return Fraction(registry.Quantity(Fraction(1), unit).to(target).magnitude)


@cache
def _registry() -> Any:
    import pint  # noqa: PLC0415  (takes half a second: only for names that are not everyday ones)

    return pint.UnitRegistry(non_int_type=Fraction)


def format_feet_inches(mm: float | Fraction) -> str:
    """Feet, inches and sixteenths, rounded by rule A of ISO 80000-1: "50 ft 1 13/16 in"."""
    sixteenths = int(nearest_multiple(mm, LENGTHS["in"] / 16) / (LENGTHS["in"] / 16))
    sign = MINUS if sixteenths < 0 else ""
    feet, rest = divmod(abs(sixteenths), 12 * 16)
    inches, part = divmod(rest, 16)
    fraction = f"{Fraction(part, 16)}" if part else ""
    within = " ".join(piece for piece in (str(inches) if inches or not fraction else "", fraction) if piece)
    return sign + (f"{written(Decimal(feet))} ft " if feet else "") + f"{within} in"
