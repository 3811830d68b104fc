"""The rig drawing: nothing overlaps at any proportion, it is to scale, and it says in words what it shows."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from computations import drawing
from computations.catalogue import DIMENSIONS
from computations.drawing_geometry import plan_of
from computations.drawing_labels import Label, Placer, Spot, crosses, overlap, text_width
from computations.inputs import Mast, Reading, Rig
from computations.results import DimensionResult

SVG = "{http://www.w3.org/2000/svg}"
SLOOP = Rig("sloop", (Mast(spreader_pairs=2),), spinnaker=True, pole=True)
KETCH = Rig("ketch", (Mast(spreader_pairs=2), Mast("mizzen", spreader_pairs=1)))
SCHOONER = Rig("schooner", (Mast(), Mast("mizzen"), Mast("fore")), bowsprit=True)
VALUES = {
    "luff": 15286.4,
    "foot": 5432.1,
    "boom_above_sheer": 1312.4,
    "forestay_height": 15480.2,
    "spinnaker_hoist": 16015.8,
    "foretriangle_base": 4210.6,
    "forestay_to_bow": 310.2,
    "section_fore_aft_lower": 212.3,
    "section_transverse_lower": 121.4,
    "section_fore_aft_upper": 158.2,
    "section_transverse_upper": 92.7,
    "taper_length": 2810.0,
    "boom_depth": 168.4,
    "pole_length": 4300.0,
    "foretriangle_area": 32.6,
}


def rows(rig: Rig, values: Mapping[str, float | None]) -> list[DimensionResult]:
    """Dimension rows for every mast alike, each with U = 4."""
    found = []
    for slug, value in values.items():
        kind = DIMENSIONS[slug]
        names = [mast.name for mast in rig.masts] if kind.per == "mast" else [rig.forward_mast]
        found += [
            DimensionResult(kind.label, slug, name, kind.unit, value, None if value is None else 2.0) for name in names
        ]
    return found


def figures(rig: Rig = SLOOP, **changes: float | None) -> drawing.RigFigures:
    return drawing.figures_from(rows(rig, {**VALUES, **changes}), rig)


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def groups(svg: str) -> dict[tuple[str, str], ET.Element]:
    return {
        (one.get("data-dimension", ""), one.get("data-mast", "")): one
        for one in parsed(svg).iter(f"{SVG}g")
        if one.get("data-dimension")
    }


# ---- Nothing overlaps ----

LENGTHS = st.one_of(
    st.none(),
    st.floats(min_value=100.0, max_value=40000.0),
    st.floats(min_value=1.0, max_value=1e6),
)
RIGS = st.builds(
    lambda kind, masts, spreaders, extras: Rig(
        kind,
        tuple(Mast(name, spreader_pairs=spreaders) for name in masts),
        spinnaker=extras[0],
        pole=extras[1],
        bowsprit=extras[2],
        outrigger=bool(extras[0]),
        inner_forestay=extras[2],
    ),
    st.sampled_from(("sloop", "cutter", "ketch", "yawl", "schooner")),
    st.sampled_from((("main",), ("main", "mizzen"), ("main", "fore"), ("main", "mizzen", "fore"))),
    st.integers(min_value=0, max_value=5),
    st.tuples(st.booleans(), st.booleans(), st.booleans()),
)


@st.composite
def random_figures(draw: st.DrawFn) -> drawing.RigFigures:
    rig = draw(RIGS)
    found = []
    for kind in DIMENSIONS.values():
        for name in [mast.name for mast in rig.masts] if kind.per == "mast" else [rig.forward_mast]:
            value = draw(LENGTHS)
            found.append(DimensionResult(kind.label, kind.slug, name, kind.unit, value, None if value is None else 2.0))
    return drawing.figures_from(found, rig)


@settings(max_examples=500, deadline=None)
@given(random_figures(), st.one_of(st.none(), random_figures()), st.sampled_from((340.0, 360.0, 480.0, 560.0, 900.0)))
def test_no_two_labels_overlap_and_all_lie_within_the_drawing(
    rig_figures: drawing.RigFigures, previous: drawing.RigFigures | None, width: float
) -> None:
    boxes, (left, top, right, bottom) = drawing.text_boxes(rig_figures, previous=previous, width=width)
    assert len(boxes) > 5
    for one, other in combinations(boxes, 2):
        assert not overlap(one, other), (one, other)
    for box in boxes:
        assert left <= box[0] < box[2] <= right, box
        assert top <= box[1] < box[3] <= bottom, box


@settings(max_examples=60, deadline=None)
@given(random_figures())
def test_every_random_drawing_is_well_formed_and_names_each_dimension_once(rig_figures: drawing.RigFigures) -> None:
    svg = drawing.draw_rig(rig_figures, previous=rig_figures)
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert "nan" not in svg.lower().replace("spinnaker", "")
    assert "inf" not in re.sub(r"<(title|desc).*?</\1>", "", svg)
    parsed(svg)


def test_the_overlap_test_can_fail() -> None:
    assert overlap((0, 0, 10, 10), (9, 9, 20, 20))
    assert not overlap((0, 0, 10, 10), (10, 0, 20, 10))


# ---- To scale ----


def test_lengths_on_paper_are_in_the_proportion_of_the_figures() -> None:
    found = groups(drawing.draw_rig(figures()))

    def drawn(slug: str) -> float:
        line = next(one for one in found[slug, "main"].iter(f"{SVG}line") if one.get("class") == "rig-hit")
        x1, y1, x2, y2 = (float(line.get(name, "nan")) for name in ("x1", "y1", "x2", "y2"))
        return math.hypot(x2 - x1, y2 - y1)

    scale = drawn("luff") / VALUES["luff"]
    for slug in ("foot", "boom_above_sheer", "forestay_height", "spinnaker_hoist", "foretriangle_base", "pole_length"):
        assert drawn(slug) == pytest.approx(VALUES[slug] * scale, abs=0.15), slug


def test_a_longer_luff_moves_the_upper_band_and_nothing_else_on_the_mast() -> None:
    before, after = plan_of(figures()), plan_of(figures(luff=15386.4))
    assert after.masts[0].upper_band - before.masts[0].upper_band == pytest.approx(100.0)
    assert after.masts[0].lower_band == before.masts[0].lower_band


def test_the_forward_mast_stands_at_the_foretriangle() -> None:
    plan = plan_of(drawing.figures_from(rows(SCHOONER, VALUES), SCHOONER))
    assert [mast.name for mast in plan.masts] == ["fore", "main", "mizzen"]
    assert plan.masts[0].x == 0 > plan.masts[1].x > plan.masts[2].x


def test_an_outrigger_is_drawn_ahead_of_the_mast() -> None:
    readings = (Reading("outrigger_reach", 330.0), Reading("outrigger_mast_width", 180.0))
    plan = plan_of(drawing.figures_from(rows(SLOOP, VALUES), SLOOP, readings))
    assert plan.outrigger == pytest.approx(150.0)


# ---- What is missing ----


def test_what_was_not_read_is_dotted_and_says_so() -> None:
    found = groups(drawing.draw_rig(figures(foot=None)))
    foot = found["foot", "main"]
    assert "not read" in "".join(foot.itertext())
    assert any(line.get("stroke-dasharray") for line in foot.iter(f"{SVG}line"))
    luff = found["luff", "main"]
    assert not any(line.get("stroke-dasharray") for line in luff.iter(f"{SVG}line"))
    assert "15\u202f286.4" in "".join(luff.itertext())


def test_nothing_at_all_read_is_still_a_drawing_without_a_figure() -> None:
    svg = drawing.draw_rig(drawing.figures_from([], SLOOP))
    words = [text.text or "" for text in parsed(svg).iter(f"{SVG}text")]
    assert "not read" in words
    assert not [word for word in words if re.search(r"\d", word) and not word.endswith("schematic.")]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_a_figure_that_is_no_number_counts_as_not_read(bad: float) -> None:
    one = figures(luff=bad)
    assert one.get("luff", "main") is None
    assert ("luff", "main") in one.missing


@pytest.mark.parametrize("value", [0.0, -5.0])
def test_a_length_that_cannot_be_is_printed_but_drawn_at_a_usual_proportion(value: float) -> None:
    one = figures(foretriangle_base=value)
    assert plan_of(one).base.mm > 0
    assert not plan_of(one).base.read
    drawing.draw_rig(one)


def test_what_the_rig_does_not_have_is_not_drawn() -> None:
    plain = Rig("sloop", (Mast(),), spinnaker=False, pole=False, bowsprit=False)
    values = {slug: value for slug, value in VALUES.items() if slug not in {"spinnaker_hoist", "pole_length"}}
    found = groups(drawing.draw_rig(drawing.figures_from(rows(plain, values), plain)))
    assert not {"spinnaker_hoist", "pole_length", "tack_reach"} & {slug for slug, _ in found}


# ---- Sources of figures ----


def test_a_certificates_plain_rows_draw_the_same_as_the_dimensions() -> None:
    dimensions = rows(KETCH, VALUES)
    plain = [
        {
            "name": row.name,
            "slug": row.slug,
            "mast": row.mast,
            "value": row.value,
            "unit": row.unit,
            "expanded_uncertainty": row.expanded_uncertainty,
            "method": row.method,
        }
        for row in dimensions
    ]
    assert drawing.draw_rig(drawing.figures_from(plain, KETCH)) == drawing.draw_rig(
        drawing.figures_from(dimensions, KETCH)
    )


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_of_several_methods_the_adopted_one_is_drawn(order: tuple[int, ...]) -> None:
    methods = (("string", 1310.0), ("two_mark", 1316.0), ("adopted", 1311.5))
    found = [
        DimensionResult("BAS", "boom_above_sheer", "main", "mm", methods[number][1], 2.0, methods[number][0])
        for number in order
    ]
    figure = drawing.figures_from(found, SLOOP).get("boom_above_sheer", "main")
    assert figure is not None
    assert figure.value == 1311.5


# ---- The text of the drawing ----


def test_the_text_alternative_lists_figures_and_what_is_missing() -> None:
    root = parsed(drawing.draw_rig(figures(foot=None), title="Rig of Grey Plover <1>", id_prefix="now"))
    assert root.get("aria-labelledby") == "now-title now-desc"
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert title.text == "Rig of Grey Plover <1>"
    assert desc is not None
    assert desc.text is not None
    assert desc.text.startswith("Sloop with one mast. Luff P 15\u202f286.4 ± 4.0\u202fmm.")
    assert desc.text.endswith("Not read: Foot E.")


def test_presentation_attributes_only() -> None:
    svg = drawing.draw_rig(figures(), previous=figures(luff=15000.0), highlight=[("luff", "main")])
    assert " style=" not in svg
    assert "<style" not in svg
    assert "<script" not in svg
    assert "href" not in svg
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) == {"currentColor", "none"}


def test_a_highlight_is_lit_without_any_script() -> None:
    found = groups(drawing.draw_rig(figures(), highlight=[("luff", "main"), ("foretriangle_area", "main")]))
    assert "is-lit" in str(found["luff", "main"].get("class"))
    assert "is-lit" not in str(found["foot", "main"].get("class"))
    assert found["foretriangle_area", "main"].get("opacity") is None
    quiet = groups(drawing.draw_rig(figures()))
    assert quiet["foretriangle_area", "main"].get("opacity") == "0"


def test_the_previous_rig_lies_beneath_in_a_lighter_line() -> None:
    svg = drawing.draw_rig(figures(), previous=figures(foretriangle_base=4000.0))
    assert svg.index('class="rig-previous" opacity=') < svg.index('class="rig-spars"')
    assert "Lighter line: previous visit." in svg
    assert "rig-previous" not in drawing.draw_rig(figures())


def test_the_same_figures_give_the_same_bytes() -> None:
    assert drawing.draw_rig(figures(KETCH)) == drawing.draw_rig(figures(KETCH))


def test_every_mast_has_its_own_groups() -> None:
    found = groups(drawing.draw_rig(figures(KETCH)))
    for slug in ("luff", "foot", "boom_above_sheer", "section_fore_aft_lower", "boom_depth"):
        assert (slug, "main") in found
        assert (slug, "mizzen") in found
    assert ("foretriangle_base", "mizzen") not in found


# ---- Label placement ----


def test_a_label_takes_the_spot_that_hides_nothing() -> None:
    placer = Placer((0, 0, 200, 100), strokes=[(0, 20, 200, 20)])
    label = Label(("Luff",), "P", "15 286")
    placed = placer.place(label, lambda form: (Spot(10, 10), Spot(10, 40)))
    assert placed is not None
    assert placed[1].y == 40
    again = placer.place(label, lambda form: (Spot(10, 40),))
    assert again is None


def test_a_sloping_stroke_crosses_only_the_boxes_it_meets() -> None:
    assert crosses((40, 40, 60, 60), (0, 0, 100, 100))
    assert not crosses((60, 10, 90, 40), (0, 0, 100, 100))
    assert not crosses((200, 200, 210, 210), (0, 0, 100, 100))


def test_a_name_of_several_words_can_stand_in_two_lines() -> None:
    wide, narrow = Label(("Height of the foretriangle",), "IG", "15 480").forms()
    assert narrow.names == ("Height of the", "foretriangle")
    assert narrow.width < wide.width
    assert narrow.height > wide.height
    assert Label(("Luff",), "P", "1").forms() == (Label(("Luff",), "P", "1"),)


def test_text_widths_grow_with_the_text() -> None:
    assert text_width("Luff", 12) > text_width("Luf", 12) > 0
    assert text_width("W", 10) > text_width("i", 10)
