"""Issuing: what it writes, what it replaces, who may, in which state, and the second click."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections
from django.utils import timezone

from boats import actions as boat_actions
from boats.models import InterestKind
from office.audit import trail
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.certificates import actions, numbering, pdf, queries, rules, snapshot
from office.certificates.models import Certificate, Document, Ending, NumberInHand
from office.certificates.standing import standing
from office.people.models import Role, RoleHolding
from office.policy import actions as policy_actions
from surveys.models import InterestException, Visit
from tests.office.certificates.conftest import make_boat

pytestmark = pytest.mark.usefixtures("quick_papers")


def today() -> dt.date:
    return timezone.localdate()


def later(days: int) -> dt.date:
    return today() + dt.timedelta(days=days)


def test_it_works(cast, accepted):
    head = Entry.objects.order_by("-number").first()
    made = actions.issue(by=cast.certifier, visit=accepted)
    assert made.number == f"RM-{today().year}-0001"
    assert (made.boat, made.visit, made.issued_by) == (accepted.boat, accepted, cast.certifier)
    assert (made.valid_from, made.valid_until) == (today(), dt.date(today().year, 12, 31))
    assert made.in_force_before == dt.date(today().year + 1, 1, 1)
    assert made.replaces is None
    assert made.trail_head == head.hash
    assert made.snapshot_sha256 == snapshot.sha256(made.snapshot)
    assert standing(made, today()) == "in_force"
    papers = {one.paper: one for one in made.documents.all()}
    assert set(papers) == {"A4", "Letter"}
    assert all(snapshot.sha256(bytes(one.pdf)) == one.pdf_sha256 for one in papers.values())
    row = Entry.objects.order_by("-number").first()
    assert (row.verb, row.certificate, row.actor, row.number) == (
        "issue_certificate", made.number, cast.certifier.key, head.number + 1,
    )  # fmt: skip
    assert made.snapshot_sha256 in row.after
    assert papers["A4"].pdf_sha256 in row.after


def test_numbers_run_on_and_begin_anew_each_year(row):
    assert numbering.next_number("RM", dt.date(2026, 1, 1)) == "RM-2026-0001"
    row(number="RM-2026-0009")
    row(number="RM-2026-0010")
    row(number="RM-2025-0077")
    row(number="RMX-2026-0500")
    row(number="RM-2026-X")
    assert numbering.next_number("RM", dt.date(2026, 1, 1)) == "RM-2026-0011"
    row(number="RM-2026-9999")
    assert numbering.next_number("RM", dt.date(2026, 1, 1)) == "RM-2026-10000"
    row(number="RM-2026-10000")
    assert numbering.next_number("RM", dt.date(2026, 1, 1)) == "RM-2026-10001"
    assert numbering.next_number("RM", dt.date(2027, 1, 1)) == "RM-2027-0001"


def test_the_policy_decides_the_last_day(cast, accepted):
    policy_actions.change_policy(
        by=cast.administrator, reason="Twelve months from now on.", validity_rule="months", validity_months=12
    )
    made = actions.issue(by=cast.certifier, visit=accepted, valid_from=later(3))
    assert made.valid_until > later(3 + 363)
    assert snapshot.read(made)["validity"]["words"] == "Valid for 12 months, its first day counted."
    assert standing(made, today()) == "not_yet"
    assert standing(made, later(3)) == "in_force"


# ---- Who may ----

WRONG_ROLE = ("measurer", "second_measurer", "reviewer", "owner", "other_owner", "race_committee", "administrator")


@pytest.mark.parametrize("part", [*WRONG_ROLE, "stranger"])
def test_only_a_certifier(cast, accepted, part: str):
    person = cast.people()[part]
    before = Entry.objects.count()
    assert not rules.may_issue(person, accepted)
    with pytest.raises(NotAllowed):
        actions.issue(by=person, visit=accepted)
    assert (Certificate.objects.count(), Entry.objects.count()) == (0, before)


def give(person, role: Role):
    RoleHolding.objects.create(person=person, role=role)
    return type(person).objects.get(pk=person.pk)


def test_the_reviewer_may_certify_too(cast, accepted):
    both = give(cast.reviewer, Role.CERTIFIER)
    assert actions.issue(by=both, visit=accepted).issued_by == both


def test_never_ones_own_measuring(cast, accepted):
    with pytest.raises(NotAllowed, match="measured"):
        actions.issue(by=give(cast.measurer, Role.CERTIFIER), visit=accepted)


def test_nor_a_visit_in_which_one_recorded_a_reading(cast, accepted):
    first = accepted.readings.first()
    first.pk, first.slug, first.recorded_by = None, "taper_length", cast.certifier
    first.take = 9
    first.save(force_insert=True)
    with pytest.raises(NotAllowed, match="measured"):
        actions.issue(by=cast.certifier, visit=accepted)


@pytest.mark.parametrize("kind", ["owner", *InterestKind.values])
def test_not_with_an_interest_in_the_boat(cast, accepted, kind: str):
    if kind == "owner":
        boat_actions.add_owner(by=cast.administrator, boat=accepted.boat, person=cast.certifier, since=today())
    else:
        boat_actions.declare_interest(
            by=cast.administrator, boat=accepted.boat, person=cast.certifier, kind=kind, since=today()
        )
    with pytest.raises(NotAllowed, match="interest"):
        actions.issue(by=cast.certifier, visit=accepted)
    assert not Certificate.objects.exists()
    InterestException.objects.create(
        visit=accepted, person=cast.certifier, granted_by=cast.administrator, reason="Nobody else this month."
    )
    made = actions.issue(by=cast.certifier, visit=accepted)
    assert any("exception" in sentence and "Jonas Reef" in sentence for sentence in snapshot.read(made)["statements"])


# ---- In which state ----


@pytest.mark.parametrize("state", ["asked_for", "planned", "draft", "signed", "under_review", "returned", "called_off"])
def test_only_an_accepted_visit(cast, stage, state: str):
    visit = stage.visit(state)
    with pytest.raises(WrongState, match="accepted visit"):
        actions.issue(by=cast.certifier, visit=visit)
    assert not Certificate.objects.exists()


@pytest.mark.parametrize(("days", "sentence"), [(-1, "at the earliest"), (367, "within a year")])
def test_the_first_day_has_its_bounds(cast, accepted, days: int, sentence: str):
    with pytest.raises(WrongState, match=sentence):
        actions.issue(by=cast.certifier, visit=accepted, valid_from=later(days))


def test_the_second_click_is_refused_with_one_sentence(cast, issued):
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match=f"certified already, by {issued.number}"):
        actions.issue(by=cast.certifier, visit=issued.visit)
    with pytest.raises(Stale, match=issued.number):  # the form that was sent showed no certificate
        actions.issue(by=cast.certifier, visit=issued.visit, replacing="")
    assert (Certificate.objects.count(), Document.objects.count(), Entry.objects.count()) == (1, 2, rows)


# ---- What it replaces ----


def test_a_correction_names_the_former_one_and_says_why(cast, issued):
    with pytest.raises(WrongState, match="needs its reason"):
        actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="  ")
    again = actions.issue(
        by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="The builder's name was misspelt."
    )
    issued.refresh_from_db()
    assert again.replaces == issued
    assert again.number == f"RM-{today().year}-0002"
    assert snapshot.read(again)["replaces"] == {
        "number": issued.number, "reason": "The builder's name was misspelt.",
    }  # fmt: skip
    assert (issued.ending, issued.in_force_before, issued.ended_by) == (Ending.REPLACED, today(), cast.certifier)
    assert standing(issued, today()) == "replaced"
    assert queries.certificate_on(issued.boat, today()) == again
    ending = Entry.objects.get(verb="replace_certificate")
    assert ending.certificate == issued.number
    assert again.number in ending.after
    with pytest.raises(Stale):  # the same click again
        actions.issue(
            by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="The builder's name was misspelt."
        )
    assert Certificate.objects.count() == 2


def test_the_next_visit_replaces_the_certificate_in_force_on_its_first_day(cast, stage, issued):
    visit = stage.visit("accepted")
    made = actions.issue(by=cast.certifier, visit=visit, valid_from=later(1))
    issued.refresh_from_db()
    if later(1).year == today().year:
        assert made.replaces == issued
        assert issued.in_force_before == later(1)
        assert standing(issued, today()) == "in_force"
        assert standing(issued, later(1)) == "replaced"
    assert queries.latest(issued.boat) == made


def test_one_that_has_ended_by_itself_is_not_replaced(cast, stage, issued):
    visit = stage.visit("accepted")
    new_year = dt.date(today().year + 1, 1, 1)
    made = actions.issue(by=cast.certifier, visit=visit, valid_from=new_year)
    issued.refresh_from_db()
    assert made.replaces is None
    assert (issued.ending, issued.in_force_before) == (Ending.NONE, new_year)


def test_the_same_visit_may_be_certified_for_the_next_season_by_name(cast, issued):
    new_year = dt.date(today().year + 1, 1, 1)
    made = actions.issue(
        by=cast.certifier, visit=issued.visit, valid_from=new_year, replacing=issued.number, reason="Renewed unchanged."
    )
    issued.refresh_from_db()
    assert made.replaces == issued
    assert issued.ending == Ending.NONE
    assert standing(issued, new_year) == "expired"


def test_one_that_is_to_begin_later_must_be_withdrawn_first(cast, stage, accepted):
    policy_actions.change_policy(by=cast.administrator, reason="Months.", validity_rule="months", validity_months=12)
    ahead = actions.issue(by=cast.certifier, visit=accepted, valid_from=later(30))
    newer = stage.visit("accepted")
    with pytest.raises(WrongState, match=ahead.number):
        actions.issue(by=cast.certifier, visit=newer, valid_from=later(5))
    actions.withdraw(by=cast.certifier, certificate=ahead, on=today(), reason="Measured again meanwhile.")
    made = actions.issue(by=cast.certifier, visit=newer, valid_from=later(5))
    assert queries.certificate_on(made.boat, later(40)) == made


def test_a_chain_never_forks(cast, stage, issued):
    """A is to be followed by B, which is withdrawn before it begins; C then names B, not A a second time."""
    second = stage.visit("accepted")
    tomorrow = later(1)
    follows = actions.issue(by=cast.certifier, visit=second, valid_from=tomorrow)
    actions.withdraw(by=cast.certifier, certificate=follows, on=today(), reason="Wrong day.")
    third = stage.visit("accepted")
    made = actions.issue(by=cast.certifier, visit=third)
    issued.refresh_from_db()
    assert made.replaces == (follows if follows.replaces else issued)
    assert issued.in_force_before == today()
    assert issued.ending == Ending.REPLACED


def test_an_older_visit_is_not_certified_after_a_newer_one(cast, stage):
    old, new = stage.visit("accepted"), stage.visit("accepted")
    Visit.objects.filter(pk=old.pk).update(date=new.date - dt.timedelta(days=300))
    assert set(queries.accepted_without_certificate()) == {old, new}
    made = actions.issue(by=cast.certifier, visit=new)
    assert not queries.accepted_without_certificate().exists()
    with pytest.raises(WrongState, match=made.number):
        actions.issue(by=cast.certifier, visit=old)


def test_nothing_half_written(cast, accepted, monkeypatch):
    """Whatever fails in the middle leaves neither a certificate nor a paper nor a row of the trail."""
    rows = Entry.objects.count()

    def fails(**_: object) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(trail, "record", fails)
    with pytest.raises(RuntimeError):
        actions.issue(by=cast.certifier, visit=accepted)
    assert (Certificate.objects.count(), Document.objects.count(), Entry.objects.count()) == (0, 0, rows)


def test_papers_are_rendered_ahead_and_only_once(cast, accepted, monkeypatch):
    """Outside the transaction that holds up other writers; again inside only where the statement has changed."""
    render, made = pdf.render_all, []

    def counting(document, *sealing):
        made.append(connection.in_atomic_block)
        return render(document, *sealing)

    monkeypatch.setattr(pdf, "render_all", counting)
    certificate = actions.issue(by=cast.certifier, visit=accepted)
    assert len(made) == 1

    def meanwhile(deed):
        def interrupted(document, *sealing):
            if not made:  # somebody else's change lands between the taking of the number and the transaction
                deed()
            return counting(document, *sealing)

        made.clear()
        monkeypatch.setattr(pdf, "render_all", interrupted)
        return actions.issue(
            by=cast.certifier, visit=accepted, replacing=certificate.number, reason="A correction in a busy office."
        )

    head = trail.head()
    certificate = meanwhile(
        lambda: boat_actions.register_boat(by=cast.administrator, name="Another", sail_number="QVL 77")
    )
    assert len(made) == 1
    assert snapshot.read(certificate)["trail"]["head"] == certificate.trail_head == head[1]
    text = "Masts of wood too."
    certificate = meanwhile(
        lambda: policy_actions.change_policy(by=cast.administrator, reason="More masts.", rules_text=text)
    )
    assert len(made) == 2
    assert snapshot.read(certificate)["rules"] == text


# ---- The number is taken before the papers are made ----


def held_numbers():
    return list(NumberInHand.objects.values_list("number", "taken_by"))


def test_a_number_is_in_hand_while_its_papers_are_made(cast, accepted, monkeypatch):
    render, seen = pdf.render_all, []

    def looking(document, *sealing):
        seen.extend(held_numbers())
        return render(document, *sealing)

    monkeypatch.setattr(pdf, "render_all", looking)
    made = actions.issue(by=cast.certifier, visit=accepted)
    assert [number for number, by in seen if by] == [made.number]
    assert held_numbers() == []


def test_the_number_of_an_issue_that_failed_is_given_to_the_next(cast, accepted, monkeypatch):
    def fails(*_: object) -> None:
        raise RuntimeError("no more paper")

    with monkeypatch.context() as broken:
        broken.setattr(pdf, "render_all", fails)
        with pytest.raises(RuntimeError):
            actions.issue(by=cast.certifier, visit=accepted)
    number = f"RM-{today().year}-0001"
    assert held_numbers() == [(number, "")]
    assert actions.issue(by=cast.certifier, visit=accepted).number == number
    assert held_numbers() == []


def test_no_two_get_one_number_and_none_is_left_out(db):
    day = dt.date(2026, 5, 4)
    one, two, three = (numbering.hold("RM", day) for _ in range(3))
    assert [held.number for held in (one, two, three)] == ["RM-2026-0001", "RM-2026-0002", "RM-2026-0003"]
    assert numbering.use(three)
    NumberInHand.objects.filter(number=two.number).update(taken_at=timezone.now() - numbering.ABANDONED * 2)
    again = numbering.hold("RM", day)
    assert again.number == two.number
    assert not numbering.use(two)  # it was too late
    assert numbering.use(again)
    assert numbering.use(one)
    assert held_numbers() == []


def test_who_comes_too_late_gets_another_number(cast, accepted, monkeypatch):
    render = pdf.render_all

    def dawdling(document, *more):
        NumberInHand.objects.update(taken_by="somebody else")
        return render(document, *more)

    monkeypatch.setattr(pdf, "render_all", dawdling)
    made = actions.issue(by=cast.certifier, visit=accepted)
    assert made.number == f"RM-{today().year}-0002"
    assert snapshot.read(made)["number"] == made.number
    assert made.documents.get(paper="A4").pdf == f"A4 {made.number}".encode()
    assert held_numbers() == [(f"RM-{today().year}-0001", "somebody else")]


@pytest.mark.django_db(transaction=True)
def test_two_certifiers_at_once_get_two_numbers(cast, stage):
    visits = []
    for index in range(2):
        stage.boat = make_boat(f"Twin {index}")
        boat_actions.describe_rig(
            by=cast.administrator, boat=stage.boat, since=dt.date(2020, 4, 1), rig_type="sloop",
            masts=[{"name": "main", "material": "aluminium", "spreader_pairs": 2, "upper_band": True}],
            spinnaker=True, pole=True, headsail_foil=None,
        )  # fmt: skip
        boat_actions.add_owner(by=cast.administrator, boat=stage.boat, person=cast.owner, since=dt.date(2021, 1, 1))
        stage.boat.sail_number = "SKE 214"
        stage.boat.sail_number_normal, stage.boat.sail_digits = "SKE214", "214"
        stage.boat.save()
        visits.append(stage.visit("accepted"))

    def issue(visit: Visit) -> str:
        try:
            return actions.issue(by=cast.certifier, visit=visit).number
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        numbers = sorted(pool.map(issue, visits))
    assert numbers == [f"RM-{today().year}-0001", f"RM-{today().year}-0002"]


@pytest.mark.django_db(transaction=True)
def test_two_clicks_at_once_make_one_certificate(cast, accepted):
    def issue(_: int) -> str:
        try:
            return actions.issue(by=cast.certifier, visit=accepted, replacing="").number
        except (Stale, WrongState) as refusal:
            return str(refusal)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(issue, range(2)))
    assert Certificate.objects.count() == 1
    assert sorted(answer.startswith("RM-") for answer in answers) == [False, True]
