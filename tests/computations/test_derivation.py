"""Dimensions and their uncertainty: one visit worked by hand, frozen reference visits, and every edge."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest

from computations.derivation import Derivation, derive, derive_columns
from computations.inputs import Assumptions, Instrument, Mast, Reading, Rig, Visit
from computations.results import DimensionResult, ReadingRef
from tests.computations.visits import RIG, TAPE, full_visit, ketch, with_value, without

FROZEN = Path(__file__).parent / "frozen"
REFERENCE_VISITS = {"sloop": full_visit(), "sloop_three_takes": full_visit(3), "ketch": ketch()}


def dimension(visit: Visit | Derivation, name: str, mast: str = "main", method: str | None = None) -> DimensionResult:
    row = (visit if isinstance(visit, Derivation) else derive(visit)).get(name, mast, method)
    assert row is not None
    return row


# 8 degrees on a tape right at 20: every tape reading times 1 + 11.5e-6 x (8 - 20) = 0.999862.
WARMTH = 0.999862
BY_HAND = {
    ("P", ""): 15286 * WARMTH,
    ("E", ""): 5231 * WARMTH,
    ("BAS", "string"): (1212.5 + 104) * WARMTH,
    # (2151^2 - 1776^2 + 803^2) / 1606 = 2117434 / 1606; (2153^2 - 1778^2 + 803^2) / 1606 = 2118934 / 1606.
    ("BAS", "two_mark"): (2117434 / 1606 + 2118934 / 1606) / 2 * WARMTH,
    ("J", ""): 4483 * WARMTH,
    ("SFJ", ""): 312 * WARMTH,
    ("TPS", ""): 5604 * WARMTH,
    ("SPL", ""): 4497 * WARMTH,
    ("BD", ""): 180.2,
    ("MDL1", ""): 212.3,
    ("MDT1", ""): 121.1,
    ("MDL2", ""): 132.4,
    ("MDT2", ""): 95.2,
    ("taper_length", ""): 3207 * WARMTH,
    ("FSP", ""): 62.6,
    ("MWT", ""): 173.2,
    ("MCG", ""): 6203 * WARMTH,
    ("front_of_mast_to_bow", ""): 4795 * WARMTH,
    ("tack_reach_beyond_forestay", ""): 1121 * WARMTH,
    ("mainsail_triangle_area", ""): 0.5 * 15.286 * 5.231 * WARMTH**2,
    # 0.2123 x (15.286 - 3.207) + (0.2123 + 0.1324) / 2 x 3.207
    ("mast_side_area", ""): (0.2123 * 12.079 + 0.17235 * 3.207) * WARMTH,
    ("mast_front_area", ""): (0.1211 * 12.079 + 0.10815 * 3.207) * WARMTH,
    ("luff_foot_ratio", ""): 15286 / 5231,
}


@pytest.mark.parametrize(("name", "method"), BY_HAND)
def test_a_visit_worked_by_hand(name: str, method: str) -> None:
    assert dimension(full_visit(), name, method=method).value == pytest.approx(BY_HAND[name, method], rel=1e-12)


def test_heights_of_that_visit_by_hand_from_the_adopted_boom_height() -> None:
    derivation = derive(full_visit())
    bas = dimension(derivation, "BAS").value
    assert bas is not None
    string, two_mark = BY_HAND["BAS", "string"], BY_HAND["BAS", "two_mark"]
    assert min(string, two_mark) < bas < max(string, two_mark)
    ig, isp, upper = 14981 * WARMTH + bas, 15102 * WARMTH + bas, 15286 * WARMTH + bas
    for name, expected in {
        "IG": ig,
        "ISP": isp,
        "upper_band_above_sheer": upper,
        "forestay_length": math.sqrt(ig**2 + (4483 * WARMTH) ** 2),
        "foretriangle_area": ig * 4483 * WARMTH / 2e6,
        "mast_weight_moment": 173.2 * (6203 * WARMTH + bas) / 1000,
        "foretriangle_ratio": ig / (4483 * WARMTH),
        "hoist_ratio": ig / upper,
    }.items():
        assert dimension(derivation, name).value == pytest.approx(expected, rel=1e-12), name


def test_uncertainties_of_that_visit_by_hand() -> None:
    derivation = derive(full_visit())
    # E, 6 m counted: ends 2 x 0.5^2/3, scale (0.3 + 0.2 x 6)^2/3, band edge 0.5^2/3, 3 K: (5231 x 11.5e-6 x 3)^2/3
    foot = 0.5 / 3 + 1.5**2 / 3 + 0.25 / 3 + (5231 * 11.5e-6 * 3) ** 2 / 3
    # P, 16 m counted: ends, scale (0.3 + 0.2 x 16)^2/3, both band edges, 3 K
    luff = 0.5 / 3 + 3.5**2 / 3 + 0.5 / 3 + (15286 * 11.5e-6 * 3) ** 2 / 3
    # J + SFJ, 5 m and 1 m: two readings' ends, the tape's limits added (1.3 + 0.5), the deck point cancels, 3 K
    to_bow = 1.0 / 3 + 1.8**2 / 3 + (4795 * 11.5e-6 * 3) ** 2 / 3
    # IG by the string alone: band edge cancels; limits 3.3 (15 m), 0.7 (2 m) and 0.5 (1 m) added; ends of the height,
    # of the string's two sides by half and of its height over the band; sheer points by half, straightness, 3 K
    alone = derive(without(full_visit(), "band_to_sheer", "mark_to_sheer", "mark_spacing"))
    height = (
        (3.3 + 0.7 + 0.5) ** 2 / 3
        + 0.5 / 3 * (1 + 0.25 + 0.25 + 1)
        + 2 * 0.25 * 3**2 / 3
        + 2**2 / 3
        + ((14981 + 1212.5 + 104) * 11.5e-6 * 3) ** 2 / 3
    )
    for row, variance in (
        (dimension(derivation, "E"), foot),
        (dimension(derivation, "P"), luff),
        (dimension(derivation, "front_of_mast_to_bow"), to_bow),
        (dimension(alone, "IG"), height),
    ):
        assert row.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-9), row.name
        assert row.expanded_uncertainty == pytest.approx(2 * math.sqrt(variance), rel=1e-9)
        assert row.degrees_of_freedom is None


@pytest.mark.parametrize("name", REFERENCE_VISITS)
def test_reference_visits_recompute_identically(name: str) -> None:
    """Frozen when they were agreed with two other libraries and with the figures worked by hand."""
    frozen = json.loads((FROZEN / f"{name}.json").read_text())
    rows = derive(REFERENCE_VISITS[name]).dimensions
    assert [(row.slug, row.mast, row.method) for row in rows] == [tuple(one[:3]) for one in frozen]
    for row, (*_, value, u, degrees) in zip(rows, frozen, strict=True):
        if value is None:
            assert row.value is row.standard_uncertainty is None
            continue
        assert (row.value, row.standard_uncertainty) == pytest.approx((value, u), rel=1e-12)
        assert row.degrees_of_freedom == (None if degrees is None else pytest.approx(degrees, rel=1e-9))


def test_budgets_add_up() -> None:
    derivation = derive(full_visit(3))
    for row in derivation.dimensions:
        lines = derivation.budget(row.slug, row.mast, row.method or None)
        assert math.fsum(line.share for line in lines) == pytest.approx(1.0, abs=1e-9)
        total = math.sqrt(math.fsum(line.contribution**2 for line in lines))
        assert total == pytest.approx(row.standard_uncertainty, rel=1e-9)
        for line in lines:
            assert line.contribution == pytest.approx(abs(line.sensitivity) * line.size, rel=1e-9)
        assert [line.share for line in lines] == sorted((line.share for line in lines), reverse=True)
    assert derivation.budget("P")[0].source == "Scale of the tape T-07"
    assert derivation.budget("IG", method="nonsense") == []


def test_what_two_figures_share_is_correlation() -> None:
    derivation = derive(full_visit())
    ig, isp = dimension(derivation, "IG"), dimension(derivation, "ISP")
    assert ig.standard_uncertainty is not None
    assert isp.standard_uncertainty is not None
    covariance = derivation.covariance("IG", "ISP")
    assert covariance is not None
    assert covariance / (ig.standard_uncertainty * isp.standard_uncertainty) > 0.9, "one boom height, one tape"
    assert derivation.covariance("MDL1", "IG") == 0.0
    assert derivation.covariance("IG", "nothing") is None


def test_the_band_s_edge_cancels_in_heights_above_the_sheer() -> None:
    derivation = derive(full_visit())
    assert any("lower band" in line.source for line in derivation.budget("BAS"))
    assert not any(line.source.startswith("Edge of the lower band") for line in derivation.budget("ISP"))


def test_a_scale_s_error_is_not_weighed_away_with_the_slings() -> None:
    row = dimension(full_visit(), "MWT")
    assert row.standard_uncertainty is not None
    assert row.standard_uncertainty > 0.9 * 0.2 / math.sqrt(3)


# What is missing, impossible or contradictory


def test_missing_readings_are_named() -> None:
    derivation = derive(without(full_visit(), "foretriangle_base"))
    for name in ("J", "forestay_length", "foretriangle_area", "front_of_mast_to_bow"):
        row = dimension(derivation, name)
        assert row.value is row.standard_uncertainty is row.expanded_uncertainty is None
        assert row.missing == (ReadingRef("foretriangle_base", "main"),)
        assert "Base of the foretriangle (J)" in row.reason
    assert dimension(derivation, "IG").value is not None


def test_what_the_rig_need_not_have_is_left_out_unless_it_is_read() -> None:
    visit = replace(without(full_visit(), "pole_length", "foil_fore_aft", "scale_reading"), rig=Rig())
    derivation = derive(visit)
    assert derivation.get("SPL") is None
    assert derivation.get("FSP") is None
    assert dimension(derivation, "MWT").missing == (ReadingRef("scale_reading", "main"),), "the slings were weighed"
    assert dimension(replace(visit, rig=RIG), "SPL").missing == (ReadingRef("pole_length", "main"),)


def test_an_empty_visit_says_what_it_needs() -> None:
    rows = derive(Visit()).dimensions
    assert rows
    assert all(row.value is None and row.missing and row.reason for row in rows)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e400, 1e300])
def test_what_is_no_number_counts_as_missing(bad: float) -> None:
    derivation = derive(with_value(full_visit(), "foot_distance", bad))
    assert dimension(derivation, "E").missing == (ReadingRef("foot_distance", "main"),)
    assert dimension(derivation, "P").value is not None


def test_an_unusable_temperature_counts_as_unknown() -> None:
    visit = full_visit()
    unknown = dimension(replace(visit, air_temperature_c=None), "P")
    assert dimension(replace(visit, air_temperature_c=math.nan), "P") == unknown
    assert unknown.value == 15286.0
    known = dimension(visit, "P")
    assert unknown.standard_uncertainty is not None
    assert known.standard_uncertainty is not None
    assert unknown.standard_uncertainty > known.standard_uncertainty


@pytest.mark.parametrize("value", [-1e9, -5.0, 0.0, 1e-300, 1e-9, 5.0, 1e6, 9.9e8])
def test_no_reading_makes_a_warning_an_infinity_or_a_silent_gap(value: float) -> None:
    for slug in {one.slug for one in full_visit().readings}:
        derivation = derive(with_value(full_visit(2), slug, value))
        for row in derivation.dimensions:
            assert row.value is None or math.isfinite(row.value)
            u = row.standard_uncertainty
            assert u is None or (math.isfinite(u) and u > 0)
            assert bool(row.reason) == (row.value is None or u is None)
            derivation.budget(row.slug, row.mast, row.method or None)


@pytest.mark.parametrize(
    ("slug", "position", "value", "words"),
    [
        ("mark_spacing", "", 0.0, "greater than zero"),
        ("mark_spacing", "", -803.0, "greater than zero"),
        ("band_to_sheer", "port", 9000.0, "On port no triangle"),
        ("mark_to_sheer", "starboard", 20.0, "On starboard no triangle"),
    ],
)
def test_impossible_triangles(slug: str, position: str, value: float, words: str) -> None:
    derivation = derive(with_value(full_visit(), slug, value, position))
    for row in (dimension(derivation, "BAS", method="two_mark"), dimension(derivation, "IG")):
        assert row.value is None
        assert words in row.reason
    assert dimension(derivation, "BAS", method="string").value is not None


def test_methods_that_disagree_adopt_nothing_until_one_is_chosen() -> None:
    visit = with_value(full_visit(), "string_to_band", 140.0)
    derivation = derive(visit)
    for name in ("BAS", "IG", "ISP", "hoist_ratio", "mast_weight_moment"):
        row = dimension(derivation, name)
        assert row.value is None
        assert "do not agree" in row.reason
        assert row.missing == ()
    for method in ("string", "two_mark"):
        chosen = derive(replace(visit, bas_choice={"main": method}))
        adopted, one = dimension(chosen, "BAS"), dimension(chosen, "BAS", method=method)
        assert adopted.value == one.value
        assert adopted.standard_uncertainty == pytest.approx(one.standard_uncertainty, rel=1e-12)
        assert dimension(chosen, "ISP").value is not None
    impossible = with_value(visit, "band_to_sheer", 9000.0, "port")
    assert dimension(replace(impossible, bas_choice={"main": "string"}), "ISP").value is not None


def test_where_they_agree_the_combination_is_surer_than_either() -> None:
    derivation = derive(full_visit())
    u = [
        dimension(derivation, "BAS", method=method).standard_uncertainty for method in ("adopted", "string", "two_mark")
    ]
    assert u[0] is not None
    assert all(one is not None and u[0] < one for one in u[1:])
    chosen = derive(replace(full_visit(), bas_choice={"main": "string"}))
    assert dimension(chosen, "BAS").value == dimension(derivation, "BAS").value, "a choice is only for a disagreement"


def test_one_method_alone_is_adopted() -> None:
    derivation = derive(without(full_visit(), "string_to_sheer", "string_to_band"))
    assert derivation.get("BAS", method="string") is None
    assert dimension(derivation, "BAS").value == dimension(derivation, "BAS", method="two_mark").value


def test_outrigger() -> None:
    reach = (
        Reading("outrigger_reach", 412.0, instrument="T-07"),
        Reading("outrigger_mast_width", 162.0, instrument="K-02"),
    )
    visit = full_visit()
    plain = derive(visit)
    carried = derive(replace(visit, rig=replace(RIG, outrigger=True), readings=visit.readings + reach))
    h, j = dimension(plain, "IG").value, dimension(plain, "J").value
    assert h is not None
    assert j is not None
    g = 412.0 * WARMTH - 162.0
    assert dimension(carried, "IG").value == pytest.approx(h * j / (j - g), rel=1e-12)
    assert dimension(replace(visit, rig=replace(RIG, outrigger=True)), "IG").missing == (
        ReadingRef("outrigger_reach", "main"),
        ReadingRef("outrigger_mast_width", "main"),
    )
    behind = derive(with_value(replace(visit, readings=visit.readings + reach), "outrigger_reach", 100.0))
    assert dimension(behind, "IG").value == pytest.approx(h, rel=1e-12)
    beyond = derive(with_value(replace(visit, readings=visit.readings + reach), "outrigger_reach", 4650.0))
    assert dimension(beyond, "IG").value is None
    assert "as far forward" in dimension(beyond, "IG").reason


def test_luff_to_the_sheave() -> None:
    visit = without(full_visit(), "luff_between_bands")
    sheave = Reading("luff_to_sheave", 15301.0, instrument="T-07")
    bare = replace(visit, rig=replace(RIG, masts=(Mast(upper_band=False),)), readings=(*visit.readings, sheave))
    assert dimension(bare, "P").value == pytest.approx(15301 * WARMTH)
    both = replace(full_visit(), readings=(*full_visit().readings, sheave))
    assert dimension(both, "P").value == pytest.approx(15286 * WARMTH), "the band goes before the sheave"


def test_a_schooner_carries_the_foretriangle_on_her_fore_mast() -> None:
    visit = full_visit()
    schooner = replace(visit, rig=replace(RIG, rig_type="schooner", masts=(Mast("main"), Mast("fore"))))
    derivation = derive(schooner)
    assert dimension(derivation, "J").mast == "fore"
    assert dimension(derivation, "J").value == pytest.approx(4483 * WARMTH)
    assert ReadingRef("string_to_sheer", "fore", "port") in dimension(derivation, "IG").missing


# Instruments


def test_a_calibration_certificate_goes_before_the_class() -> None:
    certified = replace(TAPE, calibration_error=-1.5, calibration_u=0.3)
    visit = full_visit()
    row = dimension(replace(visit, instruments=(certified, *visit.instruments[1:])), "P")
    assert row.value == pytest.approx(15286 * (WARMTH - 1.5 / 30_000), rel=1e-12)
    variance = 0.5 / 3 + (0.3 * 15286 / 30_000) ** 2 + 0.5 / 3 + (15286 * 11.5e-6 * 3) ** 2 / 3
    assert row.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-9)


def test_other_limits_of_error() -> None:
    quiet = Assumptions(reading_end_mm=0.0, tape_temperature_k=0.0, band_edge_mm=0.0)

    def u(**changes: object) -> float | None:
        bare = Instrument("T-07", **changes)  # type: ignore[arg-type]
        readings = (Reading("foot_distance", 5231.0, instrument="T-07"),)
        return dimension(
            derive(Visit(instruments=(bare,), readings=readings, air_temperature_c=20.0), quiet), "E"
        ).standard_uncertainty

    assert u() == pytest.approx(1.5 / math.sqrt(3)), "class II by default"
    assert u(accuracy_class="I") == pytest.approx(0.7 / math.sqrt(3))
    assert u(limit_of_error=2.0) == pytest.approx(2.0 / math.sqrt(3))
    assert u(calibration_u=0.4) == pytest.approx(0.4), "without a nominal length it cannot be scaled"
    assert u(calibration_u=0.4, nominal_length_mm=10_000.0) == pytest.approx(0.4 * 0.5231)


def test_the_spar_can_be_brought_to_20_degrees_too() -> None:
    """15 m and 12 K below: the tape 2.1 mm too short, an aluminium mast 4.3 mm shrunk."""
    visit = full_visit()
    tape_only = dimension(visit, "P").value
    both = derive(visit, Assumptions(spar_to_20_c=True))
    assert tape_only is not None
    assert dimension(both, "P").value == pytest.approx(tape_only * (1 + 23.5e-6 * 12), rel=1e-9)
    assert dimension(both, "E").value == dimension(visit, "E").value, "the boom's material is not described"
    assert "Expansion of the spar: main" in {line.source for line in both.budget("P")}
    unknown = replace(visit, rig=replace(RIG, masts=(Mast(),)))
    assert dimension(derive(unknown, Assumptions(spar_to_20_c=True)), "P").value == tape_only


def test_takes_by_different_tapes_are_corrected_each_by_its_own() -> None:
    second = Instrument("T-09", accuracy_class="I", nominal_length_mm=20_000.0, calibration_error=2.0)
    readings = (
        Reading("foot_distance", 5230.0, take=1, instrument="T-07"),
        Reading("foot_distance", 5231.0, take=2, instrument="T-09"),
    )
    row = dimension(Visit(air_temperature_c=20.0, instruments=(TAPE, second), readings=readings), "E")
    assert row.value == pytest.approx((5230.0 + 5231.0 * 1.0001) / 2, rel=1e-12)
    scales = (1.5**2 + 0.7**2) / 3 / 4
    temperature = (5230.5 * 11.5e-6 * 3) ** 2 / 3
    variance = scales + 0.5 / 3 / 2 + 0.25 / 3 + temperature
    assert row.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-6)


def test_three_takes_speak_for_themselves() -> None:
    readings = tuple(
        Reading("pole_length", value, take=i, instrument="T-07") for i, value in enumerate((4490.0, 4497.0, 4501.0))
    )
    visit = Visit(air_temperature_c=20.0, instruments=(TAPE,), readings=readings)
    row = dimension(visit, "SPL")
    scatter = 31.0 / 3  # variance of the three: ((6)^2 + 1^2 + 5^2) / 2 / 3
    others = 1.3**2 / 3 + (4496 * 11.5e-6 * 3) ** 2 / 3
    assert row.standard_uncertainty == pytest.approx(math.sqrt(scatter + others), rel=1e-9)
    assert row.degrees_of_freedom == pytest.approx(2 * ((scatter + others) / scatter) ** 2, rel=1e-9)
    assert row.coverage_factor > 3
    same = replace(visit, readings=tuple(replace(one, value=4497.0) for one in readings))
    assert dimension(same, "SPL").standard_uncertainty == pytest.approx(
        math.sqrt(0.25 / 3 + 1.3**2 / 3 + (4497 * 11.5e-6 * 3) ** 2 / 3), rel=1e-9
    )
    assert dimension(same, "SPL").degrees_of_freedom is None


def test_an_uncertainty_of_zero_is_not_quoted() -> None:
    nothing: dict[str, Any] = {one.name: 0.0 for one in fields(Assumptions) if one.name.endswith(("_mm", "_k", "_kg"))}
    perfect = tuple(replace(one, calibration_u=0.0) for one in full_visit().instruments)
    row = dimension(derive(replace(full_visit(), instruments=perfect), Assumptions(**nothing)), "P")
    assert row.value is not None
    assert row.standard_uncertainty is None
    assert "zero" in row.reason


def test_columns_need_no_loop_and_bound_their_memory() -> None:
    import numpy as np

    visit = full_visit()
    table = np.repeat(np.array([[one.value] for one in visit.readings]), 1000, axis=1)
    columns = derive_columns(visit, table, visit.air_temperature_c)
    row = columns.row("IG")
    assert columns.values[row] == pytest.approx(np.full(1000, dimension(visit, "IG").value), rel=1e-13)
    with pytest.raises(KeyError):
        columns.row("nothing")
