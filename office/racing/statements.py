"""Signed statements that a valid certificate exists (RRS 78.2): recorded, open until it appears, settled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import WrongState
from office.people.models import Person
from office.racing import rules
from office.racing.actions import written
from office.racing.checking import key_of
from office.racing.deadlines import Deadline, deadline
from office.racing.models import Event, Statement
from office.racing.results import Result

BY_CERTIFICATE, BY_HAND = "certificate", "by_hand"
# In force on the first day: then a valid certificate existed. One that begins later is the committee's to judge.
SETTLED = ("settled_at", "settled_by_id", "settled_how", "certificate", "settled_reason")  # columns of the end
SHOWS_IT = ("in_force", "ends_during_event")


@dataclass(frozen=True, slots=True)
class Stands:
    """A statement, and what the list says of its boat today; None where the entry is no longer on it."""

    statement: Statement
    result: Result | None


def deadline_of(event: Event) -> Deadline:
    return deadline(event.rules_edition, event.last_day, event.first_series_last_day)


def open_statements(event: Event) -> QuerySet[Statement]:
    return Statement.objects.filter(event=event, settled_at=None)


@transaction.atomic
def record_statement(
    *, by: Person, event: Event, sail_number: str, name: str, signatory: str, signed_at: dt.datetime, remark: str = ""
) -> Statement:
    """The person in charge has signed that a valid certificate exists. The trail does not hold the signatory's name."""
    rules.check_may_run(by, event)
    trail.hold()
    if signed_at > timezone.now():
        raise WrongState("The statement was signed at a time that has not come yet.")
    number, plain = key_of(sail_number, name)
    if open_statements(event).filter(number=number, name=plain).exists():
        raise WrongState("An open statement is recorded for this boat already.")
    made = Statement.objects.create(
        event=event, number=number, name=plain, written=written(sail_number, name), signatory=signatory.strip(),
        signed_at=signed_at, recorded_by=by, remark=remark.strip(),
    )  # fmt: skip
    after = {"statement": made.key, "entry": made.written, "signed_at": trail.instant(signed_at)}
    after["row_sha256"] = row_sha256(made, without=SETTLED)
    trail.record(by=by, verb="record_statement", subject=event, after=after)
    return made


@transaction.atomic
def settle_by_hand(*, by: Person, statement: Statement, reason: str) -> Statement:
    """The committee has seen the certificate, or the boat does not race: the reason says it."""
    trail.hold()
    statement = Statement.objects.select_related("event").get(pk=statement.pk)
    rules.check_may_run(by, statement.event)
    rules.check_open(statement)
    return _settle(by, statement, BY_HAND, reason=rules.check_reason(reason))


def settle_by_certificates(event: Event, found: Iterable[Result]) -> list[Statement]:
    """Settles the open statements of boats whose certificate is there by now; nothing is written where none is."""
    waiting = {(one.number, one.name): one for one in open_statements(event)}
    if not waiting:
        return []
    shown = [
        (statement, one)
        for one in found
        if one.status in SHOWS_IT and (statement := waiting.pop(key_of(one.sail_number, one.boat), None))
    ]
    settled = []
    for statement, one in shown:
        with transaction.atomic():
            trail.hold()
            statement.refresh_from_db()
            if statement.settled_at is None:
                boat = one.matched.key if one.matched else ""
                settled.append(_settle(None, statement, BY_CERTIFICATE, certificate=one.certificate, boat=boat))
    return settled


def _settle(
    by: Person | None, statement: Statement, how: str, *, certificate: str = "", reason: str = "", boat: str = ""
) -> Statement:
    statement.settled_at = timezone.now()
    statement.settled_by = by
    statement.settled_how = how
    statement.certificate = certificate
    statement.settled_reason = reason
    statement.save(
        update_fields=["settled_at", "settled_by", "settled_how", "certificate", "settled_reason"]
    )  # fmt: skip
    trail.record(
        by=by,
        verb="settle_statement",
        subject=statement.event,
        before={"statement": statement.key, "entry": statement.written},
        after={"how": how, "certificate": certificate, "row_sha256": row_sha256(statement)},
        reason=reason,
        boat=boat,
        certificate=certificate,
    )
    return statement


def with_results(statements: Iterable[Statement], found: Iterable[Result]) -> list[Stands]:
    by_key = {key_of(one.sail_number, one.boat): one for one in found}
    return [Stands(one, by_key.get((one.number, one.name))) for one in statements]
