"""Who may do what at an event, and what its state allows: one human sentence each when it is no."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState
from office.people.access import OFFICE, is_office
from office.people.models import Person, Role
from office.racing.models import CommitteeMember, Event, SpotCheck, Statement

MAKERS = (Role.RACE_COMMITTEE, *OFFICE)
LONGEST_EVENT_DAYS = 366


def holds(check: Callable[..., None], *about: Any) -> bool:
    """The boolean twin of a check."""
    try:
        check(*about)
    except Refusal:
        return False
    return True


def check_may_make(person: Person) -> None:
    if not person.holds(*MAKERS):
        raise NotAllowed("Only race committees and the office make events.")


def is_on_committee(person: Person, event: Event) -> bool:
    return (
        person.holds(Role.RACE_COMMITTEE)
        and CommitteeMember.objects.filter(event=event, person=person, ended_at=None).exists()
    )


def check_may_run(person: Person, event: Event) -> None:
    """See the event, change it, take lists, settle entries, record statements, make spot checks."""
    if not (is_office(person) or is_on_committee(person, event)):
        raise NotAllowed("This event is for its own race committee and for the office.")


def may_run(person: Person, event: Event) -> bool:
    return holds(check_may_run, person, event)


def check_days(first_day: dt.date, last_day: dt.date, first_series_last_day: dt.date | None) -> None:
    if last_day < first_day:
        raise WrongState(f"The last day, {last_day.isoformat()}, lies before the first, {first_day.isoformat()}.")
    if (last_day - first_day).days >= LONGEST_EVENT_DAYS:
        raise WrongState("An event lasts at most a year here; make one for each part of a longer series.")
    if first_series_last_day is not None and not first_day <= first_series_last_day <= last_day:
        raise WrongState("The first series ends on one of the event's days.")


def check_edition(event: Event, edition: int) -> None:
    if event.edition != edition:
        raise Stale(f"Somebody else has changed {event.name} meanwhile: look at it again before you change it.")


def check_can_be_member(person: Person | None) -> Person:
    if person is None or not person.holds(Role.RACE_COMMITTEE):
        raise WrongState("Nobody in the role of race committee signs in with this address; the office can invite them.")
    return person


def check_committee_remains(event: Event, member: CommitteeMember) -> None:
    if not event.members.filter(ended_at=None).exclude(pk=member.pk).exists():
        raise WrongState("Somebody has to remain on the committee: add another person first.")


def check_open(statement: Statement) -> None:
    if statement.settled_at is not None:
        raise WrongState("This statement is settled already.")


def check_spot_open(spot: SpotCheck) -> None:
    if spot.finished_at is not None:
        raise WrongState("This spot check is finished: what it found stands.")


def check_reason(reason: str) -> str:
    if not reason.strip():
        raise WrongState("This needs a reason.")
    return reason.strip()


def why_not_open(statement: Statement) -> str:
    """The sentence of `check_open`, or nothing."""
    try:
        check_open(statement)
    except Refusal as refusal:
        return str(refusal)
    return ""
