"""Complaints and non-conforming work: each step by whom and in which state, impartiality, and what the trail keeps."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.core import mail
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from boats import actions as boat_actions
from office.audit import triggers
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState
from office.certificates import suspending
from office.certificates.models import Certificate
from office.complaints import actions, queries
from office.complaints.models import Complaint, Consequence, Decision, Note
from office.complaints.transitions import BY_VERB, TRANSITIONS
from office.complaints.verification import check_all
from office.people.models import Person
from surveys.models import Visit
from surveys.values import Unreadable
from tests.cast import Cast
from tests.office.complaints.makers import WORDS, Matter


@pytest.fixture
def matter(cast: Cast) -> Matter:
    return Matter(cast)


# ---- The whole way ----


def test_from_receipt_to_its_end(matter: Matter) -> None:
    one = matter.received(name="Wendel Carrick", contact="the next berth")
    assert (one.state, one.recorded_by, one.complainant) == ("received", matter.cast.certifier, None)
    for state in ("acknowledged", "looked_into", "decided", "closed"):
        one = matter.brought_to(state, one)
        assert Complaint.objects.get().state == state
    decision = one.decisions.get()
    assert (decision.outcome, decision.decided_by) == ("not_justified", matter.cast.administrator)
    told = Entry.objects.filter(subject_kind="complaint", subject=one.key).order_by("number")
    assert [entry.verb for entry in told] == [
        "receive_complaint", "acknowledge_complaint", "assign_complaint", "decide_complaint", "close_complaint",
    ]  # fmt: skip
    assert {entry.boat + entry.visit + entry.certificate for entry in told} == {""}, (
        "the boat's trail is read by others"
    )
    written = " ".join(entry.after + entry.before + entry.subject_label for entry in told)
    for words in (WORDS, "Wendel", "berth", "agrees with", "By telephone"):
        assert words not in written
    assert all(len(json.loads(entry.after)["row_sha256"]) == 64 for entry in told)


def test_the_offices_own_finding_needs_no_acknowledgement(matter: Matter) -> None:
    one = matter.received(kind="nonconforming", instrument=matter.scale)
    with pytest.raises(WrongState, match="own finding"):
        actions.acknowledge(by=matter.cast.reviewer, complaint=one, acknowledged_on=timezone.localdate())
    one = matter.brought_to("looked_into", one)
    decide: dict[str, Any] = {"by": matter.cast.administrator, "complaint": one, "findings": "The tare was left in."}
    with pytest.raises(Refusal, match="acceptable, not_acceptable"):
        actions.decide(**decide, outcome="justified")
    actions.decide(**decide, outcome="not_acceptable", measures="Weighed again; the sheet asks for the tare first.")
    closed = actions.close(by=matter.cast.reviewer, complaint=one, told_on=None, told_how="Nobody had the figure yet.")
    assert (closed.state, closed.told_on) == ("closed", None)


def test_taken_up_again_what_was_decided_stays(matter: Matter) -> None:
    one = matter.brought_to("closed")
    with pytest.raises(Refusal, match="reason"):
        actions.take_up_again(by=matter.cast.reviewer, complaint=one, reason=" ")
    again = actions.take_up_again(by=matter.cast.reviewer, complaint=one, reason="A photograph came.")
    assert (again.state, again.told_on, again.investigator) == ("looked_into", None, matter.cast.administrator)
    actions.decide(by=matter.cast.administrator, complaint=again, findings="It was so.", outcome="justified")
    assert [decision.outcome for decision in again.decisions.all()] == ["not_justified", "justified"]


# ---- States and people ----

STATES = ("received", "acknowledged", "looked_into", "decided", "closed")


def call(matter: Matter, verb: str, one: Complaint, by: Person) -> object:
    today = timezone.localdate()
    given: dict[str, dict[str, Any]] = {
        "acknowledge": {"acknowledged_on": today},
        "assign": {"investigator": matter.second_administrator},
        "decide": {"findings": "Found.", "outcome": "partly"},
        "close": {"told_on": today, "told_how": "By letter."},
        "take_up_again": {"reason": "More came."},
        "name_subject": {"instrument": matter.scale},
        "note": {"text": "Rang up."},
        "note_consequence": {"certificate": matter.suspended},
        "remove_complainant": {"reason": "Asked for."},
    }
    return getattr(actions, verb)(by=by, complaint=one, **given[verb])


@pytest.mark.parametrize("state", STATES)
def test_every_verb_in_every_state(matter: Matter, state: str) -> None:
    one = matter.brought_to(state, matter.received(name="Wendel Carrick"))
    for verb, rule in BY_VERB.items():
        if verb == "receive":
            continue
        allowed = state in rule.sources and not (verb == "assign" and state == "received")
        with transaction.atomic():
            if allowed:
                call(matter, verb, one, matter.cast.administrator)
                assert Complaint.objects.get(pk=one.pk).state == (rule.target or state), verb
            else:
                with pytest.raises(WrongState):
                    call(matter, verb, one, matter.cast.administrator)
            transaction.set_rollback(True)


def test_every_verb_by_everybody(matter: Matter) -> None:
    office = {"reviewer", "certifier", "administrator"}
    for verb, rule in BY_VERB.items():
        if verb == "receive":
            continue
        state = next(one for one in reversed(rule.sources) if not (verb == "assign" and one == "received"))
        one = matter.brought_to(state, matter.received(name=f"Wendel {verb}"))
        may = {"administrator"} if verb in {"decide", "remove_complainant"} else office
        for part, person in matter.cast.people().items():
            with transaction.atomic():
                if part in may:
                    call(matter, verb, one, person)
                else:
                    with pytest.raises(NotAllowed):
                        call(matter, verb, one, person)
                transaction.set_rollback(True)


def test_a_second_click_is_refused(matter: Matter) -> None:
    one = matter.received(name="Wendel Carrick")
    with pytest.raises(WrongState, match="received already"):
        matter.received(name="Wendel Carrick")
    administrator = matter.cast.administrator
    for verb, state in (("acknowledge", "acknowledged"), ("decide", "decided"), ("close", "closed")):
        one = matter.brought_to(state, one)
        with pytest.raises(WrongState):
            call(matter, verb, one, administrator)
    again = actions.take_up_again(by=administrator, complaint=one, reason="More came.")
    with pytest.raises(WrongState, match="looks into it already"):
        actions.assign(by=administrator, complaint=again, investigator=administrator)
    assert Complaint.objects.count() == 1


def test_a_form_made_before_a_change_is_stale(matter: Matter) -> None:
    one = matter.received()
    actions.note(by=matter.cast.reviewer, complaint=one, text="Rang up.")
    with pytest.raises(Stale):
        actions.acknowledge(
            by=matter.cast.reviewer, complaint=one, acknowledged_on=timezone.localdate(), edition=one.edition
        )


# ---- What it is about ----


def test_a_certificate_brings_visit_and_boat(matter: Matter) -> None:
    one = matter.received(certificate=matter.certificate)
    assert (one.visit, one.boat) == (matter.certificate.visit, matter.certificate.boat)
    other = boat_actions.register_boat(by=matter.cast.administrator, name="Other", sail_number="SKE 7")
    with pytest.raises(Refusal, match="another boat"):
        actions.name_subject(by=matter.cast.administrator, complaint=one, certificate=matter.certificate, boat=other)
    with pytest.raises(Refusal, match="another visit"):
        actions.name_subject(
            by=matter.cast.administrator, complaint=one, certificate=matter.certificate,
            visit=Visit.objects.create(boat=other),
        )  # fmt: skip
    with pytest.raises(WrongState, match="already"):
        actions.name_subject(by=matter.cast.administrator, complaint=one, certificate=matter.certificate)
    named = actions.name_subject(
        by=matter.cast.administrator, complaint=one, boat=other, concerned=matter.cast.measurer
    )
    assert (named.boat, named.visit, named.certificate, named.concerned) == (other, None, None, matter.cast.measurer)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"text": "  "}, "some words"),
        ({"text": "x\x0by"}, "control characters"),
        ({"received_on": dt.date(2999, 1, 1)}, "not after today"),
        ({"name": ""}, "a name, or the address"),
        ({"kind": "nonconforming", "name": "Somebody"}, "own finding"),
        ({"kind": "praise"}, "one of complaint"),
    ],
)
def test_what_cannot_be_received(matter: Matter, wrong: dict[str, Any], sentence: str) -> None:
    with pytest.raises((Unreadable, Refusal), match=sentence):
        matter.received(**wrong)
    assert not Complaint.objects.exists()


def test_days_lie_between_receipt_and_today(matter: Matter) -> None:
    one = matter.received(received_on=timezone.localdate() - dt.timedelta(days=5))
    for day in (one.received_on - dt.timedelta(days=1), timezone.localdate() + dt.timedelta(days=1)):
        with pytest.raises(Unreadable, match="its receipt, to today"):
            actions.acknowledge(by=matter.cast.reviewer, complaint=one, acknowledged_on=day)
    decided = matter.brought_to("decided", one)
    with pytest.raises(Unreadable, match="complainant was told"):
        actions.close(by=matter.cast.reviewer, complaint=decided, told_on=None, told_how="By letter.")


# ---- What came of it ----


def test_a_certificate_that_was_suspended_is_noted(matter: Matter) -> None:
    one, by = matter.received(certificate=matter.certificate), matter.cast.certifier
    with pytest.raises(WrongState, match="stands as it was issued"):
        actions.note_consequence(by=by, complaint=one, certificate=matter.certificate)
    suspending.suspend(by=by, certificate=matter.certificate, since=timezone.localdate(), reason="A complaint.")
    assert actions.note_consequence(by=by, complaint=one, certificate=matter.certificate).became == "suspended"
    with pytest.raises(WrongState, match="noted already"):
        actions.note_consequence(by=by, complaint=one, certificate=matter.certificate)
    Certificate.objects.filter(pk=matter.certificate.pk).update(ending="withdrawn", ending_reason="It was so.")
    assert actions.note_consequence(by=by, complaint=one, certificate=matter.certificate).became == "withdrawn"


# ---- Letters ----


def test_a_person_the_office_knows_is_written_to(matter: Matter, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        matter.brought_to("closed", actions.send(by=matter.cast.owner, boat=matter.certificate.boat, text=WORDS))
    first, last = mail.outbox
    assert first.to == last.to == [matter.cast.owner.email]
    assert "has been received" in first.body
    assert "agrees with the certificate" not in first.body
    assert "Not justified." in last.body
    assert "agrees with the certificate" in last.body


def test_nobody_else_is(matter: Matter, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        matter.brought_to("closed", matter.received(name="Wendel Carrick", contact="wendel@quay.example"))
    assert mail.outbox == []


# ---- What is kept ----


def test_the_name_of_an_outsider_can_go(matter: Matter) -> None:
    by = matter.cast.administrator
    one = matter.brought_to("closed", matter.received(name="Wendel Carrick", contact="the next berth"))
    with pytest.raises(Refusal, match="reason"):
        actions.remove_complainant(by=by, complaint=one, reason="")
    removed = actions.remove_complainant(by=by, complaint=one, reason="He asked.")
    assert (removed.complainant_name, removed.complainant_contact) == ("", "")
    assert list(check_all()) == []
    with pytest.raises(WrongState, match="No name stands here"):
        actions.remove_complainant(by=by, complaint=one, reason="Again.")


def test_the_database_keeps_what_was_said(matter: Matter) -> None:
    one = matter.brought_to("decided")
    actions.note(by=matter.cast.reviewer, complaint=one, text="Rang up.")
    for model, change in (
        (Complaint, {"text": "Nothing."}), (Complaint, {"complainant": matter.cast.owner}), (Note, {"text": "x"}),
        (Decision, {"outcome": "partly"}),
    ):  # fmt: skip
        with pytest.raises(DatabaseError), transaction.atomic():
            model.objects.update(**change)
    for kept in (Complaint, Note, Decision):
        with pytest.raises(DatabaseError), transaction.atomic():
            kept.objects.all()._raw_delete("default")


def test_it_is_held_against_the_trail(matter: Matter) -> None:
    one = matter.brought_to("closed", matter.received(certificate=matter.suspended))
    again = actions.take_up_again(by=matter.cast.reviewer, complaint=one, reason="More came.")
    actions.note(by=matter.cast.reviewer, complaint=again, text="Rang up.")
    actions.note_consequence(by=matter.cast.reviewer, complaint=again, certificate=matter.suspended)
    assert list(check_all()) == []
    changes: list[tuple[Any, dict[str, Any], str]] = [
        (Complaint, {"state": "closed"}, "how it stands"),
        (Complaint, {"text": "Nothing."}, "how it stands"),
        (Complaint, {"investigator": matter.cast.reviewer}, "how it stands"),
        (Decision, {"outcome": "justified"}, "of its decisions"),
        (Note, {"noted_by": matter.cast.owner}, "of its notes"),
        (Consequence, {"became": "amended"}, "of its consequences"),
    ]
    with triggers.set_aside(connection):
        for model, change, sentence in changes:
            with transaction.atomic():
                model.objects.update(**change)
                assert [(found.subject, sentence in found.sentence) for found in check_all()] == [
                    (f"complaint {one.key}", True)
                ], change
                transaction.set_rollback(True)
        with transaction.atomic():
            for model in (Note, Decision, Consequence, Complaint):
                model.objects.all()._raw_delete("default")
            assert ["is not there" in found.sentence for found in check_all()] == [True]
            transaction.set_rollback(True)


def test_the_table_of_verbs_is_the_one_of_the_actions() -> None:
    assert {one.verb for one in TRANSITIONS if one.sources} <= set(dir(actions))


def test_age(matter: Matter) -> None:
    one = matter.received(received_on=timezone.localdate() - dt.timedelta(days=12))
    assert (queries.age_in_days(one), list(queries.open_ones())) == (12, [one])
    matter.brought_to("closed", one)
    assert list(queries.open_ones()) == []


def test_the_certificates_of_the_maker_stand_as_they_should(matter: Matter) -> None:
    """What the tests above rest on."""
    assert [actions.became_of(one) for one in (matter.certificate, matter.suspended)] == ["", "suspended"]
