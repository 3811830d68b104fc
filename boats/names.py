"""Sail numbers and names in the form they are matched by; what was typed is kept beside it.

A sail number is three national letters (they may be missing), then one letter or none, up to six digits, and one
letter or none. Spaces, hyphens and dots, case and leading zeros make no difference. Which three letters exist is
not asked here: the office knows the boats it has registered.

Source of the shape: Racing Rules of Sailing, Appendix G (read in part); more than four digits and a letter within
the number are allowed by some national prescriptions (read). The matching itself is common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata

SAIL_NUMBER_LENGTH = 20  # the column's
NAME_LENGTH = 80

_FORM = re.compile(r"(?P<nation>[A-Z]{3})?(?P<before>[A-Z]?)(?P<number>[0-9]{1,6})(?P<after>[A-Z]?)")
# What nearly every number looks like, so that thousands need no second look; it gives the same as the form above.
_PLAIN = re.compile(r" ?([A-Za-z]{3})[ .-]?([1-9][0-9]{0,5}) ?", re.ASCII)
SAIL_NUMBER_EXPECTED = (
    "three national letters (or none), then up to six digits, with at most one more letter before them and one after"
)


_ASCII_SIGNS = {code: None for code in range(128) if not chr(code).isalnum()}


def _squeezed(text: str) -> str:
    """Compatibility forms made plain (NFKC), upper case, letters and digits only."""
    if text.isascii():  # nearly always, and ten times as quick
        plain = text.upper().replace(" ", "")
        return plain if plain.isalnum() else plain.translate(_ASCII_SIGNS)
    return "".join(sign for sign in unicodedata.normalize("NFKC", text).upper() if sign.isalnum())


def normalise_sail_number(text: str) -> tuple[str, str]:
    """The form a sail number is matched by, and the same without national letters.

    `gbr-0012` gives `("GBR12", "12")`, `K 7a` gives `("K7A", "K7A")`. Text that has no such form is returned
    squeezed, with nothing as its second part: it can still be looked for, but matches only its like.
    """
    if plain := _PLAIN.fullmatch(text):
        return plain[1].upper() + plain[2], plain[2]
    squeezed = _squeezed(text)
    found = _FORM.fullmatch(squeezed)
    if found is None:
        return squeezed, ""
    digits = found["before"] + (found["number"].lstrip("0") or "0") + found["after"]
    return (found["nation"] or "") + digits, digits


def is_sail_number(text: str) -> bool:
    return _FORM.fullmatch(_squeezed(text)) is not None


def normalise_name(text: str) -> str:
    """The form a boat's name is matched and sorted by: letters and digits in upper case, accents dropped.

    `Été d'Or` and `ETE DOR` are the same. At most 80 characters, as many as the column holds.
    """
    return _squeezed(_without_accents(text))[:NAME_LENGTH]


def name_words(text: str) -> list[str]:
    """The words of a name, each in the form it is matched by: `Été d'Or` gives ETE, D, OR."""
    signs = (sign if sign.isalnum() else " " for sign in unicodedata.normalize("NFKC", _without_accents(text)))
    return [_squeezed(word) for word in "".join(signs).split()]


def name_from_word(text: str, number: int) -> str:
    """The name from its second, third … word on, as `normalise_name` writes it; "" where it has fewer words.

    Kept beside the name, so that a boat is found by any of her words from an index.
    """
    return "".join(name_words(text)[number - 1 :])[:NAME_LENGTH]


def _without_accents(text: str) -> str:
    if text.isascii():
        return text
    return "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))
