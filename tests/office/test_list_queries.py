"""The number of queries of a list page does not grow with its rows: one of everything, then several."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from boats import actions as boat_actions
from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf
from office.people.actions import invitations
from office.policy.actions import change_policy
from surveys import actions
from surveys.logsheet import read
from surveys.models import Visit
from tests.cast import Cast, make_person
from tests.surveys.makers import SHEET, Stage, record_kit, register_boat

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

# Each list, with the one who reads most in it.
LISTS = (
    ("home", "measurer"),
    ("home", "reviewer"),
    ("home", "certifier"),
    ("home", "owner"),
    ("home", "administrator"),
    ("boats:list", "reviewer"),
    ("boats:list", "owner"),
    ("boats:designs", "reviewer"),
    ("surveys:list", "reviewer"),
    ("surveys:list", "measurer"),
    ("surveys:list", "owner"),
    ("surveys:choose_boat", "owner"),
    ("certificates:list", "certifier"),
    ("certificates:list", "owner"),
    ("instruments:list", "measurer"),
    ("people:list", "administrator"),
    ("policy:editions", "administrator"),
    ("trail:list", "administrator"),
    ("trail:list", "owner"),
    ("desk:queue", "reviewer"),
    ("desk:fleet", "administrator"),
    ("racing:check", "race_committee"),
    ("events:list", "race_committee"),
    ("events:list", "administrator"),
)
ASKED = {"racing:check": {"q": "Quiet"}}
MOST = 30  # of any list, whatever it holds


class Fleet(Stage):
    """A stage for several boats: the sample sheet is made out to the boat that is measured."""

    def fill(self, visit: Visit) -> None:
        content = SHEET.read_bytes().replace(b"SKE 214", self.boat.sail_number.encode())
        sheet = read(content.replace(b"Quiet Margin", self.boat.name.encode()), SHEET.name)
        actions.take_log_sheet(by=self.cast.measurer, visit=visit, sheet=sheet, filename=SHEET.name)


def add_one_of_everything(stage: Stage, number: int) -> None:
    """A boat more, with a visit in every state, a certificate, an instrument, a person, a design, rows of the trail."""
    cast = stage.cast
    if number:
        stage.boat = register_boat(cast, f"Quiet Margin {number}", f"SKE 214{number}")
    boat_actions.add_design(by=cast.administrator, name=f"Tern {30 + number}")
    make_person(f"Person Number {number}", "owner")
    invitations.invite(
        by=cast.administrator, email=f"new{number}@office.example", name=f"New {number}", roles=["owner"]
    )
    actions.record_instrument(by=cast.administrator, identifier=f"T-{20 + number}", kind="steel_tape")
    reason = "Letters and certificates say where the office is."
    change_policy(by=cast.administrator, reason=reason, office_place=f"Quay {number}")
    certificate_actions.issue(by=cast.certifier, visit=stage.visit("accepted"))
    for state in ("planned", "draft", "signed", "under_review", "returned", "accepted", "called_off", "asked_for"):
        stage.visit(state)


def queries_of(cast: Cast, name: str, part: str) -> int:
    client = Client()
    client.force_login(cast.people()[part])
    address, asked = reverse(name), ASKED.get(name, {})
    client.get(address, asked)  # what is kept from one request to the next is kept now
    with CaptureQueriesContext(connection) as captured:
        answer = client.get(address, asked)
    assert answer.status_code == 200, (name, part)
    return len(captured)


def test_no_list_asks_more_for_more_rows(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
    stage = Fleet(cast, register_boat(cast), record_kit(cast))
    add_one_of_everything(stage, 0)
    few = {one: queries_of(cast, *one) for one in LISTS}
    for number in (1, 2, 3):
        add_one_of_everything(stage, number)
    many = {one: queries_of(cast, *one) for one in LISTS}
    assert many == few
    assert max(few.values()) <= MOST
