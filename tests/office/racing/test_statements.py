"""Signed statements: recorded once, open until the certificate is there or a person settles them with a reason."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats.models import Boat
from office.audit.models import Entry as TrailRow
from office.audit.refusals import NotAllowed, WrongState
from office.racing import statements
from office.racing.models import Event, Statement
from tests.cast import Cast
from tests.office.racing.test_events import committee, event, fleet, now, row, take

__all__ = ["committee", "event", "fleet", "row"]
pytestmark = pytest.mark.django_db


def record(cast: Cast, event: Event, sail_number: str = "SKE 3", name: str = "Heron") -> Statement:
    return statements.record_statement(
        by=cast.race_committee, event=event, sail_number=sail_number, name=name, signatory="Petra Skau",
        signed_at=timezone.now() - dt.timedelta(hours=1),
    )  # fmt: skip


def test_settled_when_the_certificate_appears(cast: Cast, event: Event, fleet: dict[str, Boat], row: Any) -> None:
    take(cast, event)
    made = record(cast, event)
    assert statements.settle_by_certificates(event, now(event)) == []
    issued = row(boat=fleet["heron"])
    assert statements.settle_by_certificates(event, now(event)) == [made]
    made.refresh_from_db()
    assert (made.settled_how, made.certificate, made.settled_by) == ("certificate", issued.number, None)
    assert statements.settle_by_certificates(event, now(event)) == []
    told = TrailRow.objects.get(verb="settle_statement")
    assert (told.actor, told.boat, told.certificate) == ("", fleet["heron"].key, issued.number)


def test_one_that_begins_during_the_event_is_left_to_the_committee(
    cast: Cast, event: Event, fleet: dict[str, Boat], row: Any
) -> None:
    take(cast, event)
    record(cast, event)
    row(boat=fleet["heron"], valid_from=event.last_day)
    assert statements.settle_by_certificates(event, now(event)) == []


def test_by_hand_with_a_reason_and_once(cast: Cast, event: Event) -> None:
    made = record(cast, event)
    with pytest.raises(WrongState, match="reason"):
        statements.settle_by_hand(by=cast.race_committee, statement=made, reason=" ")
    with pytest.raises(NotAllowed):
        statements.settle_by_hand(by=cast.owner, statement=made, reason="Shown on paper.")
    settled = statements.settle_by_hand(by=cast.race_committee, statement=made, reason="Shown on paper.")
    assert (settled.settled_how, settled.settled_by) == ("by_hand", cast.race_committee)
    with pytest.raises(WrongState, match="settled already"):
        statements.settle_by_hand(by=cast.race_committee, statement=made, reason="Once more.")
    assert record(cast, event).settled_at is None


def test_one_open_statement_for_a_boat(cast: Cast, event: Event) -> None:
    record(cast, event)
    with pytest.raises(WrongState, match="already"):
        record(cast, event, "ske-3", "HERON")
    with pytest.raises(WrongState, match="has not come yet"):
        statements.record_statement(
            by=cast.race_committee, event=event, sail_number="SKE 1", name="", signatory="x",
            signed_at=timezone.now() + dt.timedelta(hours=1),
        )  # fmt: skip


def test_the_trail_does_not_name_the_signatory(cast: Cast, event: Event) -> None:
    record(cast, event)
    told = TrailRow.objects.get(verb="record_statement")
    assert "Petra" not in f"{told.after}{told.before}{told.reason}{told.subject_label}"


def test_the_pages(cast: Cast, committee: Client, event: Event, fleet: dict[str, Boat], row: Any) -> None:
    take(cast, event)
    address = reverse("events:record_statement", args=[event.key, 4])
    sent = {"entry": "SKE 3, Heron", "signatory": "Petra Skau", "signed_at": "2020-06-05T08:10"}
    bad = committee.post(address, {**sent, "signed_at": "ten", "signatory": ""})
    assert bad.status_code == 422
    assert "2026-05-04 09:30" in bad.content.decode()
    answer = committee.post(address, sent)
    assert answer.headers["Location"] == reverse("events:statements", args=[event.key])
    page = committee.get(answer.headers["Location"]).content.decode()
    assert "Petra Skau" in page
    assert "before the start of 2026-06-07" in page
    assert "without a hearing" in page
    settle = reverse("events:settle_statement", args=[event.key, Statement.objects.get().key])
    assert committee.post(settle, {"reason": ""}).status_code == 422
    row(boat=fleet["heron"])
    page = committee.get(reverse("events:event", args=[event.key])).content.decode()
    assert "the statement is settled" in page
    assert "0 open" in page
    assert "settled already" in committee.get(settle).content.decode()
