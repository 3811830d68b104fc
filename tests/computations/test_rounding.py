"""Rounding: one step, a named rule, and what is printed with an uncertainty. Published tables: tests/published."""

from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from computations.rounding import decimals_of_uncertainty, format_number, nearest_multiple, quote, to_decimals
from computations.rounding import to_significant as significant

THIN = "\N{NARROW NO-BREAK SPACE}"


def test_a_value_is_quoted_to_the_last_digit_of_its_uncertainty() -> None:
    assert quote(15286.0375, 3.7811) == (Decimal("15286.0"), Decimal("3.8"))
    assert quote(15286.0375, 0.0996) == (Decimal("15286.04"), Decimal("0.10"))
    assert quote(15286.0375, 12.4) == (Decimal(15286), Decimal(12))
    assert quote(15286.0375, 124) == (Decimal("1.529E+4"), Decimal("1.2E+2"))
    with pytest.raises(ValueError, match="zero"):
        quote(1, 0)


def test_an_uncertainty_that_rounds_up_to_the_next_power_keeps_two_digits() -> None:
    assert decimals_of_uncertainty(9.96) == 0
    assert decimals_of_uncertainty("0.994") == 2
    assert decimals_of_uncertainty(0) is None
    assert significant(9.96, 2) == Decimal(10)
    assert significant(0, 2) == 0


def test_numbers_for_people() -> None:
    assert format_number(15286.5) == f"15{THIN}286"
    assert format_number(15287.5) == f"15{THIN}288"
    assert format_number(-1234567.25, 1) == f"−1{THIN}234{THIN}567.2"
    assert format_number(999.4) == "999"
    assert format_number(-0.4) == "0"


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_not_finite_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        to_decimals(bad, 1)


def test_a_range_must_be_positive() -> None:
    with pytest.raises(ValueError, match="greater than zero"):
        nearest_multiple(1, 0)


@given(
    st.decimals(min_value=-(10**6), max_value=10**6, places=4, allow_nan=False), st.integers(min_value=0, max_value=3)
)
def test_rule_a_agrees_with_the_decimal_library(value: Decimal, decimals: int) -> None:
    expected = value.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    assert to_decimals(value, decimals) == expected


@given(st.fractions(min_value=-1000, max_value=1000), st.fractions(min_value=Fraction(1, 100), max_value=10))
def test_the_nearest_multiple_is_nearest(value: Fraction, step: Fraction) -> None:
    for rule in ("A", "B"):
        multiple = nearest_multiple(value, step, rule)
        assert (multiple / step).denominator == 1
        assert abs(multiple - value) <= step / 2
