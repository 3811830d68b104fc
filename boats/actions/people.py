"""Who owns a boat or has another interest in her, from when until when."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction

from boats import particulars, rules
from boats.actions.common import reason_of
from boats.models import Boat, Interest, InterestKind, Ownership
from office.audit import trail
from office.audit.refusals import Refusal, WrongState
from office.people.models import Person


@transaction.atomic
def add_owner(*, by: Person, boat: Boat, person: Person, since: dt.date) -> Ownership:
    rules.check_keeps_register(by)
    rules.check_day(since, "The first day of ownership")
    _one_at_a_time(boat)
    running = Ownership.objects.filter(boat=boat, person=person, until__isnull=True).first()
    if running:
        raise WrongState(f"{person.name} is named as an owner already, since {running.since.isoformat()}.")
    ownership = Ownership.objects.create(boat=boat, person=person, since=since)
    after = {"person": person.key, "since": since.isoformat()}
    trail.record(by=by, verb="add_owner", subject=boat, after=after, boat=boat.key)
    return ownership


@transaction.atomic
def end_ownership(*, by: Person, ownership: Ownership, until: dt.date, reason: str) -> Ownership:
    """`until` is the last day of ownership."""
    rules.check_keeps_register(by)
    ownership = (
        Ownership.objects.select_for_update(of=("self",), no_key=True)
        .select_related("boat", "person")
        .get(pk=ownership.pk)
    )
    rules.check_ownership_open(ownership)
    rules.check_span(ownership.since, until)
    rules.check_day(until, "The last day of ownership")
    ownership.until = until
    ownership.save(update_fields=["until"])
    _record_ending(by, "end_ownership", ownership, reason_of(reason))
    return ownership


@transaction.atomic
def declare_interest(
    *, by: Person, boat: Boat, person: Person, kind: str, since: dt.date, remark: str = ""
) -> Interest:
    rules.check_declares_interest(by, person, boat)
    rules.check_day(since, "The first day of the interest")
    if kind not in InterestKind.values:
        raise Refusal(f"“{kind}” is not a kind of interest; expected {', '.join(InterestKind.values)}.")
    _one_at_a_time(boat)
    if Interest.objects.filter(boat=boat, person=person, kind=kind, until__isnull=True).exists():
        raise WrongState(f"{person.name}'s interest as {InterestKind(kind).label.lower()} is recorded already.")
    interest = Interest.objects.create(
        boat=boat, person=person, kind=kind, since=since, remark=particulars.tidy(remark)[:200]
    )
    after = {"person": person.key, "kind": kind, "since": since.isoformat(), "remark": interest.remark}
    trail.record(by=by, verb="declare_interest", subject=boat, after=after, boat=boat.key)
    return interest


@transaction.atomic
def end_interest(*, by: Person, interest: Interest, until: dt.date, reason: str) -> Interest:
    """Only the office ends an interest: whoever has one could otherwise lay it aside for a day."""
    rules.check_keeps_register(by)
    interest = (
        Interest.objects.select_for_update(of=("self",), no_key=True)
        .select_related("boat", "person")
        .get(pk=interest.pk)
    )
    rules.check_interest_open(interest)
    rules.check_span(interest.since, until)
    rules.check_day(until, "The last day of the interest")
    interest.until = until
    interest.save(update_fields=["until"])
    _record_ending(by, "end_interest", interest, reason_of(reason))
    return interest


def _one_at_a_time(boat: Boat) -> None:
    """Two people naming the same owner take turns, so that the second is told instead of failing."""
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)


def _record_ending(by: Person, verb: str, held: Ownership | Interest, reason: str) -> None:
    before: dict[str, Any] = {"person": held.person.key, "until": None}
    after = {"person": held.person.key, "until": held.until.isoformat() if held.until else None}
    trail.record(by=by, verb=verb, subject=held.boat, before=before, after=after, reason=reason, boat=held.boat.key)
