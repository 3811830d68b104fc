"""A complaint's steps: each one transaction with its row of the trail (`office.complaints.changes`)."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction
from django.utils import timezone

from boats.models import Boat
from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import Refusal, WrongState
from office.certificates.models import Certificate, Ending
from office.certificates.standing import Standing, standing
from office.complaints import changes, rules
from office.complaints.models import OUTCOMES, Complaint, Consequence, Decision, Kind, Note, State
from office.people.models import Person
from surveys.models import Instrument, Visit
from surveys.values import Unreadable, seen

EARLIEST = dt.date(1990, 1, 1)  # a sanity bound, no source


def receive(
    *,
    by: Person,
    kind: str,
    received_on: dt.date,
    text: str,
    complainant: Person | None = None,
    name: str = "",
    contact: str = "",
    concerned: Person | None = None,
    **about: Any,
) -> Complaint:
    """The office records what reached it by whatever way. `about`: boat, visit, certificate, instrument."""
    rules.check_role(by, "note")
    if kind not in Kind.values:
        raise Refusal(f"It is one of {', '.join(Kind.values)}.")
    if kind == Kind.COMPLAINT and complainant is None and not name.strip():
        raise Unreadable("From whom", "", "a name, or the address of a person the office knows", "name")
    if kind == Kind.NONCONFORMING and (complainant or name.strip() or contact.strip()):
        raise Unreadable("From whom", name, "nobody: non-conforming work is the office's own finding", "name")
    return _received(
        by=by, kind=kind, received_on=received_on, text=text, complainant=complainant, name=name, contact=contact,
        concerned=concerned, about=about,
    )  # fmt: skip


def send(
    *, by: Person, boat: Boat, text: str, certificate: Certificate | None = None, visit: Visit | None = None
) -> Complaint:
    """An owner complains from the boat's own pages."""
    rules.check_may_send(by, boat)
    if any(one is not None and one.boat_id != boat.pk for one in (certificate, visit)):
        raise Refusal("That certificate or visit is of another boat.")
    return _received(
        by=by, kind=Kind.COMPLAINT, received_on=timezone.localdate(), text=text, complainant=by, name="", contact="",
        concerned=None, about={"boat": boat, "visit": visit, "certificate": certificate},
    )  # fmt: skip


def report(*, by: Person, visit: Visit, text: str, instrument: Instrument | None = None) -> Complaint:
    """A measurer tells the office of non-conforming work on a visit of theirs, with the instrument it comes from.

    ISO/IEC 17025:2017 7.10.1 (from memory): whoever does the work has a way to say that it does not conform.
    """
    rules.check_may_report(by, visit)
    if instrument is not None and not visit.readings.filter(instrument=instrument).exists():
        raise Refusal(f"{instrument.identifier} was not used on this visit.")
    return _received(
        by=by, kind=Kind.NONCONFORMING, received_on=timezone.localdate(), text=text, complainant=None, name="",
        contact="", concerned=None, about={"visit": visit, "instrument": instrument},
    )  # fmt: skip


def _received(
    *,
    by: Person,
    kind: str,
    received_on: dt.date,
    text: str,
    complainant: Person | None,
    name: str,
    contact: str,
    concerned: Person | None,
    about: dict[str, Any],
) -> Complaint:
    today = timezone.localdate()
    if not EARLIEST <= received_on <= today:
        raise Unreadable("Received on", received_on.isoformat(), f"a date not after today ({today})", "received_on")
    made = Complaint(
        kind=kind,
        received_on=received_on,
        text=changes.words("What it says", text, "text"),
        recorded_by=by,
        complainant=complainant,
        complainant_name=seen("Name", name, 120, "name"),
        complainant_contact=seen("How they are reached", contact, 200, "contact"),
        concerned=concerned,
        **_subject(**about),
    )
    with transaction.atomic():
        trail.hold()
        same = Complaint.objects.filter(kind=kind, text=made.text, received_on=received_on, boat=made.boat)
        if same.exclude(state=State.CLOSED).filter(complainant=complainant, complainant_name=made.complainant_name):
            raise WrongState("This has been received already, in the same words; it is in the register.")
        made.save(force_insert=True)
        changes.tell(
            made,
            by,
            "receive_complaint",
            {"received_on": received_on.isoformat(), "kind": kind, **changes.keys_of(made)},
        )
    return made


def _subject(
    boat: Boat | None = None,
    visit: Visit | None = None,
    certificate: Certificate | None = None,
    instrument: Instrument | None = None,
) -> dict[str, Any]:
    """A certificate brings its visit along, and a visit its boat. Raises Refusal where they do not belong together."""
    if certificate is not None:
        if visit is not None and visit.pk != certificate.visit_id:
            raise Refusal(f"{certificate.number} rests on another visit.")
        visit = certificate.visit
    if visit is not None:
        if boat is not None and boat.pk != visit.boat_id:
            raise Refusal("That visit or certificate is of another boat.")
        boat = visit.boat
    return {"boat": boat, "visit": visit, "certificate": certificate, "instrument": instrument}


def name_subject(
    *, by: Person, complaint: Complaint, concerned: Person | None = None, edition: int | None = None, **about: Any
) -> Complaint:
    """What it turns out to be about, as a whole: what is left out is not named any more.

    Nobody says of their own work that it is not in question: refused to who had a part and would have none after.
    """
    with transaction.atomic():
        one = changes.begin(by, complaint, "name_subject", edition)
        before, part = changes.keys_of(one), next(rules.parts_in(by, one), "")
        for field, value in {**_subject(**about), "concerned": concerned}.items():
            setattr(one, field, value)
        if changes.keys_of(one) == before:
            raise WrongState("It is about that already.")
        if part and not any(rules.parts_in(by, one)):
            raise Refusal(f"{by.name} {part}; that it is about something else is for somebody else to say.")
        return changes.store(one, by, "name_complaint_subject", changes.keys_of(one), before=before)


def acknowledge(*, by: Person, complaint: Complaint, acknowledged_on: dt.date, edition: int | None = None) -> Complaint:
    """Who complained is told that it was received; by letter where the office knows the person."""
    with transaction.atomic():
        one = changes.begin(by, complaint, "acknowledge", edition)
        changes.check_day("Acknowledged on", acknowledged_on, one, "acknowledged_on")
        one.acknowledged_on = acknowledged_on
        changes.move(one, by, "acknowledge", {"acknowledged_on": acknowledged_on.isoformat()})
        changes.write_letter(one, "acknowledged")
    return one


def assign(*, by: Person, complaint: Complaint, investigator: Person, edition: int | None = None) -> Complaint:
    """Somebody without a part in it looks into it."""
    with transaction.atomic():
        one = changes.begin(by, complaint, "assign", edition)
        rules.check_may_look_into(investigator, one)
        if one.investigator_id == investigator.pk and one.state == State.LOOKED_INTO:
            raise WrongState(f"{investigator.name} looks into it already.")
        one.investigator = investigator
        return changes.move(one, by, "assign", {"investigator": investigator.key})


def note(*, by: Person, complaint: Complaint, text: str) -> Note:
    with transaction.atomic():
        one = changes.begin(by, complaint, "note", None)
        made = Note(complaint=one, text=changes.words("Note", text, "text"), noted_by=by)
        made.save(force_insert=True)
        changes.store(one, by, "note_on_complaint", {"note_sha256": row_sha256(made)})
    return made


def decide(
    *,
    by: Person,
    complaint: Complaint,
    findings: str,
    outcome: str,
    measures: str = "",
    edition: int | None = None,
) -> Complaint:
    """What was found and what it comes to, by the one who looked into it."""
    with transaction.atomic():
        one = changes.begin(by, complaint, "decide", edition)
        rules.check_may_decide(by, one)
        if outcome not in OUTCOMES[Kind(one.kind)]:
            raise Refusal(f"The outcome is one of {', '.join(OUTCOMES[Kind(one.kind)])}.")
        made = Decision(
            complaint=one,
            findings=changes.words("What was found", findings, "findings"),
            outcome=outcome,
            measures=seen("What is done", measures, changes.LONGEST, "measures", lines=True),
            decided_by=by,
        )
        made.save(force_insert=True)
        return changes.move(one, by, "decide", {"outcome": outcome, "decision_sha256": row_sha256(made)})


def close(
    *, by: Person, complaint: Complaint, told_on: dt.date | None, told_how: str, edition: int | None = None
) -> Complaint:
    """Who complained has been told what came of it; of the office's own finding, whoever it touches, or why nobody."""
    with transaction.atomic():
        one = changes.begin(by, complaint, "close", edition)
        if told_on is None and one.kind == Kind.COMPLAINT:
            raise Unreadable("Told on", "", "the day on which the complainant was told", "told_on")
        if told_on is not None:
            changes.check_day("Told on", told_on, one, "told_on")
        one.told_on, one.told_how = told_on, changes.words("How", told_how, "told_how")
        changes.move(one, by, "close", {"told_on": told_on.isoformat() if told_on else ""})
        changes.write_letter(one, "closed")
    return one


def take_up_again(*, by: Person, complaint: Complaint, reason: str, edition: int | None = None) -> Complaint:
    """Something new has come up; what was decided stays readable. The same person looks into it until another does."""
    if not reason.strip():
        raise Refusal("This needs a reason.")
    with transaction.atomic():
        one = changes.begin(by, complaint, "take_up_again", edition)
        one.told_on, one.told_how = None, ""
        return changes.move(one, by, "take_up_again", {}, reason=seen("Reason", reason, 1000, "reason", lines=True))


def note_consequence(*, by: Person, complaint: Complaint, certificate: Certificate) -> Consequence:
    """A certificate that does not stand any more as it was issued, because of this complaint."""
    with transaction.atomic():
        one = changes.begin(by, complaint, "note_consequence", None)
        became = became_of(Certificate.objects.get(pk=certificate.pk))
        if not became:
            raise WrongState(
                f"{certificate.number} stands as it was issued; suspend, withdraw, replace or amend it first."
            )
        if one.consequences.filter(certificate=certificate, became=became).exists():
            raise WrongState(f"That {certificate.number} was {became} is noted already.")
        made = Consequence(complaint=one, certificate=certificate, became=became, noted_by=by)
        made.save(force_insert=True)
        after = {"certificate": certificate.number, "became": became, "consequence_sha256": row_sha256(made)}
        changes.store(one, by, "note_complaint_consequence", after)
    return made


def became_of(certificate: Certificate) -> str:
    """withdrawn, replaced, suspended or amended; "" where it stands as it was issued, or has only run out."""
    if certificate.ending in {Ending.WITHDRAWN, Ending.REPLACED}:
        return str(certificate.ending)
    if standing(certificate, timezone.localdate()) == Standing.SUSPENDED:
        return str(Standing.SUSPENDED)
    return "amended" if certificate.amendments.exists() else ""


def remove_complainant(*, by: Person, complaint: Complaint, reason: str) -> Complaint:
    """Name and contact of somebody the office does not otherwise know go for good, once all is closed."""
    if not reason.strip():
        raise Refusal("This needs a reason.")
    with transaction.atomic():
        one = changes.begin(by, complaint, "remove_complainant", None)
        if not (one.complainant_name or one.complainant_contact):
            raise WrongState("No name stands here; that of a person the office knows is removed on the person's page.")
        one.complainant_name = one.complainant_contact = ""
        return changes.store(
            one, by, "remove_complainant", {}, reason=seen("Reason", reason, 1000, "reason", lines=True)
        )
