"""Rounding tables: ISO 80000-1 Annex B (formerly ISO 31-0:1992 Annex B) and NIST SP 811, B.7.1.

All values from memory, recomputed with the decimal library; the origin of the ISO table was read in a secondary copy.
"""

from decimal import Decimal

import pytest

from computations.rounding import nearest_multiple, to_significant


@pytest.mark.parametrize(
    ("value", "step", "expected"),
    [
        ("12.223", "0.1", "12.2"),
        ("12.251", "0.1", "12.3"),
        ("12.275", "0.1", "12.3"),
        ("1222.3", "10", "1220"),
        ("1225.1", "10", "1230"),
        ("1227.5", "10", "1230"),
    ],
)
def test_nearest(value: str, step: str, expected: str) -> None:
    for rule in ("A", "B"):
        assert nearest_multiple(value, step, rule) == Decimal(expected)


@pytest.mark.parametrize(
    ("value", "step", "rule_a", "rule_b"),
    [
        ("12.25", "0.1", "12.2", "12.3"),
        ("12.35", "0.1", "12.4", "12.4"),
        ("1225", "10", "1220", "1230"),
        ("1235", "10", "1240", "1240"),
    ],
)
def test_ties(value: str, step: str, rule_a: str, rule_b: str) -> None:
    assert nearest_multiple(value, step, "A") == Decimal(rule_a)
    assert nearest_multiple(value, step, "B") == Decimal(rule_b)


def test_rounding_in_two_steps_would_go_wrong() -> None:
    assert nearest_multiple("12.251", "0.1") == Decimal("12.3")
    assert nearest_multiple(nearest_multiple("12.251", "0.01"), "0.1") == Decimal("12.2")


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        ("6.974951", 3, "6.97"),
        ("6.974951", 4, "6.975"),
        ("6.974951", 5, "6.9750"),
        ("6.974950", 5, "6.9750"),
        ("6.974850", 5, "6.9748"),
    ],
)
def test_nist_sp_811_section_b_7_1(value: str, digits: int, expected: str) -> None:
    rounded = to_significant(value, digits)
    assert rounded == Decimal(expected)
    assert str(rounded) == expected


def test_a_float_is_rounded_as_it_is_written() -> None:
    assert round(2.675, 2) == 2.67, "the binary number lies below"
    assert to_significant(2.675, 3) == Decimal("2.68")
    assert to_significant("2.675", 3) == Decimal("2.68")
