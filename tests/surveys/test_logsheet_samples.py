"""The two sample visits, worked out by hand: the arithmetic here is written out and shares nothing with the product's.

Quiet Margin, a sloop of an invented place, was measured twice; over the winter her lower band was repainted about
30 mm higher. Half-widths are the product's defaults (office judgement), each divided by the square root of 3.
"""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import pytest

from computations.derivation import Derivation, derive
from surveys.logsheet import read, to_inputs

SAMPLES = Path(__file__).parent / "samples"
STEEL = 11.5e-6  # per K


def derived(name: str) -> Derivation:
    sheet = read((SAMPLES / name).read_bytes(), name)
    return derive(to_inputs(sheet, key=name)[0])


@pytest.fixture(scope="module")
def first() -> Derivation:
    return derived("quiet_margin_2023.csv")


@pytest.fixture(scope="module")
def second() -> Derivation:
    return derived("quiet_margin_2024.csv")


def value(derivation: Derivation, name: str, method: str | None = None) -> float:
    row = derivation.get(name, method=method)
    assert row is not None
    assert row.value is not None
    return row.value


def uncertainty(derivation: Derivation, name: str, method: str | None = None) -> float:
    row = derivation.get(name, method=method)
    assert row is not None
    assert row.standard_uncertainty is not None
    return row.standard_uncertainty


# The tape T-03 is 0.8 mm longer than it shows at 30 m; the rule R-01 is right. At 14.5 degC steel is 5.5 K too cold,
# at 46 degF (70/9 degC) it is 110/9 K too cold.
COLD_2023, COLD_2024 = 1 - STEEL * 5.5, 1 - STEEL * 110 / 9
TAPE_2023, TAPE_2024 = COLD_2023 + 0.8 / 30_000, COLD_2024 + 0.8 / 30_000


@pytest.mark.parametrize(
    ("name", "by_hand"),
    [
        ("P", (12150 + 12152 + 12151) / 3 * TAPE_2023),
        ("E", 4123 * TAPE_2023),
        ("J", 3641 * TAPE_2023),
        ("SFJ", 522 * COLD_2023),
        ("MDL1", 152.4),  # a calliper has no temperature to speak of
        ("FSP", 2 * 21.4),
        ("MWT", 118.4 - 4.2),
        ("front_of_mast_to_bow", 3641 * TAPE_2023 + 522 * COLD_2023),
        ("luff_foot_ratio", 12151 / 4123),
        ("mainsail_triangle_area", 0.5 * 12.151 * 4.123 * TAPE_2023**2),
    ],
)
def test_figures_of_the_first_visit(first: Derivation, name: str, by_hand: float):
    assert value(first, name) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "by_hand"),
    [
        ("P", (12121 + 12120 + 12121) / 3 * TAPE_2024),
        ("J", 3641 * TAPE_2024),  # written 3.641 m
        ("SPL", (12 * 12 + 1.75) * 25.4 * TAPE_2024),  # written 12 ft 1 3/4 in
        ("MDL1", 6 * 25.4),  # written 6 in
        ("MWT", 118.6 - 4.2),
    ],
)
def test_figures_of_the_second_visit(second: Derivation, name: str, by_hand: float):
    assert value(second, name) == pytest.approx(by_hand, rel=1e-12)


def test_the_boom_above_the_sheer_by_both_methods(first: Derivation, second: Derivation):
    # String: mean of the sides' distances down to the sheer, and up to the band.
    assert value(first, "BAS", "string") == pytest.approx((1119.5 + 193) * COLD_2023, rel=1e-12)
    assert value(second, "BAS", "string") == pytest.approx((1119.5 + 222) * COLD_2024, rel=1e-12)
    # Two marks: (A2 - B2 + Z2) / 2Z per side, which grows with the lengths as they do.
    port, starboard = 1836856 / 1402, 1838596 / 1402  # 1764, 1329, 701 and 1766, 1331, 701 squared and added up
    assert value(first, "BAS", "two_mark") == pytest.approx((port + starboard) / 2 * COLD_2023, rel=1e-12)
    port, starboard = 1881121 / 1402, 1882897 / 1402
    assert value(second, "BAS", "two_mark") == pytest.approx((port + starboard) / 2 * COLD_2024, rel=1e-12)


def test_the_adopted_boom_height_lies_between_and_carries_the_heights(first: Derivation):
    string, two_mark, adopted = (value(first, "BAS", method) for method in ("string", "two_mark", "adopted"))
    assert two_mark < adopted < string
    assert uncertainty(first, "BAS", "adopted") < min(uncertainty(first, "BAS", m) for m in ("string", "two_mark"))
    assert value(first, "IG") == pytest.approx(11806 * TAPE_2023 + adopted, rel=1e-12)
    assert value(first, "ISP") == pytest.approx(12238 * TAPE_2023 + adopted, rel=1e-12)  # the higher of two halyards


def test_uncertainties_by_hand(first: Derivation):
    half = 0.5 / sqrt(3)  # one end of a reading, or one edge of a band
    warmth = STEEL * 3 / sqrt(3)  # of any steel length
    # E: class I up to 5 m is 0.1 + 0.1 x 5 mm; both ends; temperature; the boom band's edge.
    e = sqrt((0.6 / sqrt(3)) ** 2 + 2 * half**2 + (4123 * warmth) ** 2 + half**2)
    assert uncertainty(first, "E") == pytest.approx(e, rel=1e-3)
    # P: class I up to 13 m; both bands' edges; temperature; three takes 1 mm apart instead of the ends.
    p = sqrt((1.4 / sqrt(3)) ** 2 + 2 * half**2 + (12151 * warmth) ** 2 + 1 / 3)
    assert uncertainty(first, "P") == pytest.approx(p, rel=1e-3)
    # BAS by the string: two sheer points and two readings halved, one reading up, the string, the band, the rule
    # (class I up to 2 m and up to 1 m, the same rule for both), temperature.
    ends, rule = sqrt(2) * half, (0.3 + 0.2) / sqrt(3)
    bas = sqrt(
        (3 / sqrt(3)) ** 2 / 2 + ends**2 / 2 + ends**2 + (2 / sqrt(3)) ** 2 + half**2 + rule**2 + (1312.5 * warmth) ** 2
    )
    assert uncertainty(first, "BAS", "string") == pytest.approx(bas, rel=1e-3)


def test_the_repainted_band_shows_in_what_hangs_on_it_and_in_nothing_else(first: Derivation, second: Derivation):
    def change(name: str) -> float:
        return value(second, name) - value(first, name)

    assert change("P") == pytest.approx(-31.3, abs=0.1)
    assert change("BAS") == pytest.approx(29.6, abs=0.1)
    for name in ("IG", "ISP", "upper_band_above_sheer", "J", "SFJ", "E"):
        assert abs(change(name)) < 2 * uncertainty(second, name), name
