"""The page that says what makes each figure unsure, and the spar brought to 20 degrees by the office's policy."""

from __future__ import annotations

import io

import pypdf
import pytest
from django.urls import reverse

from computations.catalogue import DIMENSIONS
from office.policy.actions import change_policy
from surveys.budgets import budgets
from surveys.figures import derive_visit
from tests.surveys.makers import Stage

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def page(client, person, visit) -> str:
    client.force_login(person)
    return str(client.get(reverse("surveys:budget", args=[visit.key])).content.decode())


def test_every_figure_has_its_sources_and_their_shares_make_a_whole(client, stage: Stage):
    visit = stage.visit("signed")
    figures = derive_visit(visit)
    found = budgets(figures)
    assert [one.result for one in found] == [one for one in figures.derivation.dimensions if one.expanded_uncertainty]
    for one in found:
        assert sum(percent for _, percent in one.lines) + one.rest_percent == pytest.approx(100.0)
    text = page(client, stage.cast.measurer, visit)
    assert text.count("<details") == len(found)
    assert "Sheer point, along the mast: main, port" in text
    assert "Scale of the tape T-03" in text


def test_all_of_it_on_paper(client, stage: Stage):
    visit = stage.visit("signed")
    assert reverse("surveys:budget_paper", args=[visit.key]) in page(client, stage.cast.measurer, visit)
    address = reverse("surveys:budget_paper", args=[visit.key])
    found = budgets(derive_visit(visit))
    answer = client.get(address, {"paper": "Letter"})
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="SKE214-{visit.date}-how-sure.pdf"'
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    assert [float(side) for side in reader.pages[0].mediabox[2:]] == [612.0, 792.0]
    words = " ".join(" ".join(one.extract_text() for one in reader.pages).split())
    assert words.count("Size u Sensitivity Contribution Share") >= len(found)
    assert "Sheer point, along the mast: main, port" in words
    for one in found:
        assert DIMENSIONS[one.result.slug].name in words
    assert client.get(address, {"paper": "A3"}).status_code == 404


def test_all_of_it_as_a_file_unrounded(client, stage: Stage):
    visit = stage.visit("signed")
    client.force_login(stage.cast.measurer)
    answer = client.get(reverse("surveys:budget_file", args=[visit.key]))
    assert answer["Content-Disposition"].endswith('how-sure.json"')
    rows, derivation = answer.json()["dimensions"], derive_visit(visit).derivation
    sure = [one for one in derivation.dimensions if one.expanded_uncertainty]
    assert [(row["slug"], row["mast"], row["method"] or "") for row in rows] == [
        (one.slug, one.mast, one.method) for one in sure
    ]
    for row, one in zip(rows, sure, strict=True):
        assert sum(line["share"] for line in row["sources"]) == pytest.approx(1.0)
        variance = sum(line["contribution"] ** 2 for line in row["sources"])
        assert variance**0.5 == pytest.approx(one.standard_uncertainty)


def test_visit_and_review_pages_lead_to_it(client, stage: Stage):
    visit = stage.visit("under_review")
    client.force_login(stage.cast.reviewer)
    for name in ("surveys:visit", "desk:review"):
        assert (
            reverse("surveys:budget", args=[visit.key]) in client.get(reverse(name, args=[visit.key])).content.decode()
        )


def test_a_visit_without_readings_says_so(client, stage: Stage):
    assert "No figure yet" in page(client, stage.cast.measurer, stage.visit("draft"))


def test_the_policy_brings_the_spar_to_20_degrees_on_the_pages(client, stage: Stage):
    """Aluminium at the day's temperature against 20 degrees: alpha 23.5e-6 per K of what is measured along the mast."""
    visit = stage.visit("draft")
    stage.fill(visit)
    before = derive_visit(visit).derivation
    assert "does not bring spars to 20 °C" in page(client, stage.cast.measurer, visit)
    change_policy(by=stage.cast.administrator, assumptions={"spar_to_20_c": True}, reason="Spars at 20 degrees.")
    after = derive_visit(visit).derivation
    luff, at_20 = before.get("P"), after.get("P")
    over = (visit.air_temperature_c or 0.0) - 20.0
    assert abs(over) > 1.0
    assert at_20.value == pytest.approx((luff.value or 0.0) * (1.0 - 23.5e-6 * over), rel=1e-9)
    assert at_20.value != luff.value
    assert after.get("E").value == before.get("E").value
    text = page(client, stage.cast.measurer, visit)
    assert "brings lengths along a spar to 20 °C" in text
    assert any(line.source == "Expansion of the spar: main" for line in after.budget("P"))
    figure = client.get(reverse("surveys:visit", args=[visit.key])).context["results"]
    assert next(one for one in figure if one.slug == "luff").value == at_20.value


def test_the_panel_says_what_would_make_it_surer(client, stage: Stage):
    visit = stage.visit("draft")
    stage.fill(visit)
    client.force_login(stage.cast.measurer)
    answer = client.get(reverse("surveys:readings", args=[visit.key]))
    assert answer.context["next"].options
    assert answer.context["next"].options[0].sentence in answer.content.decode().replace("&#x27;", "'")
    assert "What would make it surer" in answer.content.decode()
