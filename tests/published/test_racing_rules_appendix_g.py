"""Sail numbers as Appendix G of the Racing Rules of Sailing shapes them (2021 edition on; read in part).

The rule says what is painted; that spacing, case and missing letters make no difference is the office's own.
"""

from __future__ import annotations

import pytest

from boats.names import is_sail_number, normalise_sail_number

# G1.1 and the table of national letters (read in part): three capital letters, not those of ISO 3166.
READ_LETTERS = ("GER", "DEN", "CRO", "GRE", "ALG", "BUL", "ESA", "BRN", "IVB", "TPE", "GBR")


@pytest.mark.parametrize("letters", READ_LETTERS)
def test_national_letters_lead_the_number(letters):
    assert normalise_sail_number(f"{letters} 1234") == (f"{letters}1234", "1234")


@pytest.mark.parametrize(
    ("text", "source"),
    [
        ("GBR 1", "G1.1: up to four digits (read)"),
        ("GBR 1234", "G1.1: up to four digits (read)"),
        ("GBR 54321", "G1.1: more in classes recognised before 1997-04-01 (read)"),
        ("GBR 1234L", "a letter in the number: a national prescription (read)"),
        ("GBR K1234", "a letter in the number: a national prescription (read)"),
        ("1234", "G1.1: letters are asked for at international events (read), so they may be missing"),
    ],
)
def test_numbers_the_rule_or_a_prescription_allows(text, source):
    assert is_sail_number(text), source


@pytest.mark.parametrize("text", ["GBR", "1234 GBR", "GBR-", "GBRX-Y 12", "GBR 12 AB", "GB 12"])
def test_what_no_rule_allows(text):
    assert not is_sail_number(text)
