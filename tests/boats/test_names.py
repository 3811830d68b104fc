"""Sail numbers and names in the form they are matched by."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from boats.names import is_sail_number, name_from_word, name_words, normalise_name, normalise_sail_number

# Shape: Racing Rules of Sailing, Appendix G, G1.1 and G1.2 (read in part): three capital letters, Arabic numerals.
# That more than four digits and a letter occur: a national prescription (read). The matching: common practice.
TABLE = [
    ("GBR 1234", "GBR1234", "1234"),
    ("gbr-1234", "GBR1234", "1234"),
    ("G B R . 1 2 3 4", "GBR1234", "1234"),
    ("ger0012", "GER12", "12"),
    ("ger 12", "GER12", "12"),
    ("1234", "1234", "1234"),
    ("0012", "12", "12"),
    ("000", "0", "0"),
    ("DEN 54321", "DEN54321", "54321"),
    ("ABC 123456", "ABC123456", "123456"),
    ("XQZ 7", "XQZ7", "7"),  # letters nobody knows are still letters
    ("GBR K 7", "GBRK7", "K7"),
    ("K 07 a", "K7A", "K7A"),
    ("ＧＢＲ　１２", "GBR12", "12"),
    ("GBR\u201112", "GBR12", "12"),
    ("GBR\u200b12", "GBR12", "12"),
    ("ÅLA 5", "ÅLA5", ""),
    ("US 12345", "US12345", ""),
    ("GBR 1234567", "GBR1234567", ""),
    ("GBR", "GBR", ""),
    ("", "", ""),
    ("\x00'; --", "", ""),
]


@pytest.mark.parametrize(("text", "normal", "digits"), TABLE)
def test_sail_number_is_matched_whatever_its_writing(text, normal, digits):
    assert normalise_sail_number(text) == (normal, digits)


@pytest.mark.parametrize(("text", "normal", "digits"), TABLE)
def test_is_sail_number_says_whether_it_has_the_form(text, normal, digits):
    assert is_sail_number(text) == bool(digits)


@given(
    nation=st.sampled_from(["", "QUA", "qua", "Nor"]),
    gap=st.sampled_from(["", " ", "-", ".", " - ", "\u00a0"]),
    zeros=st.integers(0, 2),
    number=st.integers(1, 9999),
)
def test_spacing_case_and_zeros_make_no_difference(nation, gap, zeros, number):
    written = f"{nation}{gap}{'0' * zeros}{number}"
    assert normalise_sail_number(written) == (f"{nation.upper()}{number}", str(number))


@given(st.text())
def test_the_normal_form_is_its_own_normal_form(text):
    normal, digits = normalise_sail_number(text)
    assert normalise_sail_number(normal) == (normal, digits)


@pytest.mark.parametrize(
    ("text", "normal"),
    [
        ("Sea Lark", "SEALARK"),
        ("sea-lark.", "SEALARK"),
        ("Été d'Or", "ETEDOR"),
        ("Storm  II", "STORMII"),
        ("Straße", "STRASSE"),
        ("Чайка", "ЧАИКА"),
        ("!!!", ""),
        ("x" * 90, "X" * 80),
        ("\ufdfa" * 80, "\u0635\u0644\u0649\u0627\u0644\u0644\u0647\u0639\u0644\u064a\u0647\u0648\u0633\u0644\u0645" * 5
         + "\u0635\u0644\u0649\u0627\u0644"),
    ],
)  # fmt: skip
def test_name_is_matched_whatever_its_writing(text, normal):
    assert normalise_name(text) == normal


def test_the_words_of_a_name():
    assert name_words("Été d'Or") == ["ETE", "D", "OR"]
    assert [name_from_word("Été d'Or", number) for number in (1, 2, 3, 4)] == ["ETEDOR", "DOR", "OR", ""]


@given(st.text(max_size=100))
def test_the_words_together_are_the_name(text):
    assert name_from_word(text, 1) == normalise_name(text)
