"""Who may issue and withdraw, and what the register allows: each rule raises one sentence and has a boolean twin.

State rules ask the visit and the boat's other certificates; person rules ask who somebody is to the visit. Nobody
certifies their own measuring, nor a boat in which they have an interest (surveys.rules; exceptions are per visit).
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils import timezone

from boats.rules import interest_of, may_see
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.certificates import queries
from office.certificates.models import Certificate, Ending, Suspension
from office.certificates.standing import WORDS, standing
from office.certificates.transitions import NOT_ENDED
from office.people.models import Person, Role
from surveys import rules as survey_rules
from surveys.content import still_as_signed
from surveys.models import Visit, VisitState
from surveys.queries import latest_sign_off

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

why_not = survey_rules.why_not  # a rule's sentence, or nothing where it holds: for the greyed button

LONGEST_AHEAD = dt.timedelta(days=366)  # no certificate is issued for a season further off (common practice, no source)


# ---- The person ----


def check_may_issue(person: Person, visit: Visit) -> None:
    """A certifier who neither measured nor recorded anything in the visit, without an interest then or today."""
    survey_rules.check_may_certify(person, visit)
    interest = interest_of(person, visit.boat, timezone.localdate())
    if interest and not visit.interest_exceptions.filter(person=person).exists():
        raise NotAllowed(
            f"{person.name} has an interest in {visit.boat.name} ({interest}); "
            "somebody else must certify, or the office grants an exception for a visit."
        )


def may_issue(person: Person, visit: Visit) -> bool:
    return survey_rules.holds(check_may_issue, person, visit)


def check_may_withdraw(person: Person, certificate: Certificate) -> None:
    """Withdrawing says no to a boat, so an interest does not make it easier: any certifier without one may."""
    _check_certifier_without_interest(person, certificate, "withdrawn", "withdraw")


def check_may_suspend(person: Person, certificate: Certificate) -> None:
    """As for a withdrawal."""
    _check_certifier_without_interest(person, certificate, "suspended", "suspend")


def _check_certifier_without_interest(person: Person, certificate: Certificate, done: str, do: str) -> None:
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"A certificate is {done} by a certifier; {person.name} does not hold that role.")
    interest = interest_of(person, certificate.boat, timezone.localdate())
    if interest:
        raise NotAllowed(
            f"{person.name} has an interest in {certificate.boat.name} ({interest}); somebody else must {do} it."
        )


def may_suspend(person: Person, certificate: Certificate) -> bool:
    return survey_rules.holds(check_may_suspend, person, certificate)


def check_may_reinstate(person: Person, certificate: Certificate) -> None:
    """Reinstating says yes to a boat again: whoever might issue the certificate may."""
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"A certificate is reinstated by a certifier; {person.name} does not hold that role.")
    check_may_issue(person, certificate.visit)


def may_reinstate(person: Person, certificate: Certificate) -> bool:
    return survey_rules.holds(check_may_reinstate, person, certificate)


def may_withdraw(person: Person, certificate: Certificate) -> bool:
    return survey_rules.holds(check_may_withdraw, person, certificate)


def check_may_read(person: Person | AnonymousUser, certificate: Certificate) -> None:
    """Who may see the boat may read her certificates: the office, the measurers, her owners of today."""
    if not may_see(person, certificate.boat):
        raise NotAllowed("A certificate is read by the boat's owner and by the office; its standing is public.")


def may_read(person: Person | AnonymousUser, certificate: Certificate) -> bool:
    return survey_rules.holds(check_may_read, person, certificate)


# ---- The state ----


def check_accepted(visit: Visit) -> None:
    if visit.state != VisitState.ACCEPTED:
        raise WrongState(f"Only an accepted visit can be certified; this one is {visit.get_state_display().lower()}.")


def check_as_signed(visit: Visit) -> None:
    """What would be certified is what the measurer signed and the reviewer accepted, to the letter."""
    accepted = latest_sign_off(visit, "accepted")
    if accepted is None or not still_as_signed(visit):
        raise WrongState(
            "The visit is not what was signed and accepted any more; nothing is certified until the office has found "
            "out why: verify the register."
        )


def check_first_day(valid_from: dt.date, visit: Visit, today: dt.date) -> None:
    """Not back in time, where people have already acted on what the office answered, and not too far ahead."""
    if valid_from < today:
        raise WrongState(
            f"A certificate begins today, {today.isoformat()}, at the earliest, not on {valid_from.isoformat()}."
        )
    if valid_from - today > LONGEST_AHEAD:
        raise WrongState(f"A certificate begins within a year from today; {valid_from.isoformat()} is further off.")


def check_no_newer(visit: Visit) -> None:
    """What a later visit found has been certified: an older one would put the boat back to what she was."""
    newer = (
        Certificate.objects.filter(boat_id=visit.boat_id, visit__date__gt=visit.date)
        .exclude(ending=Ending.WITHDRAWN)
        .order_by("-issued_at")
        .first()
    )
    if newer:
        raise WrongState(
            f"A later visit to {visit.boat.name} is certified already, by {newer.number}; this older one cannot be."
        )


def check_nothing_begins_later(visit: Visit, valid_from: dt.date, last_day: dt.date) -> None:
    """A certificate that is to begin within the new one's days must be withdrawn first."""
    later = (
        Certificate.objects.filter(boat_id=visit.boat_id, valid_from__gt=valid_from, valid_from__lte=last_day)
        .order_by("valid_from")
        .first()
    )
    if later and later.valid_from < later.in_force_before:
        raise WrongState(
            f"{later.number} is to begin on {later.valid_from.isoformat()}, within the days of this one; "
            "withdraw it first, or let this one begin on that day."
        )


def check_replacement(visit: Visit, reason: str, replacing: str | None) -> None:
    """A visit is certified once; again only as a replacement of its certificate, named and with a reason."""
    last = queries.of_visit(visit).first()
    if last is None:
        return
    if not replacing:
        raise WrongState(
            f"This visit is certified already, by {last.number}; again only as a correction that names it and says why."
        )
    if not reason.strip():
        raise WrongState(f"A correction of {replacing} needs its reason: it is printed and kept with the certificate.")


def check_named(replacing: str | None, predecessor: Certificate | None) -> None:
    """A form names the certificate it was to replace, "" for none; None asks nothing."""
    actual = predecessor.number if predecessor else ""
    if replacing is not None and replacing != actual:
        raise Stale(
            f"This would now replace {actual or 'no certificate'}, not {replacing or 'none'}; look at what stands "
            "today and confirm again."
        )


def check_can_withdraw(certificate: Certificate, on: dt.date, today: dt.date) -> None:
    """In force or yet to begin, from today on, before it ends by itself."""
    _check_not_ended(certificate, today, "withdrawn")
    _check_day_ahead(certificate, on, today, "A withdrawal")


def _check_not_ended(certificate: Certificate, today: dt.date, done: str) -> None:
    now = standing(certificate, today)
    if now not in NOT_ENDED:
        raise WrongState(f"{certificate.number} is {WORDS[now].lower()} already; it cannot be {done}.")


def _check_day_ahead(certificate: Certificate, on: dt.date, today: dt.date, what: str) -> None:
    """From today on, where nobody has acted on an answer yet, and while the certificate lasts."""
    if on < today:
        raise WrongState(
            f"{what} counts from today, {today.isoformat()}, at the earliest; what was answered before stands."
        )
    if on >= certificate.in_force_before:
        raise WrongState(
            f"{certificate.number} ends by itself before {on.isoformat()}; name a day before "
            f"{certificate.in_force_before.isoformat()}."
        )


def can_withdraw(certificate: Certificate, today: dt.date) -> bool:
    return survey_rules.holds(check_can_withdraw, certificate, max(today, certificate.valid_from), today)


def open_suspension(certificate: Certificate) -> Suspension | None:
    return next((one for one in certificate.suspensions.all() if one.lifted_from is None), None)


def check_can_suspend(certificate: Certificate, since: dt.date, today: dt.date) -> None:
    """Not ended, not suspended, and from a day on after which no former suspension reaches."""
    _check_not_ended(certificate, today, "suspended")
    if running := open_suspension(certificate):
        raise WrongState(f"{certificate.number} is suspended already, from {running.since.isoformat()} on.")
    _check_day_ahead(certificate, since, today, "A suspension")
    reached = max((one.lifted_from for one in certificate.suspensions.all() if one.lifted_from), default=since)
    if since < reached:
        raise WrongState(
            f"{certificate.number} is suspended already until {reached.isoformat()}, when it is in force again; "
            "name that day or a later one."
        )


def can_suspend(certificate: Certificate, today: dt.date) -> bool:
    return survey_rules.holds(check_can_suspend, certificate, first_day_to_suspend(certificate, today), today)


def first_day_to_suspend(certificate: Certificate, today: dt.date) -> dt.date:
    lifted = [one.lifted_from for one in certificate.suspensions.all() if one.lifted_from]
    return max([today, certificate.valid_from, *lifted])


def check_can_reinstate(certificate: Certificate, on: dt.date, today: dt.date) -> None:
    """While it is suspended and has not ended; not back in time."""
    _check_not_ended(certificate, today, "reinstated")
    running = open_suspension(certificate)
    if running is None:
        raise WrongState(f"{certificate.number} is not suspended; there is nothing to reinstate.")
    _check_day_ahead(certificate, on, today, "A reinstatement")
    if on < running.since:
        raise WrongState(
            f"{certificate.number} is suspended from {running.since.isoformat()}; it is in force again from that day "
            "at the earliest."
        )


def can_reinstate(certificate: Certificate, today: dt.date) -> bool:
    return survey_rules.holds(check_can_reinstate, certificate, first_day_to_reinstate(certificate, today), today)


def first_day_to_reinstate(certificate: Certificate, today: dt.date) -> dt.date:
    running = open_suspension(certificate)
    return max(today, running.since) if running else today
