"""How pages print figures, dates and words with shapes."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest
from django.template import Context, Template
from django.template.loader import render_to_string
from django.test import RequestFactory
from django.utils import timezone

from computations import charts, drawing, typesetting
from computations.inputs import Rig
from computations.results import GRADES, VERDICTS, Carried, Change, DimensionResult
from office import marks
from surveys.models import Visit

THIN = "\u202f"


def shown(source: str, request: HttpRequest | None = None, **context: Any) -> str:
    values = {**context, "request": request} if request else context
    return Template("{% load figures %}" + source).render(Context(values))


def plain(html: str) -> str:
    """The text a reader sees."""
    return "".join(ET.fromstring(f"<p>{html}</p>").itertext())


# ---- Figures ----


@pytest.mark.parametrize(
    ("value", "unit", "expanded", "text"),
    [
        (15286.44, "mm", 3.8, f"15{THIN}286.4 ±{THIN}3.8 mm"),
        (1312.44, "mm", 12.3, f"1{THIN}312 ±{THIN}12 mm"),
        (1312.44, "mm", 9.96, f"1{THIN}312 ±{THIN}10 mm"),
        (212.34, "mm", 0.231, f"212.34 ±{THIN}0.23 mm"),
        (212.34, "mm", 0.0231, f"212.34 ±{THIN}0.02 mm"),
        (33.45612, "m2", 0.0231, f"33.456 ±{THIN}0.023 m²"),
        (2.813413, "1", 0.00112, f"2.8134 ±{THIN}0.0011 "),
        (187.5, "kg", 1.22, f"187.5 ±{THIN}1.2 kg"),
        (-12.25, "mm", 1.0, f"\N{MINUS SIGN}12.2 ±{THIN}1.0 mm"),
        (1234.5, "kg.m", None, f"1{THIN}234.5 kg·m"),
    ],
)
def test_a_figure_keeps_as_many_digits_as_it_is_sure_of(
    value: float, unit: str, expanded: float | None, text: str
) -> None:
    assert plain(shown("{% figure value unit expanded %}", value=value, unit=unit, expanded=expanded)) == text


def test_the_unrounded_value_stays_in_the_page_for_machines() -> None:
    assert 'value="15286.44"' in shown("{% figure_value 15286.44 'mm' 3.8 %}")


def test_whole_and_fraction_stand_apart_so_that_a_column_lines_up() -> None:
    assert '15\u202f286<span class="fraction">.4</span>' in shown("{% figure_value 15286.44 'mm' 3.8 %}")
    assert '1\u202f312<span class="fraction"></span>' in shown("{% figure_value 1312.4 'mm' 12.0 %}")


def test_what_was_not_read_is_said() -> None:
    assert plain(shown("{% figure None %}")) == "not read"
    assert shown("{% signed_figure None %}") == "–"
    assert shown("{% uncertainty None %}") == "–"
    assert shown("{% plain_number None %}") == "–"


@pytest.mark.parametrize(
    ("value", "text"), [(14.04, f"+14.0 ±{THIN}6.0 mm"), (-4.0, f"\N{MINUS SIGN}4.0 ±{THIN}6.0 mm"), (0.01, "0.0")]
)
def test_a_change_shows_its_sign(value: float, text: str) -> None:
    assert plain(shown("{% signed_figure value 'mm' 6.0 %}", value=value)).startswith(text)


def test_feet_and_inches_stand_beside_millimetres_where_the_viewer_asks() -> None:
    source = "{% figure 15286.0 'mm' 3.8 %}"
    asked = RequestFactory().get("/", {"beside": "feet"})
    assert "50 ft 1 13/16 in" in plain(shown(source, asked))
    assert "ft" not in plain(shown(source, RequestFactory().get("/")))
    remembered = RequestFactory().get("/")
    remembered.COOKIES["beside"] = "feet"
    assert "50 ft 1 13/16 in" in plain(shown(source, remembered))
    no_more = RequestFactory().get("/", {"beside": "none"})
    no_more.COOKIES["beside"] = "feet"
    assert "ft" not in plain(shown(source, no_more))
    assert "ft" not in plain(shown("{% figure 33.4 'm2' 0.1 %}", asked))


def test_typesetting_of_bare_numbers() -> None:
    assert typesetting.number(1234567.0, 0) == f"1{THIN}234{THIN}567"
    assert typesetting.number(0.0, 1, signed=True) == "0.0"
    assert typesetting.number(-0.04, 1, signed=True) == "0.0"
    assert typesetting.decimals_for(None, "mm", 0) == 0
    assert typesetting.decimals_for(0.0, "mm", 1) == 1
    assert typesetting.decimals_for(250.0, "mm") == 0
    assert typesetting.with_unit("2.5", "1") == "2.5"


# ---- Names ----


def test_the_plain_name_leads_and_the_symbol_follows() -> None:
    row = DimensionResult("P", "luff", "main", "mm", 1.0, None)
    assert plain(shown("{% dimension_name row %}", row=row)) == "Luff P"
    assert plain(shown("{% dimension_name 'taper_length' %}")) == "Length of the taper"
    assert plain(shown("{% dimension_name row %}", row={"slug": "foot"})) == "Foot E"
    string = DimensionResult("BAS", "boom_above_sheer", "main", "mm", 1.0, None, "string")
    assert plain(shown("{% dimension_name row %}", row=string)) == "Boom above the sheer BAS by the string"


def test_a_reading_is_named_with_its_side_and_mast() -> None:
    assert plain(shown("{% reading_name 'mark_to_sheer' 'port' 'main' %}")) == "Second mark to the sheer point, port"
    assert plain(shown("{% reading_name 'foot_distance' '' 'mizzen' %}")) == "Foot along the boom E, mizzen"
    assert shown("{% reading_name 'remainder' %}") == "The rest, not linear"


# ---- Words with shapes ----


@pytest.mark.parametrize("key", list(VERDICTS))
def test_every_verdict_has_a_word_and_a_shape(key: str) -> None:
    html = shown("{% verdict key %}", key=key)
    assert marks.VERDICTS[key].word in html
    assert "<svg" in html


@pytest.mark.parametrize("key", list(GRADES))
def test_every_grade_has_a_word_and_a_shape(key: str) -> None:
    html = shown("{% grade key %}", key=key)
    assert marks.GRADES[key].word in html
    assert "<svg" in html


def test_every_state_of_a_visit_has_a_mark() -> None:
    states = {value for value, _ in Visit._meta.get_field("state").choices or ()}
    assert states
    assert states <= marks.STATES.keys()


def test_marks_of_one_kind_differ_in_word_and_in_shape() -> None:
    for table in (marks.GRADES, marks.VERDICTS):
        assert len({mark.word for mark in table.values()}) == len(table)
        assert len({mark.shape for mark in table.values()}) == len(table)


@pytest.mark.parametrize("name", list(marks.SHAPES))
def test_every_shape_is_well_formed_and_ink_only(name: str) -> None:
    root = ET.fromstring(f"<svg>{marks.SHAPES[name]}</svg>")
    assert len(root) > 0
    assert all("currentColor" in {one.get("fill"), one.get("stroke")} for one in root)


def test_every_mark_names_a_shape_that_exists() -> None:
    for table in (marks.STATES, marks.GRADES, marks.VERDICTS):
        assert {mark.shape for mark in table.values()} <= marks.SHAPES.keys()


def test_an_unknown_state_is_said_in_its_own_words() -> None:
    assert plain(shown("{% state 'laid_up' %}")) == "Laid up"
    assert plain(shown("{% state None %}")) == "–"


def test_an_icon_is_hidden_from_screen_readers_unless_it_has_a_label() -> None:
    assert 'aria-hidden="true"' in shown("{% icon 'tick' %}")
    assert 'role="img" aria-label="&lt;b&gt;"' in shown("{% icon 'tick' label %}", label="<b>")


# ---- Dates ----


def test_dates_are_iso_and_times_carry_their_zone() -> None:
    moment = dt.datetime(2026, 5, 4, 9, 30, 15, tzinfo=dt.UTC)
    assert plain(shown("{{ day|iso_date }}", day=dt.date(2026, 5, 4))) == "2026-05-04"
    assert plain(shown("{{ moment|iso_time }}", moment=moment)) == "2026-05-04 09:30 UTC"
    with timezone.override(dt.timezone(dt.timedelta(hours=2), "CEST")):
        assert plain(shown("{{ moment|iso_time }}", moment=moment)) == "2026-05-04 11:30 CEST"
        late = dt.datetime(2026, 5, 4, 23, 0, tzinfo=dt.UTC)
        assert plain(shown("{{ moment|iso_date }}", moment=late)) == "2026-05-05"
    assert shown("{{ nothing|iso_date }}{{ nothing|iso_time }}", nothing=None) == "––"


# ---- Included pieces ----


class Sample(forms.Form):
    sail = forms.CharField(label="Sail number", help_text="As on the sail.")
    agreed = forms.BooleanField(label="Checked <twice>")
    remark = forms.CharField(required=False, widget=forms.Textarea)
    kept = forms.CharField(widget=forms.HiddenInput, required=False)


def test_a_field_ties_label_help_and_error_to_its_control() -> None:
    html = render_to_string("includes/form.html", {"form": Sample({"sail": ""}), "submit": "Sign"})
    assert '<label for="id_sail">Sail number' in html
    assert 'id="id_sail_helptext"' in html
    assert "id_sail_helptext" in html.split("<input", 2)[2] or 'aria-describedby="id_sail_helptext' in html
    assert 'aria-invalid="true"' in html
    assert '<a href="#id_sail">Sail number</a>: This field is required.' in html
    assert "2 things to put right; nothing has been stored." in html
    assert "Checked &lt;twice&gt;" in html
    assert html.count('name="kept"') == 1


def test_a_grave_step_says_what_it_will_do() -> None:
    html = render_to_string(
        "includes/reason_form.html", {"form": Sample(), "what": "It ends today.", "submit": "Withdraw <it>"}
    )
    assert "This cannot be undone" in html
    assert "It ends today." in html
    assert "Withdraw &lt;it&gt;" in html


def test_pages_keep_the_rest_of_the_address() -> None:
    request = RequestFactory().get("/", {"state": "signed", "page": "2"})
    page = Paginator(list(range(100)), 25).page(2)
    html = render_to_string("includes/pagination.html", {"page": page}, request)
    assert "?state=signed&amp;page=1" in html
    assert "?state=signed&amp;page=3" in html
    assert "26 to 50 of 100" in html


def test_a_sorting_heading_says_which_way() -> None:
    request = RequestFactory().get("/", {"sort": "date", "q": "plover"})
    html = render_to_string("includes/sort_header.html", {"label": "Date", "key": "date", "sort": "date"}, request)
    assert 'aria-sort="ascending"' in html
    assert "sort=-date" in html
    assert "q=plover" in html


def test_the_cells_of_a_change() -> None:
    change = Change("P", "luff", "main", "mm", 15286.4, 3.8, 15290.2, 3.6, 3.8, 5.0, 0.76, "within_noise")
    html = render_to_string("includes/change_cells.html", {"change": change})
    assert "Within measuring noise" in html
    assert "0<span" in html
    assert html.count("<td") == 5
    missing = Change("IG", "forestay_height", "main", "mm", None, None, 15700.0, 3.6, None, None, None, None)
    html = render_to_string("includes/change_cells.html", {"change": missing})
    assert "not read" in html


def test_the_table_of_dimensions_lights_the_drawing() -> None:
    rows = [
        DimensionResult("P", "luff", "main", "mm", 15286.4, 1.9),
        DimensionResult("E", "foot", "main", "mm", None, None),
    ]
    html = render_to_string("includes/dimension_table.html", {"results": rows})
    assert 'data-dimension="luff" data-mast="main" tabindex="0"' in html
    assert "not read" in html
    svg = shown("{% rig_drawing figures None title='Rig' %}", figures=drawing.figures_from(rows, Rig()))
    assert svg.count('data-dimension="luff" data-mast="main"') == 2
    assert 'id="rig-luff-main"' in svg
    assert 'id="rig-narrow-luff-main"' in svg


def test_what_carried_a_change_is_drawn_with_its_readings_names() -> None:
    carried = (Carried("mark_to_sheer", "mizzen", "port", 13.0), Carried("remainder", "mizzen", "", 0.5))
    change = Change(
        "BAS", "boom_above_sheer", "mizzen", "mm", 1.0, 1.0, 14.5, 1.0, 13.5, 5.0, 2.7, "changed", "adopted", carried
    )
    html = shown("{% carried_chart change %}", change=change)
    assert "What carried the change of Boom above the sheer BAS, mizzen" in html
    assert "Second mark to the sheer point, port, mizzen +13.0" in html
    assert len(set(re.findall(r' id="([^"]+)"', html))) == html.count(" id=") == 4
    assert not shown("{% carried_chart change %}", change=replace(change, carried_by=()))


def test_the_history_of_a_dimension_is_drawn_twice_with_ids_of_its_own() -> None:
    html = shown("{% history_chart points %}", points=[charts.Point(dt.date(2026, 5, 4), 15286.0, 3.8)])
    assert 'id="history-title"' in html
    assert 'id="history-narrow-title"' in html


# ---- The frame ----


@pytest.mark.parametrize("template", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_stand_without_any_context(template: str) -> None:
    html = render_to_string(template)
    assert html.count("<h1>") == 1
    assert 'lang="en"' in html
    assert 'href="/"' in html
    assert "style=" not in html.replace("color-scheme", "")


def test_the_frame_has_a_skip_link_a_message_region_and_marks_the_present_place() -> None:
    html = render_to_string("base.html", {"navigation": [("Queue", "/desk/", True), ("Boats", "/boats/", False)]})
    assert '<a class="skip" href="#content">' in html
    assert '<main class="page" id="content"' in html
    assert 'id="messages" role="status"' in html
    assert '<a href="/desk/" aria-current="page">Queue</a>' in html
    assert '"includeIndicatorStyles": false' in html
