"""What the demo office was told of and found in its own work: one closed, one new, one being looked into."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Any

from django.utils import timezone

from boats.models import Ownership
from boats.rules import on_day
from office.certificates.models import Certificate
from office.complaints import actions
from office.complaints.models import Complaint, Kind
from office.demo.story import Office
from surveys.models import Instrument

NEXT_BERTH = "Her mast is shorter than the certificate says: she was alongside us, and her truck was lower than ours."
FOUND = (
    "Both were measured again from the dock with the long tape: the luff agrees with the certificate within its U. The "
    "boats lay at different draughts that day."
)
OWN = "My certificate names the wrong harbour, and nobody answered when I asked for it to be put right."
TARE = "The scale was read with its tare left in once, and the slings were taken off a second time afterwards."


def plan(office: Office, today: dt.date) -> None:
    """Enters them in the office's calendar."""
    day = dt.timedelta(days=1)
    nine = dt.time(9)
    begun = today - 120 * day
    kept: dict[str, Complaint] = {}
    for after, step in ((0, _receive), (1, _acknowledge), (2, _assign), (9, _decide), (10, _close)):
        office.at(begun + after * day, nine, partial(step, office, kept, begun + after * day))
    office.at(today - 15 * day, nine, partial(_find, office, today - 15 * day))
    office.at(today - 4 * day, nine, partial(_send, office, today - 4 * day))


def _in_force(on: dt.date) -> Certificate | None:
    rows = Certificate.objects.filter(valid_from__lte=on, in_force_before__gt=on, suspensions=None)
    return rows.select_related("boat").order_by("number").first()


def _receive(office: Office, kept: dict[str, Complaint], on: dt.date) -> None:
    certificate = _in_force(on)
    if certificate is not None:
        kept["it"] = actions.receive(
            by=office.people["certifier"], kind=Kind.COMPLAINT, received_on=on, text=NEXT_BERTH, name="Wendel Carrick",
            contact="the next berth, Gull Stairs", certificate=certificate,
        )  # fmt: skip


def _step(office: Office, kept: dict[str, Complaint], verb: Any, **given: Any) -> None:
    if kept:
        verb(by=office.people["administrator"], complaint=kept["it"], **given)


def _acknowledge(office: Office, kept: dict[str, Complaint], on: dt.date) -> None:
    _step(office, kept, actions.acknowledge, acknowledged_on=on)


def _assign(office: Office, kept: dict[str, Complaint], on: dt.date) -> None:
    _step(office, kept, actions.assign, investigator=office.people["administrator"])


def _decide(office: Office, kept: dict[str, Complaint], on: dt.date) -> None:
    _step(office, kept, actions.decide, findings=FOUND, outcome="not_justified")


def _close(office: Office, kept: dict[str, Complaint], on: dt.date) -> None:
    _step(office, kept, actions.close, told_on=on, told_how="At his berth, with the figures on paper.")


def _find(office: Office, on: dt.date) -> None:
    """The office's own finding, about an instrument, given to somebody at once."""
    scale = Instrument.objects.filter(identifier="S-01").first()
    if scale is not None:
        found = actions.receive(
            by=office.people["reviewer"], kind=Kind.NONCONFORMING, received_on=on, text=TARE, instrument=scale
        )
        actions.assign(by=office.people["certifier"], complaint=found, investigator=office.people["administrator"])


def _send(office: Office, on: dt.date) -> None:
    """An owner's, from the boat's page."""
    certificate = _in_force(on)
    owned = Ownership.objects.filter(on_day(timezone.localdate()), boat=certificate.boat) if certificate else None
    ownership = owned.select_related("person").order_by("pk").first() if owned else None
    if certificate is not None and ownership is not None:
        actions.send(by=ownership.person, boat=certificate.boat, text=OWN, certificate=certificate)
