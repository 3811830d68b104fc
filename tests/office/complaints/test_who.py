"""Who has a say in a complaint and who reads it: nobody judges their own work, owners follow their own."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from boats import actions as boat_actions
from boats.models import Ownership
from office.audit import triggers
from office.audit.refusals import NotAllowed, Refusal
from office.complaints import actions, queries, rules
from office.complaints.models import Complaint, Decision
from office.people.actions import roles
from office.people.models import Person
from tests.cast import Cast, make_person
from tests.office.complaints.makers import WORDS, Matter


@pytest.fixture
def matter(cast: Cast) -> Matter:
    return Matter(cast)


# ---- Impartiality ----


def test_whoever_had_a_part_in_it_does_not_look_into_it(matter: Matter) -> None:
    """The visit's measurer and reviewer, the certificate's issuer, whom it is about, who complained, an interest."""
    cast, certificate = matter.cast, matter.certificate
    for person in (cast.measurer, cast.owner):
        roles.give_role(by=cast.administrator, person=person, role="reviewer")
        person.__dict__.pop("_roles", None)
    one = matter.brought_to(
        "acknowledged", matter.received(certificate=certificate, concerned=matter.second_administrator)
    )
    sentences = {
        cast.measurer: "measured in the visit",
        cast.reviewer: "reviewed the visit",
        cast.certifier: "issued the certificate",
        matter.second_administrator: "is the one it is about",
        cast.owner: "has an interest",
        cast.stranger: "is not of the office",
    }
    for person, sentence in sentences.items():
        with pytest.raises(NotAllowed, match=sentence):
            actions.assign(by=cast.administrator, complaint=one, investigator=person)
    actions.assign(by=cast.reviewer, complaint=one, investigator=cast.administrator)
    assert Complaint.objects.get().investigator == cast.administrator


def test_the_instruments_keeper_and_who_complained(matter: Matter) -> None:
    cast = matter.cast
    keeper = make_person("Kaja Keep", "reviewer")
    type(matter.scale).objects.filter(pk=matter.scale.pk).update(keeper=keeper)
    matter.scale.refresh_from_db()
    one = matter.received(kind="nonconforming", instrument=matter.scale)
    with pytest.raises(NotAllowed, match="keeps the instrument"):
        actions.assign(by=cast.administrator, complaint=one, investigator=keeper)
    other = matter.brought_to("acknowledged", matter.received(complainant=cast.reviewer, name=""))
    with pytest.raises(NotAllowed, match="who complained"):
        actions.assign(by=cast.administrator, complaint=other, investigator=cast.reviewer)


def test_a_boat_alone_stands_for_her_latest_certificate(matter: Matter) -> None:
    one = matter.brought_to("acknowledged", matter.received(boat=matter.certificate.boat))
    with pytest.raises(NotAllowed, match="reviewed the visit"):
        actions.assign(by=matter.cast.administrator, complaint=one, investigator=matter.cast.reviewer)


def test_a_part_that_comes_out_later_keeps_from_deciding(matter: Matter) -> None:
    cast = matter.cast
    one = matter.received()
    actions.acknowledge(by=cast.certifier, complaint=one, acknowledged_on=timezone.localdate())
    actions.assign(by=cast.certifier, complaint=one, investigator=cast.reviewer)
    decide: dict[str, Any] = {"complaint": one, "findings": "All well.", "outcome": "not_justified"}
    with pytest.raises(NotAllowed, match="the one who looks into it"):
        actions.decide(by=cast.administrator, **decide)
    actions.name_subject(by=cast.certifier, complaint=one, certificate=matter.certificate)
    with pytest.raises(NotAllowed, match="reviewed the visit"):
        actions.decide(by=cast.reviewer, **decide)
    assert not Decision.objects.exists()


def test_nobody_takes_their_own_work_out_of_question(matter: Matter) -> None:
    """Else who reviewed the visit names another matter, takes it up and decides."""
    cast = matter.cast
    one = matter.received(certificate=matter.certificate)
    elsewhere: list[tuple[Person, dict[str, Any]]] = [
        (cast.reviewer, {}),
        (cast.certifier, {"instrument": matter.scale}),
    ]
    for by, named in elsewhere:
        with pytest.raises(Refusal, match=r"in question; .* somebody else"):
            actions.name_subject(by=by, complaint=one, **named)
    visit = matter.certificate.visit
    kept = actions.name_subject(by=cast.reviewer, complaint=one, visit=visit, concerned=cast.measurer)
    assert (kept.certificate, kept.visit, kept.concerned) == (None, visit, cast.measurer)
    assert actions.name_subject(by=cast.administrator, complaint=one, instrument=matter.scale).visit is None


def test_an_interest_of_the_day_it_was_received_counts(matter: Matter) -> None:
    cast, boat, today = matter.cast, matter.certificate.boat, timezone.localdate()
    roles.give_role(by=cast.administrator, person=cast.other_owner, role="reviewer")
    Ownership.objects.create(
        boat=boat, person=cast.other_owner, since=dt.date(2021, 1, 1), until=today - dt.timedelta(days=1)
    )
    judge = Person.objects.get(pk=cast.other_owner.pk)
    for received_on, part in ((today, []), (today - dt.timedelta(days=3), ["has an interest in the boat"])):
        assert list(rules.parts_in(judge, matter.received(boat=boat, received_on=received_on))) == part


# ---- Measurers ----


def test_a_measurer_reports_wrong_work_on_a_visit_of_theirs_and_follows_it(matter: Matter) -> None:
    cast, visit = matter.cast, matter.certificate.visit
    for person in (cast.stranger, cast.owner, cast.reviewer, cast.administrator, make_person("Ulf Moor", "measurer")):
        with pytest.raises(NotAllowed, match="who measured in it"):
            actions.report(by=person, visit=visit, text=WORDS)
    with pytest.raises(Refusal, match="S-01 was not used on this visit"):
        actions.report(by=cast.measurer, visit=visit, text=WORDS, instrument=matter.scale)
    one = actions.report(by=cast.measurer, visit=visit, text="The tape was kinked at 4 m.")
    assert (one.kind, one.visit, one.boat, one.recorded_by) == ("nonconforming", visit, visit.boat, cast.measurer)
    assert one.complainant is None
    assert list(queries.followed_by(cast.measurer)) == [one]
    assert not queries.followed_by(cast.owner)
    rules.check_may_follow(cast.measurer, one)
    with pytest.raises(NotAllowed):
        rules.check_may_follow(make_person("Una Moor", "measurer"), one)
    assert "measured in the visit in question" in list(rules.parts_in(cast.measurer, one))


def test_a_finding_of_the_office_is_read_by_nobody_who_has_left_it(matter: Matter) -> None:
    cast = matter.cast
    one = matter.received(kind="nonconforming", by=cast.certifier, instrument=matter.scale)
    rules.check_may_follow(cast.certifier, one)
    roles.end_role(by=cast.administrator, person=cast.certifier, role="certifier", reason="Moved away.")
    with pytest.raises(NotAllowed):
        rules.check_may_follow(Person.objects.get(pk=cast.certifier.pk), one)


def test_whoever_took_a_reading_may_report_as_well(matter: Matter) -> None:
    visit = matter.certificate.visit
    second = make_person("Ulf Moor", "measurer")
    visit.readings.create(
        slug="foot_distance", mast="main", take=1, value=1.0, written="1", unit_written="mm", instrument=matter.scale,
        recorded_by=second,
    )  # fmt: skip
    assert actions.report(by=second, visit=visit, text=WORDS, instrument=matter.scale).instrument == matter.scale


# ---- Owners ----


def test_owners_send_their_own_and_follow_them(matter: Matter) -> None:
    cast, boat = matter.cast, matter.certificate.boat
    one = actions.send(by=cast.owner, boat=boat, text=WORDS, certificate=matter.certificate)
    assert (one.complainant, one.received_on, one.visit) == (cast.owner, timezone.localdate(), matter.certificate.visit)
    for person in (cast.other_owner, cast.measurer, cast.certifier, cast.stranger):
        with pytest.raises(NotAllowed, match="sent by her owners"):
            actions.send(by=person, boat=boat, text=WORDS)
    other = boat_actions.register_boat(by=cast.administrator, name="Other", sail_number="SKE 7")
    boat_actions.add_owner(by=cast.administrator, boat=other, person=cast.other_owner, since=dt.date(2021, 1, 1))
    with pytest.raises(Refusal, match="another boat"):
        actions.send(by=cast.other_owner, boat=other, text=WORDS, certificate=matter.certificate)
    co_owner = make_person("Coco Skau", "owner")
    boat_actions.add_owner(by=cast.administrator, boat=boat, person=co_owner, since=dt.date(2021, 1, 1))
    follows = {person.name for person in (*cast.people().values(), co_owner) if may_follow(person, one)}
    assert follows == {"Petra Skau", "Coco Skau", "Ines Holm", "Jonas Reef", "Ada Stein"}
    assert list(queries.followed_by(co_owner)) == [one]


def may_follow(person: Person, one: Complaint) -> bool:
    listed = one in queries.followed_by(person)
    seen = rules.holds(rules.check_may_follow, person, one)
    assert seen == listed or person.holds("reviewer", "certifier", "administrator")
    return seen


def test_an_owner_hears_nothing_of_what_others_say_of_the_boat(matter: Matter) -> None:
    one = matter.received(name="Wendel Carrick", boat=matter.certificate.boat)
    assert not may_follow(matter.cast.owner, one)


def test_who_owns_the_boat_later_hears_nothing(matter: Matter) -> None:
    """Neither who buys her, nor the owner of a boat that the office names instead; nor a co-owner who has sold."""
    cast, boat, today = matter.cast, matter.certificate.boat, timezone.localdate()
    day = dt.timedelta(days=1)
    co_owner, buyer, former = (make_person(name, "owner") for name in ("Coco Skau", "Bea New", "Fay Sold"))
    begun, other = (
        dt.date(2021, 1, 1),
        boat_actions.register_boat(by=cast.administrator, name="Other", sail_number="X 7"),
    )
    for person, of, since, until in (
        (co_owner, boat, begun, None), (buyer, boat, today, None), (former, boat, begun, today - day),
        (cast.other_owner, other, begun, None),
    ):  # fmt: skip
        Ownership.objects.create(boat=of, person=person, since=since, until=until)
    one = actions.send(by=cast.owner, boat=boat, text=WORDS)
    with triggers.set_aside(connection):
        Complaint.objects.update(received_on=today - 2 * day)
    one.refresh_from_db()
    people = (cast.owner, co_owner, buyer, former, cast.other_owner)
    assert [may_follow(person, one) for person in people] == [True, True, False, False, False]
    one = actions.name_subject(by=cast.administrator, complaint=one, boat=other)
    assert [may_follow(person, one) for person in people] == [True, False, False, False, False]
