"""The log sheet on paper: what stands on it, for whom, on which paper, and what it must not tell."""

from __future__ import annotations

import datetime as dt
import io
import re
from typing import Any

import pypdf
import pytest
from django.test import Client
from django.urls import reverse

from boats import actions as boat_actions
from computations.catalogue import READINGS, applicable_readings, required_readings
from computations.inputs import Mast, Rig
from office import papers
from office.audit.refusals import WrongState
from office.policy.actions import change_policy
from surveys import actions
from surveys.models import Visit
from surveys.paper import pages, visits
from surveys.paper.drawing import rig_with_lines
from surveys.paper.sheet import Numbering, numbers_in_words, stations_of
from tests.cast import Cast
from tests.surveys.makers import Stage

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

KETCH = Rig(rig_type="ketch", masts=(Mast(), Mast(name="mizzen")), spinnaker=True, pole=True, bowsprit=True)
SCHOONER = Rig(rig_type="schooner", masts=(Mast(), Mast(name="mizzen"), Mast(name="fore")), outrigger=True)
BARE = Rig(masts=(Mast(upper_band=False),), spinnaker=False, pole=False, bowsprit=False, headsail_foil=False)
MILLIMETRE = 72 / 25.4


def loaded(visit: Visit) -> Visit:
    return visits.for_paper(Visit.objects.filter(pk=visit.pk)).get()


def text_of(content: bytes) -> str:
    """The words of the PDF, spaces and line ends made one."""
    words = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)
    return re.sub(r"\s+", " ", words)


def lines_on(rig: Rig) -> dict[tuple[str, str], list[int]]:
    numbering = Numbering({}, {})
    stations_of(rig, numbering)
    return numbering.given


@pytest.fixture
def boats(cast: Cast) -> dict[str, Visit]:
    """A planned visit to a boat of each kind of rig."""
    found = {}
    rigs: dict[str, tuple[tuple[str, ...], dict[str, Any]]] = {
        "ketch": (("main", "mizzen"), {"bowsprit": True, "outrigger": True}),
        "schooner": (("main", "fore"), {"headsail_foil": True}),
        "three": (("main", "mizzen", "fore"), {"bowsprit": True}),
    }
    for number, (name, (masts, more)) in enumerate(rigs.items()):
        boat = boat_actions.register_boat(by=cast.administrator, name=f"Old {name}", sail_number=f"SKE {300 + number}")
        boat_actions.describe_rig(
            by=cast.administrator,
            boat=boat,
            since=dt.date(2020, 4, 1),
            rig_type="ketch" if name == "ketch" else "schooner",
            masts=[
                {"name": mast, "material": "wood", "mast_identification": f"M-{mast}", "rigging_material": "wire",
                 "spreader_pairs": 2, "runner_pairs": 1}
                for mast in masts
            ],
            spinnaker=True,
            pole=True,
            **more,
        )  # fmt: skip
        visit = actions.ask_for_visit(by=cast.administrator, boat=boat, request="After the winter.")
        found[name] = actions.plan_visit(
            by=cast.administrator, visit=visit, measurer=cast.measurer, planned_on=dt.date(2026, 5, 4),
            harbour="Skerrin Haven",
        )  # fmt: skip
    return found


def as_(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


# ---- Which lines stand on it ----


@pytest.mark.parametrize("rig", [Rig(), KETCH, SCHOONER, BARE], ids=["sloop", "ketch", "schooner", "bare"])
def test_every_reading_of_the_rig_has_its_lines_and_no_other(rig: Rig):
    given = lines_on(rig)
    assert set(given) == {(slug, mast) for slug, mast, _ in applicable_readings(rig)}
    assert {(slug, mast) for slug, mast, _ in required_readings(rig)} <= set(given)
    numbers = [number for one in given.values() for number in one]
    assert sorted(numbers) == list(range(1, len(numbers) + 1))
    for (slug, _), lines in given.items():
        assert len(lines) >= len(READINGS[slug].sides or ("",))


def test_a_bare_rig_is_not_asked_for_what_it_has_not():
    slugs = {slug for slug, _ in lines_on(BARE)}
    assert not slugs & {"luff_between_bands", "pole_length", "foil_fore_aft", "bowsprit_tack_reach", "outrigger_reach"}
    assert "luff_to_sheave" in slugs


def test_a_measurer_walks_station_by_station_and_mast_by_mast():
    stations = stations_of(KETCH, Numbering({}, {}))
    assert [one.slug for one in stations] == ["ashore", "afloat", "boom_and_pole"]
    assert [part.title for part in stations[0].parts] == ["Main mast", "Mizzen mast"]
    assert [part.method for part in stations[1].parts] == ["string", "two_mark", "", "string", "two_mark"]
    walked = [line.number for one in stations for part in one.parts for item in part.items for line in item.lines]
    assert walked == sorted(walked)


def test_both_ways_to_the_booms_height_stand_on_it_and_both_sides():
    (afloat,) = [one for one in stations_of(Rig(), Numbering({}, {})) if one.slug == "afloat"]
    string, marks, _ = afloat.parts
    assert [item.kind.slug for item in string.items] == ["string_to_sheer", "string_to_band"]
    assert [item.kind.slug for item in marks.items] == ["mark_spacing", "band_to_sheer", "mark_to_sheer"]
    assert [line.place for line in marks.items[1].lines] == ["port", "starboard"]


def test_what_may_be_left_out_says_so():
    notes = {
        item.kind.slug: item.note
        for one in stations_of(Rig(), Numbering({}, {}))
        for p in one.parts
        for item in p.items
    }
    assert notes["scale_reading"] == "optional"
    assert notes["foil_fore_aft"] == "where she has one"
    assert notes["luff_between_bands"] == notes["string_to_sheer"] == ""


def test_known_halyards_are_named_and_one_more_can_be():
    numbering = Numbering({("spinnaker_halyard_above_band", "main", "masthead"): 12238.0}, {"main": ("masthead",)})
    lines = [
        line
        for one in stations_of(Rig(spinnaker=True), numbering)
        for part in one.parts
        for item in part.items
        if item.kind.named_position
        for line in item.lines
    ]
    assert [(line.place, line.previous) for line in lines] == [("masthead", "12\u202f238"), ("", "")]


@pytest.mark.parametrize(
    ("numbers", "words"), [([], ""), ([3], "line 3"), ([5, 4, 6], "lines 4–6"), ([9, 5], "lines 5, 9")]
)
def test_numbers_in_words(numbers: list[int], words: str):
    assert numbers_in_words(numbers) == words


@pytest.mark.parametrize("rig", [Rig(), KETCH, SCHOONER, BARE], ids=["sloop", "ketch", "schooner", "bare"])
def test_the_drawing_names_lines_and_no_figure(rig: Rig):
    given = lines_on(rig)
    svg = rig_with_lines(rig, given, "Where").svg
    assert "not read" not in re.sub(r"<desc.*?</desc>", "", svg)
    assert "hull schematic" not in svg
    luff = given.get(("luff_between_bands", "main")) or given["luff_to_sheave", "main"]
    assert f">line {luff[0]}<" in svg
    words = re.sub(r"<desc.*?</desc>", "", svg)
    assert not re.findall(r">\d[\d\u202f.]*<", words), "no figure stands on a drawing that is not to scale"


# ---- The paper itself ----


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_sheet_of_a_sloop(stage: Stage, size: str):
    content = pages.one_visit(loaded(stage.visit("planned")), size)
    reader = pypdf.PdfReader(io.BytesIO(content))
    box = reader.pages[0].mediabox
    expected = (210 * MILLIMETRE, 297 * MILLIMETRE) if size == "A4" else (612, 792)
    assert (float(box.width), float(box.height)) == pytest.approx(expected, abs=0.5)
    text = text_of(content)
    count = len(reader.pages)
    for number in range(1, count + 1):
        assert f"page {number} of {count}" in text
    for words in (
        "Quiet Margin", "SKE 214", "Luff between the bands", "starboard", "Take 3", "Air temperature",
        "Halyards replaced by light messenger lines", "Signature", "T-03", "calibrated until 2030-11-05",
    ):  # fmt: skip
        assert words in text, words
    for caution in ("nobody under a hanging spar", "overhead power lines", "two halyards", "tag lines", "Local codes"):
        assert caution in text, caution


@pytest.mark.parametrize("name", ["ketch", "schooner", "three"])
def test_sheets_of_several_masts(boats: dict[str, Visit], name: str):
    text = text_of(pages.one_visit(loaded(boats[name]), "A4"))
    for mast in boats[name].boat.rigs.get().masts.all():
        assert f"{mast.name.capitalize()} mast" in text
        assert f"M-{mast.name}" in text
    assert "Distance between the masts" in text


def test_boxes_are_high_enough_for_cold_hands(stage: Stage):
    """At least 9 mm, by the style the boxes have."""
    html = pages.html_of(visits.sheets_of([loaded(stage.visit("planned"))])[0], "A4")
    heights = re.findall(r"\.box \{[^}]*height: ([\d.]+)mm", html)
    assert heights
    assert min(float(one) for one in heights) >= 9
    boxes = re.findall(r'<td class="box unit">', html)
    assert len(boxes) == 3 * sum(len(one) for one in lines_on(stage_rig(stage)).values())


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["sloop", "ketch", "schooner", "three"])
def test_no_line_is_parted_from_its_name(stage: Stage, boats: dict[str, Visit], name: str, size: str):
    """Wherever a page ends: port and starboard stand on the page that says what is measured."""
    visit = stage.visit("planned") if name == "sloop" else boats[name]
    reader = pypdf.PdfReader(io.BytesIO(pages.one_visit(loaded(visit), size)))
    texts = [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]
    paired = ("String down to the sheer", "Lower band to the sheer point", "Second mark to the sheer point")
    for text in texts:
        count = sum(text.count(one) for one in paired)
        assert len(re.findall(r"\bport\b", text)) == len(re.findall(r"\bstarboard\b", text)) == count
    assert sum(text.count(one) for text in texts for one in paired) == 3 * len(visit.boat.rigs.get().masts.all())


def stage_rig(stage: Stage) -> Rig:
    return Rig(masts=(Mast(spreader_pairs=2),), spinnaker=True, pole=True)


def test_the_code_leads_back_to_the_visit(stage: Stage, settings):
    settings.PUBLIC_URL = "https://office.example"
    visit = stage.visit("planned")
    (sheet,) = visits.sheets_of([loaded(visit)])
    assert sheet.address == f"https://office.example/visits/{visit.key}/"
    assert sheet.code == papers.code(sheet.address)
    assert sheet.code in pages.html_of(sheet, "A4")


def test_a_name_is_text_and_never_markup(cast: Cast, stage: Stage):
    visit = stage.visit("planned")
    visit.boat.name = "<b>Wide</b> & 'Deep'"
    visit.boat.save()
    text = text_of(pages.one_visit(loaded(visit), "A4"))
    assert "<b>Wide</b> & 'Deep'" in text


def test_the_same_sheet_is_the_same_file(stage: Stage):
    visit = stage.visit("planned")
    assert pages.one_visit(loaded(visit), "A4") == pages.one_visit(loaded(visit), "A4")


# ---- Previous values: the office's policy decides ----


def previous_on(visit: Visit, *, blank: bool = False) -> bool:
    html = pages.html_of(visits.sheets_of([loaded(visit)], blank=blank)[0], "A4")
    assert ("last 12\u202f151" in html) == ('class="last"' in html)
    return 'class="last"' in html


def test_previous_values_are_hidden_unless_the_policy_shows_them(cast: Cast, stage: Stage):
    stage.visit("accepted")
    visit = stage.visit("planned")
    assert not previous_on(visit)
    change_policy(by=cast.administrator, reason="A trial season.", show_previous_to_measurer=True)
    assert previous_on(visit)
    assert not previous_on(visit, blank=True)


def test_a_first_visit_has_none(cast: Cast, stage: Stage):
    change_policy(by=cast.administrator, reason="A trial season.", show_previous_to_measurer=True)
    assert not previous_on(stage.visit("planned"))


def test_the_name_of_a_halyard_is_no_value(stage: Stage):
    stage.visit("accepted")
    html = pages.html_of(visits.sheets_of([loaded(stage.visit("planned"))])[0], "A4")
    assert "masthead" in html
    assert "12\u202f238" not in html


# ---- Who gets it ----


def test_who_may_print(cast: Cast, stage: Stage):
    address = reverse("surveys:paper", args=[stage.visit("planned").key])
    got = {part: as_(person).get(address).status_code for part, person in cast.people().items()}
    allowed = {"measurer", "reviewer", "certifier", "administrator"}
    assert got == {part: 200 if part in allowed else 403 for part in got}
    assert Client().get(address).status_code == 302


def test_what_is_sent(cast: Cast, stage: Stage):
    address = reverse("surveys:paper", args=[stage.visit("planned").key])
    answer = as_(cast.measurer).get(address + "?paper=Letter&blank=1")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Cache-Control"] == "no-store"
    assert answer["Content-Disposition"] == 'inline; filename="SKE214-2023-05-16-log-sheet.pdf"'
    assert float(pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width) == pytest.approx(612, abs=0.5)


@pytest.mark.parametrize("query", ["?paper=A3", "?paper=", "?paper=a4", "?paper=<b>"])
def test_a_paper_there_is_none_of(cast: Cast, stage: Stage, query: str):
    address = reverse("surveys:paper", args=[stage.visit("planned").key])
    assert as_(cast.measurer).get(address + query).status_code == 404


def test_no_visit_no_sheet(cast: Cast):
    assert as_(cast.measurer).get(reverse("surveys:paper", args=["nothing"])).status_code == 404


def undescribed(cast: Cast) -> Visit:
    boat = boat_actions.register_boat(by=cast.administrator, name="Not Yet", sail_number="SKE 9")
    visit = actions.ask_for_visit(by=cast.administrator, boat=boat, request="First.")
    return actions.plan_visit(
        by=cast.administrator, visit=visit, measurer=cast.measurer, planned_on=dt.date(2023, 5, 16), harbour="Aarn"
    )


def test_a_rig_that_nobody_described(cast: Cast):
    visit = undescribed(cast)
    with pytest.raises(WrongState, match="Not Yet"):
        pages.one_visit(loaded(visit), "A4")
    answer = as_(cast.measurer).get(reverse("surveys:paper", args=[visit.key]))
    assert answer.status_code == 409
    assert "has not been described yet" in answer.content.decode()
    page = as_(cast.measurer).get(reverse("surveys:visit", args=[visit.key])).content.decode()
    assert reverse("surveys:paper", args=[visit.key]) not in page


def test_the_visits_page_links_it_to_those_who_may(cast: Cast, stage: Stage):
    visit = stage.visit("planned")
    link = reverse("surveys:paper", args=[visit.key])
    pages_of = {
        part: as_(getattr(cast, part)).get(reverse("surveys:visit", args=[visit.key])).content.decode()
        for part in ("measurer", "reviewer", "owner")
    }
    assert {part for part, text in pages_of.items() if link in text} == {"measurer", "reviewer"}


def test_the_sheets_of_many_visits_cost_no_more_queries(
    stage: Stage, boats: dict[str, Visit], django_assert_max_num_queries
):
    stage.visit("accepted")
    chosen = [stage.visit("planned").pk, *(one.pk for one in boats.values())]
    with django_assert_max_num_queries(22):
        found = list(visits.for_paper(Visit.objects.filter(pk__in=chosen)))
        assert len(visits.sheets_of(found)) == 4
