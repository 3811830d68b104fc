"""Who may do what with a visit, and in which state. Each rule raises one human sentence; its twin answers yes or no.

State rules ask only the visit, person rules only who somebody is to it; actions ask both.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.utils import timezone

from boats.models import Boat
from boats.rules import interest_of, on_day
from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState
from office.people.access import is_office
from office.people.models import Person, Role
from surveys.models import Visit, VisitState
from surveys.transitions import BY_VERB, OPEN


def holds(rule: Callable[..., None], *args: Any) -> bool:
    """The boolean twin of any rule."""
    try:
        rule(*args)
    except Refusal:
        return False
    return True


def why_not(rule: Callable[..., None], *args: Any) -> str:
    """The rule's sentence, or nothing where it holds: for the greyed button."""
    try:
        rule(*args)
    except Refusal as refusal:
        return str(refusal)
    return ""


def _listed(states: tuple[str, ...]) -> str:
    *first, last = [VisitState(state).label.lower() for state in states]
    return f"{', '.join(first)} or {last}" if first else last


# ---- What a state allows ----


def check_state(visit: Visit, verb: str) -> None:
    """Raise WrongState unless the visit's state has this verb."""
    rule = BY_VERB[verb]
    if visit.state not in rule.sources:
        state = VisitState(visit.state).label.lower()
        raise WrongState(f"Only a visit that is {_listed(rule.sources)} can {rule.can}; this one is {state}.")


def state_allows(visit: Visit, verb: str) -> bool:
    return visit.state in BY_VERB[verb].sources


def check_nothing_asked(boat: Boat) -> None:
    """A second request for the same boat waits until the first is planned or called off."""
    if boat.visits.filter(state=VisitState.ASKED_FOR).exists():
        raise WrongState(f"A visit to {boat.name} has been asked for already and waits to be planned.")


def check_not_absent(visit: Visit, slug: str, mast: str, position: str) -> None:
    """Nothing is read that the measurer has marked as not on this rig."""
    marked = visit.absent_readings.filter(slug=slug, mast=mast, taken_back_at__isnull=True)
    if marked.filter(position__in={position, ""}).exists():  # "" of a halyard: there is none of them
        raise WrongState("This is marked as not on this rig; take the mark back before reading it.")


def check_never_signed(visit: Visit) -> None:
    """What was signed once is not undone."""
    if visit.signed_at is not None:
        raise WrongState("The visit has been signed before; amend the reading with a reason instead of undoing it.")


def check_edition(visit: Visit, edition: int) -> None:
    """Raise Stale where the visit was changed after the form was made."""
    if visit.edition != edition:
        raise Stale(
            "The visit has been changed since this form was made; look at it as it is now and send the form again."
        )


# ---- Who a person is to a visit ----


def check_role(person: Person, verb: str) -> None:
    roles = BY_VERB[verb].roles
    if not person.holds(*roles):
        *first, last = [Role(role).label.lower() for role in roles]
        named = f"{', '.join(first)} or {last}" if first else last
        raise NotAllowed(f"This is for the {named}; {person.name} does not hold that role.")


def check_may_ask(person: Person, boat: Boat) -> None:
    """The office asks for any boat, an owner for their own."""
    if is_office(person):
        return
    check_role(person, "ask")
    if not owns(person, boat):
        raise NotAllowed("A visit is asked for by the boat's owner or by the office.")


def may_ask(person: Person, boat: Boat) -> bool:
    return holds(check_may_ask, person, boat)


def owns(person: Person, boat: Boat) -> bool:
    """Owner of this boat today, whatever other interest there may be besides."""
    return boat.ownerships.filter(on_day(timezone.localdate()), person=person).exists()


def interest_in(person: Person, visit: Visit, on: dt.date | None = None) -> str:
    """The person's interest in the visit's boat, known to the office or declared with the visit; "" where none.

    One of the visit's day or of today: the day is the measurer's own statement, and must not put an interest aside.
    """
    today = timezone.localdate()
    day = on or visit.date or visit.planned_on or today
    known = interest_of(person, visit.boat, *{day, today})
    if not known and person.pk == visit.measurer_id and visit.interest != "none":
        return visit.interest
    return known


def check_no_interest(person: Person, visit: Visit) -> None:
    """An interested party neither measures, reviews nor certifies, unless the office granted an exception.

    Equipment Rules of Sailing H.1.1 (read in a secondary copy).
    """
    interest = interest_in(person, visit)
    if interest and not visit.interest_exceptions.filter(person=person).exists():
        raise NotAllowed(
            f"{person.name} has an interest in {visit.boat.name} ({interest.replace('_', ' ')}); "
            "the office must first grant an exception for this visit."
        )


def has_no_interest(person: Person, visit: Visit) -> bool:
    return holds(check_no_interest, person, visit)


def check_may_measure(person: Person, visit: Visit) -> None:
    """Writing to a visit is for the measurer it is assigned to."""
    check_role(person, "write")
    if visit.measurer_id != person.pk:
        raise NotAllowed("Only the measurer this visit is assigned to may write to it.")


def may_measure(person: Person, visit: Visit) -> bool:
    return holds(check_may_measure, person, visit)


def may_write(person: Person, visit: Visit) -> bool:
    """The state's answer and the person's together: whether the forms are shown."""
    return visit.state in OPEN and may_measure(person, visit)


def check_may_print(person: Person, visit: Visit) -> None:
    """The log sheet is for whoever is to fill it in, and for the office, which sends it."""
    if not is_office(person) and not holds(check_may_measure, person, visit):
        raise NotAllowed("A log sheet is printed by the visit's measurer or by the office.")


def may_print(person: Person, visit: Visit) -> bool:
    return holds(check_may_print, person, visit)


def check_may_begin(person: Person, visit: Visit) -> None:
    check_may_measure(person, visit)
    check_no_interest(person, visit)


def check_may_sign(person: Person, visit: Visit) -> None:
    check_may_measure(person, visit)
    check_no_interest(person, visit)


def may_sign(person: Person, visit: Visit) -> bool:
    return holds(check_may_sign, person, visit)


def check_may_plan(person: Person) -> None:
    check_role(person, "plan")


def may_plan(person: Person) -> bool:
    return holds(check_may_plan, person)


def check_assignable(measurer: Person, visit: Visit) -> None:
    """Who can be given the visit: a measurer without an interest in the boat."""
    if not measurer.holds(Role.MEASURER):
        raise NotAllowed(f"{measurer.name} is not a measurer.")
    check_no_interest(measurer, visit)


def check_may_grant(by: Person, person: Person, visit: Visit) -> None:
    """The office, but nobody to themselves, and nobody who has an interest of their own in the boat."""
    check_role(by, "grant_exception")
    if by.pk == person.pk:
        raise NotAllowed("Nobody grants an exception to themselves.")
    if interest_in(by, visit):
        raise NotAllowed(f"{by.name} has an interest in {visit.boat.name}; somebody else must grant the exception.")


def check_other_eyes(person: Person, visit: Visit, doing: str) -> None:
    """Nobody reviews or certifies their own measuring, nor a visit in which they recorded a reading."""
    if visit.measurer_id == person.pk or _recorded_in(person, visit):
        raise NotAllowed(f"{person.name} measured this visit; somebody else must {doing} it.")


def _recorded_in(person: Person, visit: Visit) -> bool:
    """Whether the person recorded a reading of the visit; without a question where the readings are loaded already."""
    if "readings" in getattr(visit, "_prefetched_objects_cache", {}):
        return any(one.recorded_by_id == person.pk for one in visit.readings.all())
    return visit.readings.filter(recorded_by=person).exists()


def check_may_review(person: Person, visit: Visit) -> None:
    check_role(person, "accept")
    check_other_eyes(person, visit, "review")
    check_no_interest(person, visit)


def check_may_begin_review(person: Person, visit: Visit) -> None:
    """State and person together, for the button."""
    check_state(visit, "begin_review")
    check_may_review(person, visit)


def check_may_decide(person: Person, visit: Visit) -> None:
    """Ask, return or accept: state and person together, for the buttons."""
    check_state(visit, "accept")
    check_may_review(person, visit)


def may_review(person: Person, visit: Visit) -> bool:
    return holds(check_may_review, person, visit)


def check_may_certify(person: Person, visit: Visit) -> None:
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"This is for the certifier; {person.name} does not hold that role.")
    check_other_eyes(person, visit, "certify")
    check_no_interest(person, visit)


def may_certify(person: Person, visit: Visit) -> bool:
    return holds(check_may_certify, person, visit)


def may_see(person: Person, visit: Visit) -> bool:
    """The office, the visit's measurer, and the boat's owners of today."""
    if is_office(person) or (visit.measurer_id == person.pk and person.holds(Role.MEASURER)):
        return True
    return person.holds(Role.OWNER) and owns(person, visit.boat)


def check_may_see(person: Person, visit: Visit) -> None:
    if not may_see(person, visit):
        raise NotAllowed("A visit's pages are for its measurer, the boat's owner and the office.")


def may_keep_instruments(person: Person) -> bool:
    return is_office(person)


def check_may_keep_instruments(person: Person) -> None:
    if not may_keep_instruments(person):
        raise NotAllowed("The office keeps the record of its instruments; other people may only read it.")


def may_see_instruments(person: Person) -> bool:
    return is_office(person) or person.holds(Role.MEASURER)


def check_may_have_calendar(person: Person) -> None:
    """A calendar of planned visits is for those who measure and for the office."""
    if not (is_office(person) or person.holds(Role.MEASURER)):
        raise NotAllowed("A calendar of planned visits is for measurers and the office.")


def may_have_calendar(person: Person) -> bool:
    return holds(check_may_have_calendar, person)
