"""What owners declare of their boats: the office's policy decides at once, the office settles it later.

Sold, rig changed, mast damaged: per kind the policy notes it only, suspends the certificate or ends it. Everything
waits on the office's queue until somebody of the office has said what becomes of it.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from boats import rules as boat_rules
from boats.actions.access import write_invitation
from boats.models import Boat, BoatInvitation, BoatPart, Declaration, DeclarationKind, Ownership
from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import actions, numbering, rules, suspending
from office.certificates.models import Certificate
from office.certificates.standing import Standing, standing
from office.people.access import is_office
from office.policy import queries as policy_queries
from office.policy.models import Consequence

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from office.people.models import Person

LONGEST = 2000
DECISIONS = {
    "leave": "Leave the certificate as it stands",
    "reinstate": "Reinstate the certificate from today",
    "end": "Withdraw the certificate from today",
}


# ---- Rules ----


def check_may_declare(person: Person, boat: Boat) -> None:
    """An owner of today, or the office, which hears of such things as well."""
    if not is_office(person) and not boat_rules.owns(person, boat):
        raise NotAllowed("What has happened to a boat is declared by her owner, or recorded by the office.")


def may_declare(person: Person, boat: Boat) -> bool:
    return is_office(person) or boat_rules.owns(person, boat)


def check_may_settle(person: Person) -> None:
    if not is_office(person):
        raise NotAllowed("A declaration is settled by the office: a reviewer, a certifier or an administrator.")


def check_open(declaration: Declaration) -> None:
    if declaration.settled_at is not None:
        raise WrongState(f"This has been settled already, on {timezone.localdate(declaration.settled_at).isoformat()}.")


def open_ones() -> QuerySet[Declaration]:
    """What waits for the office, the oldest first."""
    rows = Declaration.objects.filter(settled_at__isnull=True)
    return rows.select_related("boat", "declared_by").order_by("declared_at", "pk")


# ---- Declare ----


def declare(*, by: Person, boat: Boat, kind: str, happened_on: dt.date, text: str = "") -> Declaration:
    """Records it and does what the policy says to the boat's certificates that have not ended."""
    with transaction.atomic():
        numbering.wait_for_turn()
        check_may_declare(by, boat)
        return _declare(by, boat, kind, happened_on, text)


def _declare(by: Person, boat: Boat, kind: str, happened_on: dt.date, text: str) -> Declaration:
    if kind not in DeclarationKind.values:
        raise Refusal(f"“{kind}” cannot be declared; expected {', '.join(DeclarationKind.values)}.")
    boat_rules.check_day(happened_on, "The day it happened")
    word = DeclarationKind(kind).label.lower()
    running = Declaration.objects.filter(boat=boat, kind=kind, settled_at__isnull=True).first()
    if running:
        day = timezone.localdate(running.declared_at).isoformat()
        raise WrongState(f"{boat.name} was declared {word} on {day} already; the office has yet to settle that.")
    consequence = policy_queries.consequence_of(policy_queries.current(), kind)
    touched = _touched(boat)
    made = Declaration.objects.create(
        boat=boat, kind=kind, happened_on=happened_on, text=text.strip()[:LONGEST], declared_by=by,
        consequence=consequence, certificate=touched[0].number if touched else "",
    )  # fmt: skip
    trail.record(
        by=by,
        verb="declare_change",
        subject=boat,
        after={"kind": kind, "happened_on": happened_on.isoformat(), "text": made.text, "consequence": consequence},
        boat=boat.key,
        certificate=made.certificate,
    )
    _follow(by, touched, consequence, f"Declared {word}, {happened_on.isoformat()}; by the office's policy.")
    return made


def _touched(boat: Boat) -> list[Certificate]:
    """The certificates of the boat that have not ended, the one that counts first first."""
    today = timezone.localdate()
    rows = Certificate.objects.filter(boat=boat, in_force_before__gt=today).order_by("valid_from", "pk")
    rows = rows.select_related("boat", "visit").prefetch_related("suspensions")
    return [one for one in rows if standing(one, today) in {Standing.IN_FORCE, Standing.NOT_YET, Standing.SUSPENDED}]


def _follow(by: Person, touched: list[Certificate], consequence: str, reason: str) -> None:
    today = timezone.localdate()
    for one in touched:
        if consequence == Consequence.END:
            actions.write_withdrawal(by, one, today, reason)
        elif consequence == Consequence.SUSPEND and rules.open_suspension(one) is None:
            suspending.write_suspension(by, one, rules.first_day_to_suspend(one, today), reason)


# ---- Settle ----


def settle(*, by: Person, declaration: Declaration, decision: str, reason: str) -> Declaration:
    """What the office makes of it; reinstating and ending take who may do that to the certificate anyway."""
    why = reason.strip()
    if not why:
        raise WrongState("A declaration is settled with a reason: the owner will ask.")
    if decision not in DECISIONS:
        raise Refusal(f"A declaration is settled by one of {', '.join(DECISIONS)}, not “{decision}”.")
    with transaction.atomic():
        numbering.wait_for_turn()
        declaration = Declaration.objects.select_related("boat").get(pk=declaration.pk)
        check_may_settle(by)
        check_open(declaration)
        touched = _touched(declaration.boat)
        if decision == "reinstate":
            _reinstate(by, touched, why)
        elif decision == "end":
            _end(by, touched, why)
        declaration.settled_at, declaration.settled_by, declaration.settlement = timezone.now(), by, why
        declaration.save(update_fields=["settled_at", "settled_by", "settlement"])
        trail.record(
            by=by,
            verb="settle_declaration",
            subject=declaration.boat,
            before={"kind": declaration.kind, "consequence": declaration.consequence},
            after={"decision": decision},
            reason=why,
            boat=declaration.boat.key,
            certificate=declaration.certificate,
        )
    return declaration


def _reinstate(by: Person, touched: list[Certificate], reason: str) -> None:
    suspended = [one for one in touched if rules.open_suspension(one)]
    if not suspended:
        raise WrongState("No certificate of hers is suspended; there is nothing to reinstate.")
    for one in suspended:
        rules.check_may_reinstate(by, one)
        suspending.lift_suspension(by, one, rules.first_day_to_reinstate(one, timezone.localdate()), reason)


def _end(by: Person, touched: list[Certificate], reason: str) -> None:
    if not touched:
        raise WrongState("She has no certificate that has not ended already.")
    for one in touched:
        rules.check_may_withdraw(by, one)
        actions.write_withdrawal(by, one, timezone.localdate(), reason)


# ---- Hand over ----


def hand_over(
    *, by: Person, boat: Boat, sold_on: dt.date, email: str, name: str, text: str = ""
) -> tuple[BoatInvitation, str]:
    """The boat goes to a new owner: declared sold, the own ownership ended, the new owner invited by a link."""
    with transaction.atomic():
        numbering.wait_for_turn()
        boat_rules.check_owns(by, boat)
        boat_rules.check_day(sold_on, "The day of the sale")
        own = Ownership.objects.select_related("boat", "person").get(boat=boat, person=by, until__isnull=True)
        boat_rules.check_span(own.since, sold_on)
        if email.strip().lower() == by.email.lower():
            raise WrongState("A boat is handed over to somebody else; this is your own address.")
        if not Declaration.objects.filter(boat=boat, kind=DeclarationKind.SOLD, settled_at__isnull=True).exists():
            _declare(by, boat, DeclarationKind.SOLD, sold_on, text)
        made = write_invitation(by, boat, BoatPart.NEW_OWNER, email, name)
        own.until = sold_on
        own.save(update_fields=["until"])
        trail.record(
            by=by,
            verb="end_ownership",
            subject=boat,
            before={"person": by.key, "until": None},
            after={"person": by.key, "until": sold_on.isoformat()},
            reason="Handed over to a new owner.",
            boat=boat.key,
        )
    return made
