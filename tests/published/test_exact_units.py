"""Exact conversion factors: international yard and pound agreement 1959; standard gravity 9.80665 m/s2 (CGPM 1901).

Values from memory, recomputed.
"""

from fractions import Fraction

import pytest

from computations.units import UnitError, length_factor, mass_factor

NEWTON_PER_KGF = Fraction("9.80665")


@pytest.mark.parametrize(
    ("unit", "mm"), [("in", "25.4"), ("ft", "304.8"), ("yd", "914.4"), ("thou", "0.0254"), ("mile", "1609344")]
)
def test_lengths(unit: str, mm: str) -> None:
    assert length_factor(unit) == Fraction(mm)


@pytest.mark.parametrize(("unit", "kg"), [("lb", "0.45359237"), ("oz", "0.028349523125"), ("stone", "6.35029318")])
def test_masses(unit: str, kg: str) -> None:
    assert mass_factor(unit) == Fraction(kg)


def test_the_pound_force_that_tapes_are_pulled_with() -> None:
    assert mass_factor("lb") * NEWTON_PER_KGF == Fraction("4.4482216152605")


@pytest.mark.parametrize("unit", ["survey_foot", "sft", "survey_mile", "fathom", "rod", "US_survey_foot"])
def test_the_survey_foot_of_1200_over_3937_m_is_refused(unit: str) -> None:
    with pytest.raises(UnitError):
        length_factor(unit)
