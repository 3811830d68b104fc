"""Who may do what with boats, and what their state allows. One function for the person, one for the state.

Each `check_…` raises one sentence; each `may_…` is its boolean twin.
"""

from __future__ import annotations

import datetime as dt
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any

from django.db.models import CharField, F, Q, QuerySet, Value
from django.db.models.expressions import Combinable
from django.db.models.functions import Cast
from django.utils import timezone

from boats.models import Access, Boat, DesignLimit, Interest, Ownership, Rig
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.people.access import OFFICE
from office.people.models import Person, Role

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

EARLIEST = dt.date(1850, 1, 1)  # a sanity bound, no source
SEES_EVERY_BOAT = (Role.MEASURER, *OFFICE)


def on_day(day: dt.date) -> Q:
    """Rows with `since` and `until` (the last day, or open) that hold on a day."""
    return Q(since__lte=day) & (Q(until__isnull=True) | Q(until__gte=day))


def interest_of(person: Person, boat: Boat, *on: dt.date) -> str:
    """The person's interest in the boat on any of the days: "" for none, else "owner", "skipper", "designer", …

    Equipment Rules of Sailing H.1.1 (read in a secondary copy): nobody does certification control of a boat they
    own, designed or built, or in which they are an interested party.
    """
    at_any = Q(reduce(or_, map(on_day, on)), boat=boat, person=person)
    ways: list[tuple[QuerySet[Any], Combinable]] = [
        (Ownership.objects.all(), Value("owner")),
        (Access.objects.all(), Value("skipper")),
        (Interest.objects.all(), F("kind")),
    ]
    found = [
        rows.filter(at_any)
        .order_by()
        .annotate(rank=Value(rank), what=Cast(what, CharField()))
        .values_list("rank", "since", "pk", "what")
        for rank, (rows, what) in enumerate(ways)
    ]
    first = found[0].union(*found[1:], all=True).order_by("rank", "since", "pk").first()
    return str(first[3]) if first else ""


# ---- The person ----


def may_keep_register(person: Person | AnonymousUser) -> bool:
    """Register boats and change what is known of them."""
    return isinstance(person, Person) and person.holds(*OFFICE)


def check_keeps_register(person: Person | AnonymousUser) -> None:
    if not may_keep_register(person):
        raise NotAllowed("The register of boats is kept by the office: reviewers, certifiers and administrators.")


def may_see(person: Person | AnonymousUser, boat: Boat) -> bool:
    """Measurers and the office see every boat, owners and skippers theirs of today, nobody else any."""
    if not isinstance(person, Person) or not person.is_active:
        return False
    if person.holds(*SEES_EVERY_BOAT):
        return True
    if not person.holds(Role.OWNER):
        return False
    today = on_day(timezone.localdate())
    return any(table.objects.filter(today, boat=boat, person=person).exists() for table in (Ownership, Access))


def owns(person: Person, boat: Boat) -> bool:
    """Owner of this boat today, as long as the office lets them act as one: recorded, and in the role."""
    if not person.holds(Role.OWNER):
        return False
    return Ownership.objects.filter(on_day(timezone.localdate()), boat=boat, person=person).exists()


def check_owns(person: Person, boat: Boat) -> None:
    if not owns(person, boat):
        raise NotAllowed(f"Only an owner of {boat.name} may do this.")


def check_sees(person: Person | AnonymousUser, boat: Boat) -> None:
    if not may_see(person, boat):
        raise NotAllowed("A boat's pages are for her owner, the measurers and the office.")


def may_declare_interest(by: Person, person: Person, boat: Boat) -> bool:
    """Anyone declares their own interest in a boat they see; the office records anyone's."""
    return may_keep_register(by) or (by.pk == person.pk and may_see(by, boat))


def check_declares_interest(by: Person, person: Person, boat: Boat) -> None:
    if not may_declare_interest(by, person, boat):
        raise NotAllowed("An interest in a boat is declared by the person who has it, or recorded by the office.")


# ---- The state ----


def check_edition(boat: Boat, edition: int) -> None:
    if boat.edition != edition:
        raise Stale(
            f"{boat.name} was changed by someone else since this form was made; look at what stands now, "
            "then send yours again if it still holds."
        )


def check_rig_number(boat: Boat, current: Rig | None, number: int) -> None:
    """`number` is the rig the form was made from, 0 for none."""
    if (current.number if current else 0) != number:
        raise Stale(
            f"The rig of {boat.name} was described anew by someone else since this form was made; look at what "
            "stands now, then send yours again if it still holds."
        )


def check_ownership_open(ownership: Ownership) -> None:
    if ownership.until is not None:
        raise WrongState(f"This ownership already ended, on {ownership.until.isoformat()}.")


def check_interest_open(interest: Interest) -> None:
    if interest.until is not None:
        raise WrongState(f"This interest already ended, on {interest.until.isoformat()}.")


def check_limit_open(limit: DesignLimit) -> None:
    if limit.ended_at is not None:
        raise WrongState(f"This limit already ended, on {timezone.localdate(limit.ended_at).isoformat()}.")


def check_span(since: dt.date, until: dt.date) -> None:
    if until < since:
        raise WrongState(f"The last day, {until.isoformat()}, lies before the first, {since.isoformat()}.")


def check_day(day: dt.date, what: str) -> None:
    """Between the earliest day that is believed and today."""
    today = timezone.localdate()
    if not EARLIEST <= day <= today:
        raise WrongState(
            f"{what} cannot be {day.isoformat()}; expected {EARLIEST.isoformat()} to today, {today.isoformat()}."
        )
