"""The hull identification number: whether it has the form of ISO 10087.

The form is given from memory (ISO 10087:2006 and later; to be confirmed on the standard's text): two letters of the
country, a hyphen, three characters of the builder, five of the serial number, a letter for the month the hull was
begun (A January … L December), the last digit of that year, and two digits of the model year; fourteen characters
without the hyphen. Also from memory: a serial number has no I, O or Q, so that they are not taken for 1 and 0.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

LENGTH = 14


class HinError(ValueError):
    """A hull identification number without the right form; the text says which place and what was expected."""


@dataclass(frozen=True, slots=True)
class _Part:
    """Places `first` to `last` (counted from 1, hyphen left out), and what each of them may hold."""

    first: int
    last: int
    name: str
    allowed: str  # one sign, as a regular expression
    expected: str


_PARTS = (
    _Part(1, 2, "the country", "[A-Z]", "a letter"),
    _Part(3, 5, "the builder", "[A-Z0-9]", "a letter or a digit"),
    _Part(6, 10, "the serial number", "[A-HJ-NPR-Z0-9]", "a digit, or a letter other than I, O and Q"),
    _Part(11, 11, "the month of building", "[A-L]", "a letter from A (January) to L (December)"),
    _Part(12, 12, "the year of building", "[0-9]", "a digit"),
    _Part(13, 14, "the model year", "[0-9]", "a digit"),
)


def check_hin(text: str) -> str:
    """The number in its normal form, as in `XX-ABC12345D424`; HinError where it has another form.

    Case, spaces and hyphens make no difference on the way in.
    """
    plain = unicodedata.normalize("NFKC", text).upper()
    signs = re.sub(r"[\s\-\u2010-\u2015\u2212]", "", plain)
    for part in _PARTS:
        for place in range(part.first, min(part.last, len(signs)) + 1):
            sign = signs[place - 1]
            if not re.fullmatch(part.allowed, sign):
                raise HinError(
                    f"Place {place}, the hyphen not counted, is “{sign}”; "
                    f"{part.expected} was expected there ({part.name})."
                )
    if len(signs) != LENGTH:
        raise HinError(
            f"{len(signs)} characters were found; 14 were expected besides the hyphen: two of the country, three of "
            "the builder, five of the serial number, month, year and two of the model year."
        )
    return f"{signs[:2]}-{signs[2:]}"
