"""Who may do what with a complaint, and in which state. Whoever had a part in the work does not judge it.

ISO/IEC 17025:2017 7.9.6 (from memory): what comes of a complaint is decided, or reviewed and approved, by people who
were not involved in the work in question.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from boats.models import Boat, Ownership
from boats.rules import interest_of, on_day, owns
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.certificates.models import Certificate
from office.complaints.models import Complaint, Kind, State
from office.complaints.transitions import BY_VERB
from office.people.access import check_holds, is_office
from office.people.models import Person, Role
from surveys.models import Visit
from surveys.rules import holds, why_not

__all__ = ["holds", "why_not"]

# ---- The state ----


def check_state(complaint: Complaint, verb: str) -> None:
    rule = BY_VERB[verb]
    state = State(complaint.state).label.lower()
    if complaint.state not in rule.sources:
        raise WrongState(f"It cannot {rule.can} any more or yet: it is {state}.")
    if verb == "acknowledge" and complaint.kind != Kind.COMPLAINT:
        raise WrongState("This is the office's own finding; there is nobody to acknowledge it to.")
    if verb == "assign" and complaint.kind == Kind.COMPLAINT and complaint.state == State.RECEIVED:
        raise WrongState("First acknowledge to the complainant that it has been received.")


def check_edition(complaint: Complaint, edition: int | None) -> None:
    if edition is not None and edition != complaint.edition:
        raise Stale("It has been changed since this form was made; look at it as it is now and send the form again.")


# ---- The person ----


def check_role(person: Person, verb: str) -> None:
    check_holds(person, *BY_VERB[verb].roles)


def check_may_send(person: Person, boat: Boat) -> None:
    """From the pages of a boat complain her owners; from everybody else the office takes complaints by other ways."""
    if not owns(person, boat):
        raise NotAllowed("From a boat's pages complaints are sent by her owners; write to the office.")


def check_may_report(person: Person, visit: Visit) -> None:
    """A measurer says of a visit of theirs that something in it is not as it should be."""
    if not (person.holds(Role.MEASURER) and measured_in(person, visit)):
        raise NotAllowed("Of a visit this is said by who measured in it; the office records it in its register.")


def measured_in(person: Person, visit: Visit) -> bool:
    return visit.measurer_id == person.pk or visit.readings.filter(recorded_by=person).exists()


def check_may_follow(person: Person, complaint: Complaint) -> None:
    """Its course is seen by who complained or reported it, by the co-owners, and by the office."""
    if not (is_office(person) or Complaint.objects.filter(followed_by(person), pk=complaint.pk).exists()):
        raise NotAllowed("The course of a complaint is for who complained, and for the office.")


def followed_by(person: Person) -> Q:
    """Complaints that the person made or a co-owner sent of their boat, and findings that they reported as a measurer.

    Co-owners are those who owned her together on the day it was received, as far as they own her still: who bought her
    later reads nothing of what was said before, nor do the owners of a boat that the office names instead.
    """
    mine = Q(complainant=person)
    if person.holds(Role.MEASURER):  # whoever recorded one for the office reads it as long as they are of the office
        mine |= Q(kind=Kind.NONCONFORMING, recorded_by=person)
    if not person.holds(Role.OWNER):
        return mine
    boats = Ownership.objects.filter(on_day(timezone.localdate()), person=person).values("boat")
    still_open = Q(until=None) | Q(until__gte=OuterRef("received_on"))
    then = Ownership.objects.filter(still_open, boat=OuterRef("boat"), since__lte=OuterRef("received_on"))
    together = Q(Exists(then.filter(person=person))) & Q(Exists(then.filter(person=OuterRef("complainant"))))
    return mine | (Q(boat__in=boats, complainant=F("recorded_by")) & together)


def check_may_look_into(person: Person, complaint: Complaint) -> None:
    """Somebody of the office without a part in it, and without an interest in the boat, now or when it was received."""
    if not is_office(person):
        raise NotAllowed(f"{person.name} is not of the office; a reviewer, certifier or administrator looks into it.")
    if part := next(parts_in(person, complaint), ""):
        raise NotAllowed(f"{person.name} {part}; somebody else looks into it.")


def check_may_decide(person: Person, complaint: Complaint) -> None:
    """Who looks into it decides, and had no part in it, even where that was named later."""
    check_role(person, "decide")
    if complaint.investigator_id != person.pk:
        raise NotAllowed("It is decided by the one who looks into it.")
    check_may_look_into(person, complaint)


def parts_in(person: Person, complaint: Complaint) -> Iterator[str]:
    """Every part the person had in what is complained about, as the end of a sentence."""
    if complaint.concerned_id == person.pk:
        yield "is the one it is about"
    if complaint.complainant_id == person.pk:
        yield "is the one who complained"
    for visit in visits_in_question(complaint):
        if measured_in(person, visit):
            yield "measured in the visit in question"
        if visit.reviewer_id == person.pk:
            yield "reviewed the visit in question"
    for certificate in certificates_in_question(complaint):
        if certificate.issued_by_id == person.pk:
            yield "issued the certificate in question"
    if complaint.instrument is not None and complaint.instrument.keeper_id == person.pk:
        yield "keeps the instrument in question"
    if complaint.boat is not None and interest_of(person, complaint.boat, timezone.localdate(), complaint.received_on):
        yield "has an interest in the boat"


def certificates_in_question(complaint: Complaint) -> list[Certificate]:
    """The one named; else those of the visit named; else the boat's latest one."""
    rows = Certificate.objects.defer("snapshot").select_related("visit", "boat").prefetch_related("suspensions")
    if complaint.certificate_id:
        return list(rows.filter(pk=complaint.certificate_id))
    if complaint.visit_id:
        return list(rows.filter(visit_id=complaint.visit_id).order_by("-issued_at"))
    return list(rows.filter(boat_id=complaint.boat_id).order_by("-issued_at")[:1]) if complaint.boat_id else []


def visits_in_question(complaint: Complaint) -> list[Visit]:
    """The one named, or those behind the certificates in question."""
    if complaint.visit is not None:
        return [complaint.visit]
    return [one.visit for one in certificates_in_question(complaint)]
