"""Figures in words, as they are read back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from computations.words import in_words, whole_in_words, with_unit


@pytest.mark.parametrize(
    ("value", "decimals", "said"),
    [
        (0, 0, "nought"),
        (1, 0, "one"),
        (13, 0, "thirteen"),
        (20, 0, "twenty"),
        (21, 0, "twenty-one"),
        (100, 0, "one hundred"),
        (101, 0, "one hundred and one"),
        (999, 0, "nine hundred and ninety-nine"),
        (1000, 0, "one thousand"),
        (1001, 0, "one thousand and one"),
        (1312.4, 1, "one thousand three hundred and twelve point four"),
        (15286, 0, "fifteen thousand two hundred and eighty-six"),
        (99999, 0, "ninety-nine thousand nine hundred and ninety-nine"),
        (100000, 0, "one hundred thousand"),
        (-35, 0, "minus thirty-five"),
        (-0.2, 0, "nought"),
        (12.05, 2, "twelve point nought five"),
        (12.50, 2, "twelve point five"),
        (12.0, 1, "twelve"),
        (0.1, 1, "nought point one"),
        (2.5, 0, "two"),  # ISO 80000-1 Annex B, rule A: to the even one
        (3.5, 0, "four"),
        (999.96, 1, "one thousand"),
    ],
)
def test_figures_in_words(value: float, decimals: int, said: str) -> None:
    assert in_words(value, decimals) == said


def test_the_unit_follows_the_number() -> None:
    assert with_unit(1.0, "mm") == "one millimetre"
    assert with_unit(142.5, "kg", 1) == "one hundred and forty-two point five kilograms"
    assert with_unit(0.0, "mm") == "nought millimetres"


@pytest.mark.parametrize("number", [-1, 1_000_000])
def test_beyond_what_is_said_in_words(number: int) -> None:
    with pytest.raises(ValueError, match="999999"):
        whole_in_words(number)


SMALL = (
    "nought one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen"
)
TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
VALUES = {word: number for number, word in enumerate(SMALL.split(" "))}
VALUES |= {word: 20 + 10 * tens for tens, word in enumerate(TENS.split(" "))}


def heard(words: str) -> int:
    """What a listener makes of the words, by another way than they were made."""
    total = part = 0
    for word in words.replace("-", " ").replace(" and ", " ").split():
        if word == "hundred":
            part *= 100
        elif word == "thousand":
            total, part = (total + part) * 1000, 0
        else:
            part += VALUES[word]
    return total + part


@given(st.integers(0, 99_999))
def test_a_listener_writes_down_the_same_number(number: int) -> None:
    assert heard(whole_in_words(number)) == number
