"""Single answers of a diagnosis: what they name, how large, and what happens at the edges."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from computations.comparison import compare
from computations.derivation import derive
from computations.diagnosis.diagnose import Answer, diagnose
from computations.diagnosis.sisters import Sisters, sisters_from
from computations.diagnosis.staging import scene_alone, scene_between
from computations.documents import comparison_document
from computations.inputs import Reading, Visit
from computations.results import ReadingRef
from tests.computations.visits import full_visit, ketch, with_value, without


def between(before: Visit, after: Visit) -> tuple[Answer, ...]:
    return diagnose(scene_between(derive(replace(before, key="then")), derive(replace(after, key="now"))))


def alone(visit: Visit, sisters: Sisters | None = None) -> tuple[Answer, ...]:
    return diagnose(scene_alone(derive(visit), sisters.readings if sisters else None))


def reading(visit: Visit, slug: str, position: str = "") -> float:
    return next(one.value for one in visit.readings if (one.slug, one.position) == (slug, position))


def test_the_same_figures_mean_nothing_changed():
    first = between(full_visit(), full_visit())[0]
    assert first.kind == "nothing_changed"
    assert first.probability > 0.9
    assert first.readings == ()


def test_a_real_change_has_its_size_and_reading():
    first = between(full_visit(), with_value(full_visit(), "foretriangle_base", 4483.0 + 61.0, ""))[0]
    # J alone: TPS stands where it stood, so the mast does too.
    assert (first.kind, first.readings) == ("quantity_changed", (ReadingRef("foretriangle_base"),))
    assert first.size == pytest.approx(61.0, abs=1.0)
    assert first.unit == "mm"


def test_digits_name_both_numbers():
    before = with_value(full_visit(), "pole_length", 4527.0)
    after = with_value(full_visit(), "pole_length", 5427.0)
    first = between(before, after)[0]
    assert first.kind == "digits_swapped"
    assert first.size == pytest.approx(900.0)
    assert "5\N{NARROW NO-BREAK SPACE}427 for 4\N{NARROW NO-BREAK SPACE}527 mm" in first.explanation


@pytest.mark.parametrize(("factor", "words"), [(25.4, "in millimetres but taken as inches"),
                                               (1 / 25.4, "in inches but taken as millimetres"),
                                               (1 / 304.8, "in feet but taken as millimetres")])  # fmt: skip
def test_a_wrong_unit_is_named(factor: float, words: str):
    value = round(reading(full_visit(), "foot_distance") * factor, 2)
    first = between(full_visit(), with_value(full_visit(), "foot_distance", value))[0]
    assert (first.kind, first.readings) == ("wrong_unit", (ReadingRef("foot_distance"),))
    assert words in first.explanation


def test_a_single_take_at_fault():
    before, after = full_visit(takes=3), with_value(full_visit(takes=3), "foretriangle_base", 4583.0, take=2)
    first = between(before, after)[0]
    assert (first.kind, first.size) == ("tape_start", 100.0)


def test_on_a_ketch_the_mast_is_named():
    after = replace(
        ketch(),
        readings=tuple(
            replace(one, value=one.value + 1000.0) if one.mast == "mizzen" and one.slug == "foot_distance" else one
            for one in ketch().readings
        ),
    )
    first = between(ketch(), after)[0]
    assert (first.kind, first.readings) == ("tape_start", (ReadingRef("foot_distance", "mizzen"),))
    assert "mizzen mast" in first.explanation


def test_different_methods_meet_in_the_boom_height():
    before = without(full_visit(), "mark_spacing", "band_to_sheer", "mark_to_sheer")
    after = without(full_visit(), "string_to_sheer", "string_to_band")
    assert between(before, after)[0].kind == "nothing_changed"
    # A tape that started from another mark on one slant distance contradicts both the other side and the string.
    first = between(before, with_value(after, "band_to_sheer", 2251.0, "port"))[0]
    assert (first.kind, first.readings) == ("tape_start", (ReadingRef("band_to_sheer", "main", "port"),))


def test_a_mark_made_elsewhere_is_no_change():
    before = full_visit()
    drop = 1315.0
    again: dict[tuple[str, str], float] = {("mark_spacing", ""): 503.0}
    for side, upper in (("port", 2151.0), ("starboard", 2153.0)):
        across = math.sqrt(upper**2 - drop**2)
        again["mark_to_sheer", side] = round(math.hypot(across, drop - 503.0))
    first_mark = {
        ("mark_to_sheer", side): round(math.hypot(math.sqrt(upper**2 - drop**2), drop - 803.0))
        for side, upper in (("port", 2151.0), ("starboard", 2153.0))
    }
    for (slug, position), value in first_mark.items():
        before = with_value(before, slug, float(value), position)
    after = before
    for (slug, position), length in again.items():
        after = with_value(after, slug, float(length), position)
    assert between(before, after)[0].kind == "nothing_changed"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e8, -1e8, 0.0])
@pytest.mark.parametrize("slug", ["luff_between_bands", "mark_spacing", "band_to_sheer", "scale_reading"])
def test_nothing_is_too_wild(slug: str, value: float):
    wild = with_value(full_visit(), slug, value, "port" if slug == "band_to_sheer" else "")
    for given in (between(full_visit(), wild), between(wild, full_visit()), alone(wild)):
        assert all(0.0 <= one.probability <= 1.0 + 1e-9 and math.isfinite(one.size) for one in given)
        assert sum(one.probability for one in given) > 0.9


def test_no_reading_in_common_says_nothing():
    pole = without(full_visit(), *{one.slug for one in full_visit().readings} - {"pole_length"})
    other = without(full_visit(), "pole_length")
    empty = replace(full_visit(), readings=())
    assert between(empty, empty)[0].kind == "nothing_changed"
    assert between(pole, empty)[0].kind == "nothing_changed"
    assert between(other, pole)[0].kind == "nothing_changed"


def test_missing_readings_do_not_hide_a_fault():
    after = without(
        with_value(full_visit(), "pole_length", 3497.0), "foretriangle_base", "forestay_to_bow", "boom_depth"
    )
    first = between(full_visit(), after)[0]
    assert (first.kind, first.size) == ("tape_start", -1000.0)


def test_a_first_visit_is_held_against_itself():
    assert alone(full_visit())[0].kind == "nothing_changed"
    inches = with_value(full_visit(), "luff_between_bands", 601.8)
    assert alone(inches)[0].kind == "wrong_unit"
    exchanged = with_value(with_value(full_visit(), "section_fore_aft_lower", 121.1), "section_transverse_lower", 212.3)
    assert alone(exchanged)[0].kind == "section_swapped"
    start = with_value(full_visit(), "string_to_band", 204.0)
    assert alone(start)[0].kind in ("tape_start", "digits_swapped")
    assert ReadingRef("string_to_band") in alone(start)[0].readings


def sisters() -> Sisters:
    return sisters_from(
        derive(with_value(full_visit(key=f"sister {i}"), "pole_length", 4497.0 + 2 * i)) for i in range(-3, 4)
    )


def test_sisters_tell_a_first_visit_apart():
    first = alone(with_value(full_visit(), "pole_length", 4397.0), sisters())[0]
    assert (first.kind, first.readings, first.size) == ("tape_start", (ReadingRef("pole_length"),), -100.0)
    odd = alone(with_value(full_visit(), "pole_length", 4431.0), sisters())[0]
    assert odd.kind == "quantity_changed"
    assert "sisters" in odd.explanation
    assert alone(full_visit(), sisters())[0].kind == "nothing_changed"


def test_fewer_than_five_sisters_say_nothing():
    few = sisters_from(derive(full_visit(key=f"sister {i}")) for i in range(4))
    assert few == Sisters()
    pole = sisters().readings["pole_length", "main", ""]
    assert pole.centre == pytest.approx(4496.4, abs=0.5)
    assert pole.spread == pytest.approx(4.0 / 0.6745, rel=1e-3)
    assert pole.boats == 7
    assert len(sisters().dimensions["luff", "main"]) == 7


def test_an_identification_that_changed_makes_a_new_mast_likelier():
    after = full_visit()
    gains = {
        "luff_between_bands": 9.0,
        "forestay_above_band": -9.0,
        "taper_length": 12.0,
        "section_fore_aft_lower": 1.6,
    }
    for slug, gain in gains.items():
        after = with_value(after, slug, reading(after, slug) + gain)

    def named(visit: Visit, name: str) -> Visit:
        masts = tuple(replace(mast, mast_identification=name) for mast in visit.rig.masts)
        return replace(visit, rig=replace(visit.rig, masts=masts))

    def new_mast(name: str) -> float:
        given = between(named(full_visit(), "A 1"), named(after, name))
        return sum(one.probability for one in given if one.kind == "new_mast")

    assert new_mast("B 2") > new_mast("") > new_mast("A 1")


def test_feet_and_inches_have_digits_too():
    def pole(written: str, value: float) -> Visit:
        readings = tuple(
            Reading("pole_length", value, instrument="T-07", written=written) if one.slug == "pole_length" else one
            for one in full_visit().readings
        )
        return replace(full_visit(), readings=readings)

    first = between(pole("14 ft 11 in", 4546.6), pole("41 ft 11 in", 12776.2))[0]
    assert first.kind == "digits_swapped"
    assert first.size == pytest.approx(27 * 304.8)


def test_the_document_of_two_faults():
    after = with_value(with_value(full_visit(), "pole_length", 3497.0), "foil_fore_aft", 62.6)
    before, now = derive(full_visit()), derive(replace(after, key="autumn"))
    document = comparison_document(compare(before, now), diagnose(scene_between(before, now)))
    first = json.loads(json.dumps(document, allow_nan=False))["diagnosis"][0]
    assert first["kind"] == "joint"
    assert {part["kind"] for part in first["parts"]} == {"foil_doubling", "tape_start"}
    for part in first["parts"]:
        assert part.keys() == {"kind", "probability", "readings", "size", "unit", "explanation"}
    assert {"reading": "pole_length", "mast": "main", "position": ""} in first["readings"]
