"""The label that sticks on an instrument."""

from __future__ import annotations

import io

import pypdf
import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from office import papers
from surveys import actions
from surveys.paper import label
from surveys.queries import listed_instruments
from tests.surveys.makers import Stage


def printed(identifier: str) -> tuple[str, pypdf.PdfReader]:
    paper = pypdf.PdfReader(io.BytesIO(label.of(listed_instruments().get(identifier=identifier))))
    assert len(paper.pages) == 1
    return paper.pages[0].extract_text(), paper


@pytest.mark.django_db
def test_the_label_of_a_piece(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    led: list[str] = []
    code = papers.code

    def noted(*parts: str) -> str:
        led.extend(parts)
        return code(*parts)

    monkeypatch.setattr(papers, "code", noted)
    text, paper = printed("T-03")
    assert [float(side) * 25.4 / 72 for side in paper.pages[0].mediabox[2:]] == pytest.approx([70, 32], abs=0.01)
    assert led == [settings.PUBLIC_URL + reverse("instruments:instrument", args=["T-03"])]
    for word in ("T-03", "steel tape", "2022-11-05", "2030-11-05"):
        assert word in text.replace("Steel", "steel")


@pytest.mark.django_db
def test_a_piece_never_calibrated_and_one_out_of_use(stage: Stage) -> None:
    by, longest = stage.cast.administrator, "W" * 20
    piece = actions.record_instrument(by=by, identifier=longest, kind="rule", serial_number="W" * 60)
    assert "not yet" in printed(longest)[0]
    today = timezone.localdate()
    actions.take_out_of_use(by=by, instrument=piece, since=today, reason="Bent in a hatch.")
    text = printed(longest)[0]
    assert f"Out of use since {today}" in " ".join(text.split())
    assert "Due" not in text
