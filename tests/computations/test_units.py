"""Lengths, masses and temperatures as people write them: exact, and nothing guessed."""

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from computations import units
from computations.units import (
    UnitError,
    format_feet_inches,
    length_factor,
    mass_factor,
    parse_length,
    parse_mass,
    parse_number,
    parse_temperature,
)

FIFTY_FEET = Fraction(1222883, 80)  # 50 ft 1 13/16 in, exactly, in mm


@pytest.mark.parametrize(
    "text",
    [
        "50 ft 1 13/16 in",
        "50' 1 13/16\"",
        "50ft1.8125in",
        "50 ft 1,8125 in",
        "50′ 1 13/16″",
        "50 feet 1 13/16 inches",
        "50-1 13/16".replace("-", "'") + '"',
        "  50 FT, 1 13/16 IN ",
        "+50' 1-13/16''",
    ],
)
def test_feet_and_inches_in_every_form(text: str) -> None:
    assert parse_length(text) == FIFTY_FEET


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("12 7/8 in", "mm", Fraction("327.025")),
        ("12 7/8", "in", Fraction("327.025")),
        ("12⅞″", "in", Fraction("327.025")),
        ("½ in", "mm", Fraction("12.7")),
        ("15.286 m", "mm", Fraction(15286)),
        ("15,286", "m", Fraction(15286)),
        ("15286", "", Fraction(15286)),
        ("15286", "mm", Fraction(15286)),
        ("-12", "mm", Fraction(-12)),
        ("−12,5", "mm", Fraction("-12.5")),
        ("3", "yd", Fraction("2743.2")),
        ("50'", "ft", Fraction(15240)),
        ("2 hand", "mm", Fraction("203.2")),
        ("0.1", "m", Fraction(100)),
        ("12 MM", "", Fraction(12)),
    ],
)
def test_lengths(text: str, unit: str, mm: Fraction) -> None:
    assert parse_length(text, unit) == mm


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        "NaN",
        "inf",
        "-inf",
        "1e400",
        "1e3",
        "1,234,567",
        "1.234,5",
        "1 234",
        "1'234",
        "15286 kg",
        "12 ft 6",
        "5 ft 13 in",
        "5.5 ft 1 in",
        "1 17/16 in",
        "1 1/0 in",
        "9**9**2",
        "12 ft 6 in 3",
        "__import__('os')",
        "1 survey_foot",
        "3 fathom",
        "٣",
        "0x10",
        "1_000",
        "1" * 65,
        "1" * 13,
        "1 m**2",
        "--5",
    ],
)
def test_what_is_no_length_is_refused_with_what_was_expected(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_length(text)
    assert caught.value.expected
    assert caught.value.found is not None


def test_a_unit_beside_the_value_may_not_contradict_it() -> None:
    assert parse_length("15.286 m", "m") == 15286
    with pytest.raises(UnitError, match="value in ft"):
        parse_length("15.286 m", "ft")
    with pytest.raises(UnitError, match="unit of length"):
        parse_length("15286", "parsec**2")


def test_masses() -> None:
    assert parse_mass("142,5") == Fraction("142.5")
    assert parse_mass("1", "lb") == Fraction("0.45359237")
    assert parse_mass("10 lb 4 oz") == Fraction("0.45359237") * Fraction("10.25")
    assert parse_mass("2 t") == 2000
    for text in ("5 mm", "heavy", "10 lb 17 oz", "nan"):
        with pytest.raises(UnitError):
            parse_mass(text)


def test_temperatures() -> None:
    assert parse_temperature("18,5") == Fraction("18.5")
    assert parse_temperature("50", "degF") == 10
    assert parse_temperature("50 °F") == 10
    assert parse_temperature("-5 °C", "") == -5
    for text, unit in (("5", "K"), ("cold", "degC"), ("-300", "degC"), ("1e2", "degC")):
        with pytest.raises(UnitError):
            parse_temperature(text, unit)


def test_plain_numbers() -> None:
    assert parse_number(" 0,5 ") == Fraction(1, 2)
    for text in ("1/2", "5 mm", "1e5", "nan", "", "1,000.5"):
        with pytest.raises(UnitError):
            parse_number(text)


def test_everyday_factors_are_those_of_the_unit_library() -> None:
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    for name, factor in units.LENGTHS.items():
        assert registry.Quantity(Fraction(1), name).to("millimeter").magnitude == factor
    for name, factor in units.MASSES.items():
        assert registry.Quantity(Fraction(1), name).to("kilogram").magnitude == factor
    assert length_factor("mile") == Fraction("1609344")
    assert mass_factor("stone") == 14 * units.MASSES["lb"]


def test_feet_inches_and_sixteenths() -> None:
    assert format_feet_inches(15286.0375) == "50 ft 1 13/16 in"
    assert format_feet_inches(0) == "0 in"
    assert format_feet_inches(12.7) == "1/2 in"
    assert format_feet_inches(-304.8) == "−1 ft 0 in"
    assert format_feet_inches(304.79) == "1 ft 0 in", "carried over"


@given(st.integers(min_value=-20_000_000, max_value=20_000_000))
def test_what_is_written_in_sixteenths_reads_back_within_half_a_sixteenth(tenths: int) -> None:
    mm = Fraction(tenths, 1000)
    text = format_feet_inches(mm).replace("\N{NARROW NO-BREAK SPACE}", "")
    assert abs(parse_length(text) - mm) <= Fraction(254, 320)


@given(st.text(max_size=80), st.sampled_from(["", "mm", "ft", "kg", "£", "m m"]))
def test_any_text_gives_a_finite_number_or_a_unit_error(text: str, unit: str) -> None:
    for parse in (parse_length, parse_mass, parse_temperature):
        try:
            value = parse(text, unit)
        except UnitError:
            continue
        assert isinstance(value, Fraction)
