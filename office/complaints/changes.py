"""What every step of a complaint shares: locked and asked about, stored with its row of the trail, told by letter.

The trail tells keys, days and digests, never the words: they may name people, and a name can be asked to go.
"""

from __future__ import annotations

import datetime as dt
from functools import partial

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from office.audit import trail
from office.audit.digest import row_sha256
from office.complaints import rules
from office.complaints.models import Complaint
from office.complaints.transitions import BY_VERB
from office.letters import actions as letters
from office.people.models import Person
from office.policy import queries as policy_queries
from surveys.values import Unreadable, seen

LONGEST = 4000
REMOVABLE = ("complainant_name", "complainant_contact")  # what may be taken away, hence under no digest


def begin(by: Person, complaint: Complaint, verb: str, edition: int | None) -> Complaint:
    """The complaint as it stands, role and state asked; nobody else can change it until the transaction ends."""
    rules.check_role(by, verb)
    trail.hold()
    rows = Complaint.objects.select_related("boat", "visit", "certificate", "instrument", "complainant")
    one = rows.get(pk=complaint.pk)
    rules.check_state(one, verb)
    rules.check_edition(one, edition)
    return one


def move(one: Complaint, by: Person, verb: str, after: dict[str, str], reason: str = "") -> Complaint:
    former, one.state = one.state, BY_VERB[verb].target
    told = {**after, "state": one.state}
    return store(one, by, f"{verb}_complaint", told, before={"state": former}, reason=reason)


def store(
    one: Complaint,
    by: Person,
    verb: str,
    after: dict[str, str],
    before: dict[str, str] | None = None,
    reason: str = "",
) -> Complaint:
    one.edition += 1
    one.save()
    tell(one, by, verb, after, before, reason)
    return one


def tell(
    one: Complaint,
    by: Person,
    verb: str,
    after: dict[str, str],
    before: dict[str, str] | None = None,
    reason: str = "",
) -> None:
    """Not under the boat's, the visit's or the certificate's key: their trail is read by others."""
    told = {**after, "row_sha256": row_sha256(one, without=REMOVABLE)}
    trail.record(by=by, verb=verb, subject=one, before=before, after=told, reason=reason)


def keys_of(one: Complaint) -> dict[str, str]:
    named = {
        "boat": one.boat.key if one.boat else "",
        "visit": one.visit.key if one.visit else "",
        "certificate": one.certificate.number if one.certificate else "",
        "instrument": one.instrument.identifier if one.instrument else "",
        "concerned": one.concerned.key if one.concerned else "",
    }
    return {name: key for name, key in named.items() if key}


def words(what: str, text: str, field: str) -> str:
    tidy = seen(what, text, LONGEST, field, lines=True)
    if not tidy:
        raise Unreadable(what, "", "some words", field)
    return tidy


def check_day(what: str, day: dt.date, one: Complaint, field: str) -> None:
    today = timezone.localdate()
    if not one.received_on <= day <= today:
        raise Unreadable(what, day.isoformat(), f"a date from {one.received_on}, its receipt, to today", field)


def write_letter(one: Complaint, what: str) -> None:
    """To a person the office knows; anybody else is told by the office's own means. Sent once all of it is stored."""
    if one.complainant is None or not one.complainant.is_active:
        return
    context = {
        "complaint": one, "what": what, "decision": one.decisions.last(), "policy": policy_queries.current(),
        "address": settings.PUBLIC_URL,
    }  # fmt: skip
    text = render_to_string("complaints/letter.txt", context)
    subject = f"Your complaint of {one.received_on.isoformat()}"
    letter = letters.write(to=one.complainant.email, subject=subject, text=text, about="complaint")
    transaction.on_commit(partial(letters.send, letter))
