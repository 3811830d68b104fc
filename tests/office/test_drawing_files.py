"""The drawing as a file of its own: what boat, visit and certificate pages offer to keep."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest
from django.test import Client
from django.urls import reverse

from office.certificates import actions, paper, pdf
from tests.cast import Cast
from tests.surveys.makers import Stage, record_kit, register_boat

PAGES = {
    "desk:drawing": "desk:boat", "surveys:drawing": "surveys:visit", "certificates:drawing": "certificates:certificate"
}  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


def drawing(client: Client, name: str, key: str) -> ET.Element:
    answer = client.get(reverse(name, args=[key]))
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "image/svg+xml; charset=utf-8"
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=")
    assert answer.headers["Content-Disposition"].endswith('.svg"')
    assert answer.content[:5] == b"<?xml"
    return ET.fromstring(answer.content)


def test_boat_visit_and_certificate_give_a_drawing_that_stands_alone(
    client: Client, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
    visit = stage.visit("accepted")
    certificate = actions.issue(by=stage.cast.certifier, visit=visit)
    client.force_login(stage.cast.owner)
    places = [
        ("desk:drawing", stage.boat.key), ("surveys:drawing", visit.key), ("certificates:drawing", certificate.number)
    ]  # fmt: skip
    for name, key in places:
        root = drawing(client, name, key)
        assert root.tag == f"{SVG}svg"
        assert "Quiet Margin" in (root.findtext(f"{SVG}title") or "")
        assert "Luff P" in (root.findtext(f"{SVG}desc") or "")
        ground = root.find(f"{SVG}rect")
        assert ground is not None
        assert ground.get("fill") == "#ffffff"
        assert root.get("color") == "#15222d"
        classes = " ".join(one.get("class", "") for one in root.iter())
        assert "rig-hit" not in classes
        assert "rig-silent" not in classes
        assert not [one for one in root.iter() if one.get("style") or one.get("href")]
        page = client.get(reverse(PAGES[name], args=[key])).content.decode()
        assert reverse(name, args=[key]) in page


def test_there_is_no_drawing_of_what_was_not_measured(client: Client, stage: Stage) -> None:
    visit = stage.visit("planned")
    client.force_login(stage.cast.reviewer)
    for name, key in (("desk:drawing", stage.boat.key), ("surveys:drawing", visit.key)):
        assert client.get(reverse(name, args=[key])).status_code == 409


def test_a_measurer_about_to_measure_her_gets_no_drawing(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    stage.visit("planned")
    client.force_login(stage.cast.measurer)
    answer = client.get(reverse("desk:drawing", args=[stage.boat.key]))
    assert answer.status_code == 409
    assert "still open" in answer.content.decode()
