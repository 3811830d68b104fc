"""Each check: quiet on a good visit, and says what is wrong, where and by how much on a bad one."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from computations.checking.standing import Limit, decide
from computations.checks import check
from computations.derivation import derive
from computations.inputs import PREPARATION_ITEMS, Instrument, Mast, Preparation, Reading, Rig, Visit
from computations.results import CheckResult
from tests.computations.visits import RIG, TAPE, full_visit, ketch, with_value, without


def good_visit(takes: int = 1) -> Visit:
    preparation = tuple(Preparation(item, "yes") for item in PREPARATION_ITEMS)
    return replace(full_visit(takes), preparation=preparation)


def findings(visit: Visit) -> tuple[CheckResult, ...]:
    return check(visit, derive(visit))


def found(visit: Visit, name: str) -> list[CheckResult]:
    return [one for one in findings(visit) if one.check == name]


def test_a_good_visit_is_left_in_peace() -> None:
    assert findings(good_visit()) == ()
    assert findings(good_visit(3)) == ()


def test_findings_stand_with_the_stops_first_and_unique_keys() -> None:
    grades = [one.grade for one in findings(Visit())]
    assert grades == sorted(grades, key=("stop", "ask", "note").index)
    keys = [one.key for one in findings(Visit())]
    assert len(set(keys)) == len(keys)
    assert all(len(key) <= 200 for key in keys)


def test_keys_outlast_a_change_of_figures() -> None:
    first = found(with_value(good_visit(), "string_to_band", 140.0), "boom_methods_differ")
    second = found(with_value(good_visit(), "string_to_band", 150.0), "boom_methods_differ")
    assert first[0].message != second[0].message
    assert first[0].key == second[0].key


MISSING = [
    ("luff_between_bands", ""),
    ("foretriangle_base", ""),
    ("section_fore_aft_upper", ""),
    ("taper_length", ""),
    ("pole_length", ""),
    ("bowsprit_tack_reach", ""),
    ("foil_fore_aft", ""),
    ("boom_band_width", ""),
    ("spinnaker_halyard_above_band", ""),
]


@pytest.mark.parametrize(("slug", "position"), MISSING)
def test_a_missing_reading_stops(slug: str, position: str) -> None:
    (one,) = found(without(good_visit(), slug), "reading_missing")
    assert one.grade == "stop"
    assert [(ref.reading, ref.position) for ref in one.readings] == [(slug, position)]


def test_day_place_and_temperature() -> None:
    bare = replace(good_visit(), date=None, place=" ", air_temperature_c=None)
    names = {one.check for one in findings(bare) if one.grade == "stop"}
    assert {"date_missing", "place_missing", "temperature_missing"} <= names


def test_either_method_is_enough_and_a_half_read_one_is_asked_about() -> None:
    string_only = without(good_visit(), "mark_spacing", "band_to_sheer", "mark_to_sheer")
    assert findings(string_only) == ()
    half = without(good_visit(), "mark_to_sheer")
    assert [one.grade for one in found(half, "boom_height_half_read")] == ["ask"]
    neither = without(half, "string_to_band")
    (one,) = found(neither, "boom_height_missing")
    assert one.grade == "stop"
    assert {ref.reading for ref in one.readings} == {"string_to_band"}


def test_a_ketch_needs_each_mast_s_own_set() -> None:
    missing = {(ref.reading, ref.mast) for one in found(ketch(), "reading_missing") for ref in one.readings}
    assert ("section_fore_aft_lower", "mizzen") in missing
    assert ("foretriangle_base", "mizzen") not in missing


def test_readings_that_do_not_belong() -> None:
    visit = good_visit()
    stray = replace(visit, readings=(*visit.readings, Reading("foot_distance", 3000.0, "mizzen", instrument="T-07")))
    assert found(stray, "reading_misplaced")[0].grade == "stop"
    sheave = replace(visit, readings=(*visit.readings, Reading("luff_to_sheave", 15300.0, instrument="T-07")))
    assert found(sheave, "not_in_description")[0].grade == "ask"
    sideless = replace(visit, readings=(*visit.readings, Reading("string_to_sheer", 1211.0, instrument="T-07")))
    assert "port or starboard" in found(sideless, "reading_misplaced")[0].message
    twice = replace(visit, readings=(*visit.readings, Reading("pole_length", 4497.0, instrument="T-07")))
    assert found(twice, "take_twice")[0].grade == "stop"


@pytest.mark.parametrize(
    ("slug", "value", "expected"),
    [("pole_length", -5.0, 1), ("foot_distance", 0.0, 1), ("taper_length", 0.0, 0), ("string_to_band", -20.0, 0)],
)
def test_what_cannot_be_negative_or_zero(slug: str, value: float, expected: int) -> None:
    assert len(found(with_value(good_visit(), slug, value), "not_positive")) == expected


def test_what_is_no_number() -> None:
    broken = with_value(good_visit(), "foot_distance", float("nan"))
    assert found(broken, "not_a_number")[0].grade == "stop"
    assert found(broken, "reading_missing")[0].readings[0].reading == "foot_distance"


def test_preparation() -> None:
    assert found(full_visit(), "preparation_unanswered")[0].grade == "note"
    slack = tuple(
        Preparation(item, "no" if item == "supported_straight" else "yes", remark="two trestles")
        for item in PREPARATION_ITEMS
    )
    (one,) = found(replace(full_visit(), preparation=slack), "preparation_not_done")
    assert one.grade == "ask"
    assert "two trestles" in one.message


def test_weighing_needs_the_tare() -> None:
    assert found(without(good_visit(), "sling_weight"), "weighing_half_read")[0].readings[0].reading == "sling_weight"


def by_tape(**changes: object) -> Visit:
    visit = good_visit()
    return replace(visit, instruments=(replace(TAPE, **changes), *visit.instruments[1:]))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "name", "grade"),
    [
        ({"due_on": dt.date(2026, 4, 2)}, "calibration_overdue", "stop"),
        ({"calibrated_on": None, "due_on": None}, "not_calibrated", "ask"),
        ({"calibrated_on": dt.date(2026, 4, 4)}, "calibrated_later", "ask"),
        ({"nominal_length_mm": 15_000.0}, "beyond_range", "stop"),
        ({"nominal_length_mm": None, "calibration_error": 1.0}, "nominal_length", "ask"),
        ({"kind": "calliper"}, "unusual_instrument", "ask"),
    ],
)
def test_instruments(changes: dict[str, object], name: str, grade: str) -> None:
    (one,) = found(by_tape(**changes), name)
    assert one.grade == grade
    assert "T-07" in one.message
    assert one.key == f"{name}:main:T-07"


def test_on_the_last_day_the_calibration_is_still_in_date() -> None:
    assert not found(by_tape(due_on=dt.date(2026, 4, 3)), "calibration_overdue")


def test_instruments_without_a_name_or_a_record() -> None:
    visit = good_visit()
    nameless = replace(
        visit, readings=tuple(replace(r, instrument="") if r.slug == "foot_distance" else r for r in visit.readings)
    )
    (one,) = found(nameless, "instrument_not_named")
    assert (one.grade, one.readings[0].reading) == ("stop", "foot_distance")
    unknown = replace(visit, instruments=visit.instruments[1:])
    assert found(unknown, "instrument_unknown")[0].grade == "stop"


def test_resolution() -> None:
    visit = good_visit()
    coarse = replace(
        visit,
        readings=tuple(
            replace(r, value=5 * round(r.value / 5)) if r.instrument == "T-07" else r for r in visit.readings
        ),
    )
    assert found(coarse, "all_end_in_0_or_5")[0].grade == "note"
    fine = with_value(visit, "foot_distance", 5231.5)
    assert found(fine, "finer_than_read")[0].readings[0].reading == "foot_distance"
    inches = replace(fine, readings=tuple(replace(r, unit_written="ft") for r in fine.readings))
    assert not found(inches, "finer_than_read")
    assert not found(with_value(visit, "boom_depth", 180.3), "finer_than_read"), "callipers read tenths"


def test_bands() -> None:
    narrow = with_value(good_visit(), "upper_band_width", 24.0)
    (one,) = found(narrow, "band_narrow")
    assert "24 mm" in one.message
    assert "25 mm" in one.message
    for contrast, grade in ((False, "ask"), (None, "note")):
        rig = replace(RIG, masts=(replace(RIG.masts[0], band_contrast=contrast),))
        assert found(replace(good_visit(), rig=rig), "band_contrast")[0].grade == grade


@pytest.mark.parametrize(("apart", "grade"), [(1.0, None), (2.0, None), (4.0, "ask"), (100.0, "stop")])
def test_repeats(apart: float, grade: str | None) -> None:
    visit = with_value(with_value(good_visit(2), "pole_length", 4497.0), "pole_length", 4497.0 + apart, take=2)
    assert [one.grade for one in found(visit, "repeats_apart")] == ([grade] if grade else [])


def test_port_against_starboard() -> None:
    assert not found(with_value(good_visit(), "string_to_sheer", 1210.0, "port"), "sides_apart")
    (one,) = found(with_value(good_visit(), "string_to_sheer", 1199.0, "port"), "sides_apart")
    assert one.grade == "ask"
    assert "15 mm higher" in one.message
    # A mast 10 mm off the centreline makes both slants on one side longer; the drops do not mind.
    leaning = with_value(
        with_value(good_visit(), "band_to_sheer", 2161.0, "starboard"), "mark_to_sheer", 1790.0, "starboard"
    )
    assert not found(leaning, "sides_apart")
    assert found(with_value(good_visit(), "mark_to_sheer", 1768.0, "port"), "sides_apart")


def test_methods_for_the_boom_s_height() -> None:
    assert not found(good_visit(), "boom_methods_differ")
    (one,) = found(with_value(good_visit(), "string_to_band", 140.0), "boom_methods_differ")
    assert one.grade == "stop"
    assert "1352 mm by the string" in one.message
    (one,) = found(with_value(good_visit(), "band_to_sheer", 9000.0, "port"), "impossible_triangle")
    assert one.grade == "stop"


def test_marks_close_together_are_said_to_magnify() -> None:
    visit = without(good_visit(), "string_to_sheer", "string_to_band")
    for slug, port, starboard in (("band_to_sheer", 2151.0, 2153.0), ("mark_to_sheer", 1899.0, 1901.0)):
        visit = with_value(with_value(visit, slug, port, "port"), slug, starboard, "starboard")
    visit = with_value(visit, "mark_spacing", 500.0)
    (one,) = found(visit, "marks_close")
    assert one.grade == "note"
    assert "4.3 mm" in one.message
    assert "1100 mm" in one.message


@pytest.mark.parametrize(
    ("slug", "value", "name"),
    [
        ("section_fore_aft_upper", 220.0, "sections_mdl2_mdl1"),
        ("section_transverse_lower", 220.0, "sections_mdt1_mdl1"),
        ("section_transverse_upper", 140.0, "sections_mdt2_mdl2"),
        ("taper_length", 16_000.0, "taper_long"),
        ("balance_above_band", 3000.0, "balance_to_luff"),
        ("foot_distance", 15_231.0, "foot_to_luff"),
        ("foretriangle_base", 1448.0, "base_to_height"),
        ("pole_length", 3497.0, "pole_to_base"),
        ("bowsprit_tack_reach", 4000.0, "tack_to_base"),
        ("foil_fore_aft", 3.1, "foil_odd"),
        ("boom_depth", 1802.0, "boom_depth_to_foot"),
        ("sling_weight", 192.0, "slings_heavy"),
    ],
)
def test_proportions(slug: str, value: float, name: str) -> None:
    (one,) = found(with_value(good_visit(), slug, value), name)
    assert one.grade == "ask"
    assert slug in {ref.reading for ref in one.readings}
    assert not found(good_visit(), name)


def test_a_spinnaker_hoist_below_the_forestay() -> None:
    visit = good_visit()
    low = replace(visit, readings=tuple(r for r in visit.readings if r.position != "masthead"))
    assert found(low, "hoist_low")[0].grade == "ask"


def test_outrigger_behind_the_mast() -> None:
    visit = good_visit()
    extra = (
        Reading("outrigger_reach", 140.0, instrument="T-07"),
        Reading("outrigger_mast_width", 162.0, instrument="K-02"),
    )
    assert found(replace(visit, rig=replace(RIG, outrigger=True), readings=visit.readings + extra), "outrigger_short")


def test_a_design_s_limits_are_decided_with_the_uncertainty() -> None:
    """Limit 6858, u 1.55, guard band U: 6856.2 cannot be told, 6854.0 is within, 6862 is outside."""
    limit = Limit(greatest=6858.0)
    assert decide(6856.2, 3.1, limit) == "cannot_tell"
    assert decide(6854.0, 3.1, limit) == "within"
    assert decide(6862.0, 3.1, limit) == "outside"
    assert decide(6862.0, 3.1, Limit(least=6860.0)) == "cannot_tell"
    visit = good_visit()
    derivation = derive(visit)
    for greatest, names in ((15_200.0, ["limit_outside"]), (15_285.0, ["limit_cannot_tell"]), (15_400.0, [])):
        limits = {("luff", "main"): Limit(greatest=greatest, source="design plan")}
        assert [one.check for one in check(visit, derivation, limits=limits)] == names


def test_sisters() -> None:
    visit = good_visit()
    derivation = derive(visit)
    sisters = {("luff", "main"): [15_280.0, 15_285.0, 15_283.0, 15_286.0, 15_281.0]}
    assert check(visit, derivation, sisters=sisters) == ()
    longer = {("luff", "main"): [value + 100 for value in sisters["luff", "main"]]}
    (one,) = check(visit, derivation, sisters=longer)
    assert (one.check, one.grade) == ("unlike_sisters", "ask")
    assert check(visit, derivation, sisters={("luff", "main"): longer["luff", "main"][:4]}) == (), "too few"


def test_no_visit_breaks_a_check() -> None:
    for value in (float("nan"), -1e12, -5.0, 0.0, 1e-300, 1e8):
        for slug in {one.slug for one in full_visit().readings}:
            findings(with_value(full_visit(2), slug, value))
    bare = Rig(masts=(Mast(upper_band=False),), spinnaker=False, pole=False, bowsprit=False, headsail_foil=False)
    findings(Visit(rig=bare, instruments=(Instrument("T-07"),)))
