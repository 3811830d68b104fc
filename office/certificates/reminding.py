"""Letters that tell owners of a certificate's coming end: once for each certificate, owner and stage of the policy.

A letter goes to one address only. It is recorded and written in one transaction, and sent after that; what the mail
server does not take waits, and a worker sends it later.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from boats.models import Ownership
from boats.rules import on_day
from office.audit import trail
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import renewing
from office.certificates.models import Certificate, Reminder
from office.letters import actions as outgoing
from office.letters import models as outgoing_models
from office.people.access import is_office
from office.policy import queries as policy_queries

if TYPE_CHECKING:
    from office.people.models import Person

BY_HAND = 0  # the stage of a letter sent from the list before the policy's first one


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter to one owner. `sent_at`: when this stage's letter went out already, None where it is due."""

    certificate: Certificate
    person: Person
    stage: int
    renewable: renewing.Renewable
    sent_at: dt.datetime | None


@dataclass(slots=True)
class Sent:
    """What came of a run."""

    sent: int = 0
    already: int = 0
    waiting: int = 0
    trouble: str = ""  # the kind of what the mail server said, the last time it failed


def letters(on: dt.date, certificates: Iterable[Certificate] | None = None) -> list[Letter]:
    """Every letter of the stage that each certificate has reached on a day, to each owner of that day.

    Without `certificates`, those that end within the policy's days; one that another follows needs no letter.
    """
    stages = policy_queries.reminder_stages(policy_queries.current())
    if certificates is None:
        certificates = renewing.ending_by(on + dt.timedelta(days=stages[0]), on) if stages else []
    rows = [one for one in renewing.weigh(certificates) if not one.follower]
    owners = Ownership.objects.filter(on_day(on), boat__in={one.certificate.boat_id for one in rows})
    by_boat: dict[int, list[Person]] = {}
    for held in owners.filter(person__is_active=True).select_related("person").order_by("pk"):
        by_boat.setdefault(held.boat_id, []).append(held.person)
    gone = {
        (one.certificate_id, one.person_id, one.stage): one.sent_at
        for one in Reminder.objects.filter(certificate__in={one.certificate.pk for one in rows})
    }
    found = []
    for one in rows:
        stage = stage_of(one.certificate, on, stages)
        for person in by_boat.get(one.certificate.boat_id, []):
            sent_at = gone.get((one.certificate.pk, person.pk, stage))
            found.append(Letter(one.certificate, person, stage, one, sent_at))
    return found


def stage_of(certificate: Certificate, on: dt.date, stages: Sequence[int]) -> int:
    """The last stage that has been reached: 14 once fourteen days or fewer are left, 60 before that."""
    left = (certificate.valid_until - on).days
    return min((stage for stage in stages if left <= stage), default=BY_HAND)


def send(*, by: Person | None, chosen: Iterable[Letter]) -> Sent:
    """Writes what has not been written at its stage, each recorded by itself, and sends it.

    Once the mail server has failed it is asked no more: the rest waits as well.
    """
    result = Sent()
    for letter in chosen:
        written = None if letter.sent_at is not None else _write(by, letter)
        if written is None:
            result.already += 1
        elif not result.waiting and outgoing.send(written):
            result.sent += 1
        else:
            result.waiting += 1
            result.trouble = result.trouble or written.trouble
    return result


def send_ticked(*, by: Person, numbers: Sequence[str]) -> Sent:
    """From the list: letters for the ticked certificates, at the stage they have reached."""
    check_may_remind(by)
    if not numbers:
        raise WrongState("Tick at least one certificate.")
    today = timezone.localdate()
    running = renewing.ending_by(dt.date.max, today).filter(number__in=numbers)
    return send(by=by, chosen=letters(today, running))


def check_may_remind(person: Person) -> None:
    if not is_office(person):
        raise NotAllowed("Owners are reminded by the office: a reviewer, a certifier or an administrator.")


def _write(by: Person | None, letter: Letter) -> outgoing_models.Letter | None:
    """None where this stage's letter has been written before."""
    certificate = letter.certificate
    with transaction.atomic():
        _, made = Reminder.objects.get_or_create(certificate=certificate, person=letter.person, stage=letter.stage)
        if not made:
            return None
        trail.record(
            by=by,
            verb="send_reminder",
            subject=certificate,
            after={
                "person": letter.person.key, "stage": letter.stage, "ends_on": certificate.valid_until.isoformat()
            },
            boat=certificate.boat.key,
            certificate=certificate.number,
        )  # fmt: skip
        return outgoing.write(
            to=letter.person.email, subject=_subject(certificate), text=_text(letter), about="reminder"
        )


def _subject(certificate: Certificate) -> str:
    ends = certificate.valid_until.isoformat()
    return f"{certificate.boat.name}: certificate {certificate.number} ends on {ends}"


def _text(letter: Letter) -> str:
    context = {
        "letter": letter,
        "certificate": letter.certificate,
        "boat": letter.certificate.boat,
        "renewal": not renewing.why_not(letter.renewable, timezone.localdate()),
        "policy": letter.renewable.policy,
        "address": settings.PUBLIC_URL,
    }
    return render_to_string("certificates/reminder.txt", context)
