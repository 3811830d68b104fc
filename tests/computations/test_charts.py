"""The charts add up, say themselves in words and never leave their frame."""

from __future__ import annotations

import datetime as dt
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from computations.charts import Part, Point, draw_carried, draw_history, shortened
from computations.drawing_labels import text_width

SVG = "{http://www.w3.org/2000/svg}"
PARTS = [Part("Second mark to the sheer point, port", 13.2), Part("Lower band to the sheer point, port", -4.1)]


def bars(svg: str) -> list[tuple[float, float]]:
    """Left and right edge of each bar, top to bottom."""
    found = [one for one in ET.fromstring(svg).iter(f"{SVG}rect") if one.get("stroke")]
    edges = [(float(one.get("x", "nan")), float(one.get("width", "nan"))) for one in found]
    return [(left, left + width) for left, width in edges]


def test_each_bar_starts_where_the_one_before_ended_and_the_last_is_the_sum() -> None:
    first, second, total = bars(draw_carried(PARTS))
    assert second[1] == pytest.approx(first[1], abs=0.15)
    assert total[0] == pytest.approx(first[0], abs=0.15)
    assert total[1] == pytest.approx(second[0], abs=0.15)
    scale = (first[1] - first[0]) / 13.2
    assert total[1] - total[0] == pytest.approx(9.1 * scale, abs=0.2)


def test_a_loss_is_hollow_and_carries_its_sign() -> None:
    svg = draw_carried(PARTS, expanded=6.0)
    rects = [one for one in ET.fromstring(svg).iter(f"{SVG}rect") if one.get("stroke")]
    assert [one.get("fill") for one in rects] == ["currentColor", "none", "currentColor"]
    assert "\N{MINUS SIGN}4.1" in svg
    assert "+13.2" in svg
    assert "Change in all +9.1 mm. Within ±6.0 it would be measuring noise (shaded)." in svg


def test_a_change_that_nothing_carried_is_still_a_chart() -> None:
    assert "0.0" in draw_carried([])


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_figures_that_are_no_numbers_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        draw_carried([Part("Luff", bad)])
    with pytest.raises(ValueError, match="finite"):
        draw_history([Point(dt.date(2026, 5, 4), bad, None)])


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.builds(Part, st.text("abc  ", max_size=80), st.floats(-1e6, 1e6)), max_size=8),
    st.one_of(st.none(), st.floats(0, 1e6)),
    st.sampled_from((340.0, 560.0)),
)
def test_bars_stay_within_the_frame(parts: list[Part], expanded: float | None, width: float) -> None:
    for left, right in bars(draw_carried(parts, expanded=expanded, width=width)):
        assert -0.1 <= left < right <= width + 0.1


def test_history_stands_in_the_order_of_the_days_with_its_bars() -> None:
    points = [Point(dt.date(2026, 5, 1), 15314.2, 3.8), Point(dt.date(2022, 5, 1), 15283.2, 4.1)]
    svg = draw_history(points, band=(15279.0, 15288.0))
    root = ET.fromstring(svg)
    circles = [(float(one.get("cx", "")), float(one.get("cy", ""))) for one in root.iter(f"{SVG}circle")]
    assert circles[0][0] < circles[1][0]
    assert circles[0][1] > circles[1][1]
    assert "2022-05-01: 15\u202f283.2 ± 4.1\u202fmm. 2026-05-01: 15\u202f314.2 ± 3.8\u202fmm." in svg
    assert "The shaded band is measuring noise." in svg


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.builds(Point, st.dates(), st.floats(-1e5, 1e5), st.one_of(st.none(), st.floats(0, 1e4))), max_size=50)
)
def test_history_stays_within_the_frame(points: list[Point]) -> None:
    root = ET.fromstring(draw_history(points))
    height = float(root.get("height", "nan"))
    for one in root.iter(f"{SVG}circle"):
        assert 0 <= float(one.get("cx", "nan")) <= 560
        assert 0 <= float(one.get("cy", "nan")) <= height


def test_no_visit_is_said() -> None:
    assert draw_history([]).count("No visit yet.") == 2


def test_ink_only() -> None:
    svg = draw_carried(PARTS, expanded=3.0) + draw_history([Point(dt.date(2026, 5, 1), 1.0, 0.5)])
    assert " style=" not in svg
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) == {"currentColor", "none"}


def test_long_labels_are_cut_to_their_room() -> None:
    cut = shortened("Spinnaker halyard above the lower band, masthead", 120)
    assert cut.endswith("…")
    assert text_width(cut, 12) <= 120
    assert shortened("Luff", 120) == "Luff"
