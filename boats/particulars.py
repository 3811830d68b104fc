"""What may stand in a boat's particulars: each function gives the tidy value, or a ValueError of one sentence.

Forms and actions both ask here, so that they say the same.
"""

from __future__ import annotations

import unicodedata
from typing import Any

from django.utils import timezone

from boats import hin as hull
from boats.models import Boat
from boats.names import (
    NAME_LENGTH,
    SAIL_NUMBER_EXPECTED,
    SAIL_NUMBER_LENGTH,
    is_sail_number,
    name_from_word,
    normalise_name,
    normalise_sail_number,
)
from boats.rules import EARLIEST

FIELDS = ("name", "sail_number", "hin", "design", "builder", "year", "harbour")


def tidy(text: str) -> str:
    """One line: runs of space become one, control characters go."""
    return " ".join("".join(" " if unicodedata.category(sign) == "Cc" else sign for sign in text).split())


def limited(text: str, longest: int, what: str) -> str:
    line = tidy(text)
    if len(line) > longest:
        raise ValueError(f"{what} has {len(line)} characters; at most {longest} are kept.")
    return line


def clean_name(text: str) -> str:
    name = limited(text, NAME_LENGTH, "The name")
    if not normalise_name(name):
        raise ValueError("A boat's name needs at least one letter or digit.")
    return name


def clean_sail_number(text: str) -> str:
    number = limited(text, SAIL_NUMBER_LENGTH, "The sail number")
    if not is_sail_number(number):
        raise ValueError(f"“{number}” is not a sail number; expected: {SAIL_NUMBER_EXPECTED}.")
    return number


def clean_hin(text: str) -> str:
    """Empty stays empty: an old boat may have none."""
    line = tidy(text)
    return hull.check_hin(line) if line else ""


def clean_year(year: int | None) -> int | None:
    latest = timezone.localdate().year + 1
    if year is not None and not EARLIEST.year <= year <= latest:
        raise ValueError(f"{year} is not a year of building; expected {EARLIEST.year} to {latest}.")
    return year


_CLEANERS: dict[str, Any] = {
    "name": clean_name,
    "sail_number": clean_sail_number,
    "hin": clean_hin,
    "builder": lambda text: limited(text, 120, "The builder"),
    "year": clean_year,
    "harbour": lambda text: limited(text, 80, "The harbour"),
}


def cleaned(fields: dict[str, Any]) -> dict[str, Any]:
    """The named particulars, tidy; ValueError at the first that cannot stand, KeyError at one that does not exist."""
    return {name: value if name == "design" else _CLEANERS[name](value) for name, value in fields.items()}


def as_columns(fields: dict[str, Any]) -> dict[str, Any]:
    """The columns that hold these particulars, with the forms they are matched by."""
    columns = dict(fields)
    if "name" in fields:
        columns["name_normal"] = normalise_name(fields["name"])
        columns |= {f"name_from_{number}": name_from_word(fields["name"], number) for number in (2, 3, 4)}
    if "sail_number" in fields:
        columns["sail_number_normal"], columns["sail_digits"] = normalise_sail_number(fields["sail_number"])
    return columns


def plain(boat: Boat) -> dict[str, str | int | None]:
    """A boat's particulars as JSON-ready text, for the trail and for what is kept of former ones."""
    return plain_of({name: getattr(boat, name) for name in FIELDS})


def plain_of(fields: dict[str, Any]) -> dict[str, str | int | None]:
    """The same of particulars that are not a boat's yet."""
    design = fields["design"]
    return {**fields, "design": design.name if design else ""}
