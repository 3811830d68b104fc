"""Changes between two visits: shared sources cancel, parts add up, and nothing breaks where the visits differ."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from computations.comparison import Comparison, compare, verdict
from computations.derivation import derive
from computations.inputs import Visit
from computations.results import Change
from tests.computations.visits import TAPE, full_visit, ketch, with_value, without
from tests.computations.world import TrueRig, draw, read


def compared(previous: Visit, current: Visit, limits: dict[str, float] | None = None) -> Comparison:
    return compare(derive(previous), derive(current), limits)


def change(comparison: Comparison, name: str, mast: str = "main") -> Change:
    found = comparison.get(name, mast)
    assert found is not None
    return found


def parts(one: Change) -> dict[tuple[str, str], float]:
    return {(part.reading, part.position): part.amount for part in one.carried_by}


def test_the_tape_s_scale_cancels_in_a_change_with_the_same_tape() -> None:
    before, now = full_visit(key="spring"), full_visit(key="autumn")
    same = change(compared(before, now), "P")
    # What is left, twice: both ends, both bands' edges, 3 K.
    left = 2 * (0.5 / 3 + 0.5 / 3 + (15286 * 11.5e-6 * 3) ** 2 / 3)
    assert same.expanded_uncertainty == pytest.approx(2 * math.sqrt(left), rel=1e-9)
    recalibrated = replace(now, instruments=(replace(TAPE, calibration="C-2026-099"), *now.instruments[1:]))
    other = change(compared(before, recalibrated), "P")
    assert other.expanded_uncertainty == pytest.approx(2 * math.sqrt(left + 2 * 3.5**2 / 3), rel=1e-9)


def test_two_visits_that_bear_the_same_key_are_still_two_visits() -> None:
    named, alike = compared(full_visit(key="a"), full_visit(key="b")), compared(full_visit(), full_visit())
    for one, other in zip(named.changes, alike.changes, strict=True):
        assert one.expanded_uncertainty == pytest.approx(other.expanded_uncertainty, rel=1e-12)


def test_nothing_changed() -> None:
    for one in compared(full_visit(), full_visit(key="later")).changes:
        assert one.change == 0.0
        assert one.verdict == "within_noise"
        assert [part.reading for part in one.carried_by] == ["remainder"]


def test_a_change_is_traced_to_the_reading_that_carried_it() -> None:
    """One slant distance 4 mm shorter, two marks alone: dBAS = -B/Z x dB / 2 = 4.4 mm, and everything above with it."""
    gone = ("string_to_sheer", "string_to_band")
    before = without(full_visit(), *gone)
    comparison = compared(before, with_value(before, "mark_to_sheer", 1772.0, "port"))
    for name in ("BAS", "IG", "ISP", "upper_band_above_sheer"):
        one = change(comparison, name)
        assert one.change == pytest.approx(4 * 1774 / 803 / 2, rel=1e-3)
        assert set(parts(one)) == {("mark_to_sheer", "port"), ("remainder", "")}
        assert parts(one)["mark_to_sheer", "port"] == pytest.approx(one.change, rel=1e-9)
    assert change(comparison, "P").change == 0.0


def test_verdicts_and_limits() -> None:
    longer = with_value(full_visit(key="later"), "luff_between_bands", 15296.0)
    assert change(compared(full_visit(), longer), "P").verdict == "changed"
    assert change(compared(full_visit(), longer, {"luff": 25.0}), "P").verdict == "changed_below_limit"
    assert change(compared(full_visit(), longer, {"luff": 5.0}), "P").verdict == "changed"
    en = change(compared(full_visit(), longer), "P").en
    assert en is not None
    assert en > 1
    assert verdict(-1.0, -3.0, None) == "within_noise"


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.booleans(), st.booleans())
def test_parts_add_up_to_the_change(seed: int, no_string: bool, no_marks: bool) -> None:
    random = np.random.default_rng(seed)

    def shaken(key: str, lost: tuple[str, ...]) -> Visit:
        visit = without(full_visit(key=key), *lost)
        return replace(
            visit, readings=tuple(replace(r, value=r.value + float(random.normal(0, 2))) for r in visit.readings)
        )

    previous = shaken("a", ("string_to_sheer", "string_to_band") if no_string else ())
    current = shaken("b", ("mark_spacing",) if no_marks else ())
    for one in compared(previous, current).changes:
        if one.change is None:
            assert one.carried_by == ()
        else:
            total = math.fsum(part.amount for part in one.carried_by)
            assert total == pytest.approx(one.change, abs=1e-9 * max(1.0, abs(one.current or 0.0)))


def test_a_boom_height_found_in_another_way_stands_as_one_part() -> None:
    before = without(full_visit(key="a"), "mark_spacing", "band_to_sheer", "mark_to_sheer")
    now = without(full_visit(key="b"), "string_to_sheer", "string_to_band")
    comparison = compared(before, now)
    isp, bas = change(comparison, "ISP"), change(comparison, "BAS")
    assert bas.change is not None
    assert abs(bas.change) > 1
    assert parts(bas) == {("remainder", ""): pytest.approx(bas.change)}
    assert parts(isp)["boom_above_sheer", ""] == pytest.approx(bas.change, rel=1e-9)
    assert parts(isp)["remainder", ""] == pytest.approx(0.0, abs=1e-6)


def test_readings_that_are_new_or_gone() -> None:
    comparison = compared(without(full_visit(), "pole_length"), without(full_visit(key="b"), "foretriangle_base"))
    pole, base = change(comparison, "SPL"), change(comparison, "J")
    assert pole.previous is None
    assert pole.current is not None
    assert base.previous is not None
    assert (base.current, base.change, base.verdict, base.en) == (None, None, None, None)
    by_key = {(one.reading, one.position): one for one in comparison.readings}
    assert by_key["pole_length", ""].previous is None
    assert by_key["foretriangle_base", ""].current is None
    assert by_key["luff_between_bands", ""].change == 0.0


def test_a_second_mast_that_came_or_went() -> None:
    comparison = compared(full_visit(), ketch())
    mizzen = change(comparison, "P", "mizzen")
    assert mizzen.previous is None
    assert mizzen.current is not None
    back = compared(ketch(), full_visit())
    assert change(back, "P", "mizzen").current is None


def test_en_is_calibrated_on_two_visits_to_the_same_rig() -> None:
    """Two visits with one tape: E_n beyond 1 in 4.55 per cent of the changes where every source is normal."""
    random = np.random.default_rng(5)
    lasting = draw(random, full_visit(), normal=True)
    beyond, total = 0, 0
    for _ in range(150):
        pair = []
        for key in ("a", "b"):
            template = full_visit(key=key)
            errors = draw(random, template, normal=True)
            errors["tape_scale", "T-07"] = lasting["tape_scale", "T-07"]
            pair.append(read(TrueRig(), template, errors))
        comparison = compared(pair[0], pair[1])
        for name in ("P", "J", "SFJ", "TPS", "front_of_mast_to_bow", "taper_length", "SPL"):
            en = change(comparison, name).en
            assert en is not None
            total += 1
            beyond += abs(en) > 1
    assert 0.02 < beyond / total < 0.08
