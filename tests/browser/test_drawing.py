"""The rig drawing in a real browser: rows and drawing light each other, and words have the room they claim."""

from __future__ import annotations

import random
from itertools import chain

import pytest
from django.template import Context, Template

from computations import drawing
from computations.catalogue import DIMENSIONS
from computations.inputs import Mast, Rig
from computations.results import DimensionResult
from office import environment

STATIC = environment.ROOT / "office" / "static" / "office"
KETCH = Rig("ketch", (Mast(spreader_pairs=2), Mast("mizzen", spreader_pairs=1)), spinnaker=True)
SLOOP = Rig("sloop", (Mast(spreader_pairs=2),), spinnaker=True, pole=True)
SCHOONER = Rig("schooner", (Mast(), Mast("mizzen"), Mast("fore")), bowsprit=True)
PAGE = """<!doctype html><html lang="en"><head><title>Rig</title>
<meta name="viewport" content="width=device-width, initial-scale=1"></head><body><main class="page" id="content">
<h1>Rig</h1><div class="columns"><div>{table}</div><aside class="drawing" aria-label="Drawing">{drawing}</aside></div>
</main></body></html>"""
OVERLAPS = """() => [...document.querySelectorAll('svg.rig')].flatMap(svg => {
  const view = svg.viewBox.baseVal;
  const texts = [...svg.querySelectorAll('text')].map(text => [text.getBBox(), text.textContent]);
  const out = texts.filter(([box]) => box.x < 0 || box.x + box.width > view.width || box.y + box.height > view.height);
  const met = texts.flatMap(([one, words], i) => texts.slice(i + 1).filter(([other]) =>
    one.x < other.x + other.width && other.x < one.x + one.width &&
    one.y + 3 < other.y + other.height - 3 && other.y + 3 < one.y + one.height - 3).map(([, more]) => [words, more]));
  return [...out.map(([, words]) => words), ...met];
})"""
LIT = """() => [...document.querySelectorAll('.is-lit')].map(
  one => one.tagName.toLowerCase() + ' ' + one.dataset.dimension)"""

pytestmark = pytest.mark.django_db(transaction=True)


def rows(rig, seed):
    """Invented figures of ordinary proportions, some of them missing."""
    dice = random.Random(seed)
    usual = {
        "luff": 14000, "foot": 5000, "boom_above_sheer": 1300, "forestay_height": 14500, "spinnaker_hoist": 15500,
        "foretriangle_base": 4100, "forestay_to_bow": 300, "tack_reach": 5600, "pole_length": 4200, "boom_depth": 160,
        "section_fore_aft_lower": 210, "section_transverse_lower": 120, "section_fore_aft_upper": 160,
        "section_transverse_upper": 95, "taper_length": 2500, "mast_separation": 6000, "balance_height": 5200,
    }  # fmt: skip
    for slug, value in usual.items():
        kind = DIMENSIONS[slug]
        for mast in rig.masts if kind.per == "mast" else [rig.mast(rig.forward_mast)]:
            read = None if dice.random() < 0.15 else value * dice.uniform(0.6, 1.5)
            yield DimensionResult(kind.label, slug, mast.name, "mm", read, None if read is None else 2.0)


def show(page, rig=SLOOP, seed=1):
    found = list(rows(rig, seed))
    source = '{% load figures %}{% include "includes/dimension_table.html" with results=rows several_masts=True %}'
    table = Template(source).render(Context({"rows": found}))
    drawn = Template("{% load figures %}{% rig_drawing figures None title='Rig' %}").render(
        Context({"figures": drawing.figures_from(found, rig)})
    )
    page.set_content(PAGE.format(table=table, drawing=drawn))
    page.add_style_tag(path=str(STATIC / "office.css"))
    page.add_script_tag(path=str(STATIC / "drawing.js"))
    page.evaluate("document.dispatchEvent(new Event('DOMContentLoaded'))")


def test_pointing_at_a_row_lights_its_dimension_and_back(page):
    show(page)
    page.hover("tr[data-dimension=foretriangle_base]")
    lit = page.evaluate(LIT)
    assert set(lit) == {"tr foretriangle_base", "g foretriangle_base"}
    page.hover(".rig-for-wide [data-dimension=spinnaker_hoist] text >> nth=0")
    assert "tr spinnaker_hoist" in page.evaluate(LIT)
    assert "tr foretriangle_base" not in page.evaluate(LIT)


def test_a_dimension_of_one_mast_does_not_light_another_masts(page):
    show(page, KETCH, seed=5)
    page.hover("tr[data-dimension=luff][data-mast=mizzen]")
    masts = page.evaluate("() => [...document.querySelectorAll('.is-lit')].map(one => one.dataset.mast)")
    assert set(masts) == {"mizzen"}


def test_the_keyboard_does_all_of_it(page):
    show(page)
    page.focus("tr[data-dimension=foot]")
    assert set(page.evaluate(LIT)) == {"tr foot", "g foot"}
    page.focus(".rig-for-wide svg.rig")
    assert page.evaluate(LIT) == []
    page.keyboard.press("ArrowRight")
    first = page.evaluate(LIT)
    assert first
    assert page.locator("[aria-live=polite].visually-hidden").text_content()
    page.keyboard.press("ArrowRight")
    assert page.evaluate(LIT) != first
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.tagName") == "TR"
    page.focus(".rig-for-wide svg.rig")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Escape")
    assert page.evaluate(LIT) == []


def test_a_lit_dimension_of_a_tall_drawing_comes_into_sight(page):
    page.set_viewport_size({"width": 1280, "height": 500})
    show(page, KETCH, seed=2)
    page.focus("tr[data-dimension=section_fore_aft_upper][data-mast=main]")
    box = page.locator(
        ".rig-for-wide [data-dimension=section_fore_aft_upper][data-mast=main] text >> nth=0"
    ).bounding_box()
    assert box is not None
    assert 0 <= box["y"] <= 500 - box["height"]


def test_figures_stay_in_sight_on_a_phone(page):
    show(page, KETCH, seed=2)
    page.set_viewport_size({"width": 320, "height": 640})
    wrap = page.locator(".ledger-wrap")
    assert wrap.evaluate("one => one.scrollWidth <= one.clientWidth")


@pytest.mark.parametrize("width", [360.0, 560.0])
def test_words_have_the_room_the_placement_gave_them(page, width):
    drawings = chain.from_iterable(
        (drawing.draw_rig(drawing.figures_from(rows(rig, seed), rig), id_prefix=f"r{number}-{seed}", width=width)
         for seed in range(12))
        for number, rig in enumerate((SLOOP, KETCH, SCHOONER))
    )  # fmt: skip
    page.set_content("<!doctype html><title>Rigs</title>" + "".join(drawings))
    assert page.locator("svg.rig").count() == 36
    assert page.evaluate(OVERLAPS) == []


@pytest.mark.parametrize("rig", [SLOOP, KETCH, SCHOONER], ids=lambda rig: rig.rig_type)
def test_table_and_drawing_break_no_accessibility_rule(page, no_axe_violations, look, rig):
    show(page, rig, seed=2)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        no_axe_violations(again=scheme == "dark")
        look(f"drawing-{rig.rig_type}-{scheme}")


@pytest.mark.parametrize("rig", [SLOOP, KETCH, SCHOONER], ids=lambda rig: rig.rig_type)
def test_a_phone_gets_the_narrow_drawing(page, fits_a_phone, look, rig):
    show(page, rig, seed=2)
    assert not page.locator(".rig-for-narrow").is_visible()
    fits_a_phone()
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.locator(".rig-for-narrow").is_visible()
    assert not page.locator(".rig-for-wide").is_visible()
    look(f"drawing-{rig.rig_type}-phone")
