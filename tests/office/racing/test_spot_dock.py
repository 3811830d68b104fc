"""The dock page's documents of a spot check: the state, what a device sends, and nothing stored twice."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from office.certificates.models import Certificate
from office.racing import spot_checks
from office.racing.models import Event, SpotCheck
from tests.cast import Cast
from tests.office.racing.test_events import committee
from tests.office.racing.test_spot_checks import boat, certificate, event, spot

__all__ = ["boat", "certificate", "committee", "event", "spot"]
pytestmark = pytest.mark.django_db

ROW = "luff_between_bands-main-one"


def token(number: int) -> str:
    return f"{'t' * 20}{number:04d}"


def sent(client: Client, spot: SpotCheck, *entries: dict[str, Any]) -> list[dict[str, Any]]:
    answer = client.post(
        reverse("events:spot_send", args=[spot.event.key, spot.key]),
        json.dumps({"device": "a phone", "entries": entries}), content_type="application/json",
    )  # fmt: skip
    assert answer.status_code == 200, answer.content
    return list(answer.json()["answers"])


def a_take(number: int, text: str, **more: Any) -> dict[str, Any]:
    return {"token": token(number), "kind": "take", "row": ROW, "take": 1, "text": text, "instrument": "T-03", **more}


def outcomes(answers: list[dict[str, Any]]) -> list[str]:
    return [one["outcome"] for one in answers]


def test_the_state_has_all_the_page_asks_for(committee: Client, spot: SpotCheck) -> None:
    address = reverse("events:spot_state", args=[spot.event.key, spot.key])
    answer = committee.get(address)
    state = answer.json()
    assert {row["key"] for row in state["rows"]} == {ROW, "foot_distance-main-one"}
    assert (state["writable"], state["panel"]["missing"]) == (True, 2)
    assert state["panel"]["next"]["row"] == ROW
    assert state["panel"]["drawing"].startswith("<svg")
    assert committee.get(address, headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304
    page = committee.get(reverse("events:spot_dock", args=[spot.event.key, spot.key])).content.decode()
    assert f'data-state-url="{address}"' in page
    assert 'data-worker-scope="/events/"' in page
    assert Client().get(address).status_code == 401


def test_a_take_is_stored_once(committee: Client, spot: SpotCheck) -> None:
    assert outcomes(sent(committee, spot, a_take(1, "15000"))) == ["stored"]
    assert outcomes(sent(committee, spot, a_take(1, "15000"), a_take(2, "15000"))) == ["already", "already"]
    assert spot.readings.count() == 1
    again = sent(committee, spot, a_take(1, "15001"))[0]
    assert (again["outcome"], "stored before as 15000" in again["sentence"]) == ("refused", True)


def test_another_devices_figure_becomes_the_next_take(committee: Client, spot: SpotCheck) -> None:
    answers = sent(committee, spot, a_take(1, "15000"), a_take(2, "15007"))
    assert outcomes(answers) == ["stored", "stored"]
    assert (answers[1]["current"]["take"], "kept as take 2" in answers[1]["sentence"]) == (2, True)


def test_amended_and_taken_away(committee: Client, spot: SpotCheck) -> None:
    amend = {**a_take(2, "15001"), "kind": "amend", "replaces": token(1), "reason": "misread"}
    away = {"token": token(3), "kind": "take_away", "row": ROW, "replaces": token(2)}
    answers = sent(committee, spot, a_take(1, "15000"), amend, away, away, {**amend, "token": token(4)})
    assert outcomes(answers) == ["stored", "stored", "stored", "already", "refused"]
    assert not [row["takes"] for row in _state(committee, spot)["rows"] if row["takes"]]


def _state(client: Client, spot: SpotCheck) -> Any:
    return client.get(reverse("events:spot_state", args=[spot.event.key, spot.key])).json()


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        (a_take(1, "five"), "expected"),
        (a_take(1, "15000", row="pole_length-main-one"), "no reading of this spot check"),
        (a_take(1, "15000", by="somebody"), "must sign in"),
        ({"token": token(1), "kind": "absent", "row": ROW, "reason": "x"}, "takes only"),
        ({"token": "short"}, "Token"),
        ("text", "Entry"),
    ],
)
def test_what_is_refused_says_why_and_stands_in_nobodys_way(
    committee: Client, spot: SpotCheck, entry: Any, sentence: str
) -> None:
    answers = sent(committee, spot, entry, a_take(9, "15000"))
    assert outcomes(answers) == ["refused", "stored"]
    assert sentence in answers[0]["sentence"]


def test_a_finished_check_takes_nothing_more(
    cast: Cast, committee: Client, spot: SpotCheck, event: Event, certificate: Certificate
) -> None:
    sent(committee, spot, a_take(1, "15000"))
    spot_checks.finish(by=cast.race_committee, spot=spot)
    assert outcomes(sent(committee, spot, a_take(2, "15001", take=2))) == ["refused"]
    assert _state(committee, spot)["writable"] is False


def test_the_same_value_of_another_device_can_be_amended_at_once(committee: Client, spot: SpotCheck) -> None:
    """Typed, put right and taken back without a network: the page knows its own tokens only."""
    sent(committee, spot, a_take(1, "15000"))
    amend = {**a_take(3, "15001"), "kind": "amend", "replaces": token(2)}
    answers = sent(committee, spot, a_take(2, "15.000", unit="m"), amend)
    assert outcomes(answers) == ["already", "stored"]
    assert [take["text"] for row in _state(committee, spot)["rows"] for take in row["takes"]] == ["15001"]


def test_a_take_that_was_taken_away_is_not_filled_again(committee: Client, spot: SpotCheck) -> None:
    away = {"token": token(2), "kind": "take_away", "row": ROW, "replaces": token(1)}
    answers = sent(committee, spot, a_take(1, "15000"), away, a_take(3, "15002"))
    assert (outcomes(answers)[2], answers[2]["current"]["take"]) == ("stored", 2)
    assert answers[2]["sentence"].startswith("Take 1 has been taken away by now; this is kept as take 2")


def test_the_page_offers_only_what_a_spot_check_takes(committee: Client, spot: SpotCheck) -> None:
    """What the state says of it is what the sending refuses."""
    assert _state(committee, spot)["takes_only"] is True
    for kind in ("absent", "present", "settle", "undo"):
        entry = {"token": token(1), "kind": kind, "row": ROW, "reason": "x", "replaces": token(9), "choose": "mine"}
        assert outcomes(sent(committee, spot, entry)) == ["refused"], kind
