"""The signature: what must be in order first, what it binds, and who looks at it afterwards."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from django.db import IntegrityError, connection, transaction

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState
from office.audit.triggers import set_aside
from office.people.models import Person, Role, RoleHolding
from office.policy.actions import change_policy
from surveys import actions, rules
from surveys.actions.signing import WrongPassword
from surveys.content import canonical_content, content_sha256, sha256, still_as_signed
from surveys.figures import derive_visit
from surveys.models import SignOff, Visit
from surveys.queries import current_readings
from surveys.values import Unreadable
from tests.cast import PASSWORD
from tests.surveys.makers import VISIT_DAY, Stage


def give(person: Person, role: Role) -> None:
    RoleHolding.objects.create(person=person, role=role)
    vars(person).pop("_roles", None)  # read again


def luff(visit: Visit) -> float:
    result = derive_visit(visit).derivation.get("P")
    assert result is not None
    assert result.value is not None
    return result.value


def filled(stage: Stage) -> Visit:
    visit = stage.visit()
    stage.fill(visit)
    return visit


# ---- Before it can be signed ----


def test_the_signature_binds_the_canonical_content(stage: Stage) -> None:
    visit = filled(stage)
    shown = content_sha256(visit)
    stage.sign(visit)
    signed = visit.sign_offs.get()
    assert signed.content_sha256 == shown == sha256(signed.content) == content_sha256(visit)
    assert json.loads(signed.content)["visit"] == visit.key
    assert (signed.signed_by, signed.round, signed.meaning) == (stage.cast.measurer, 1, "measured")
    assert shown in Entry.objects.filter(verb="sign_visit").latest("number").after


@pytest.mark.parametrize("password", ["", "wrong", PASSWORD.upper(), PASSWORD + " "])
def test_the_password_is_typed_again(stage: Stage, password: str) -> None:
    visit = filled(stage)
    with pytest.raises(WrongPassword):
        actions.sign_visit(by=stage.cast.measurer, visit=visit, edition=visit.edition, password=password)
    assert Visit.objects.get(pk=visit.pk).state == "draft"
    assert not visit.sign_offs.exists()


def test_a_stop_must_be_settled_first(stage: Stage) -> None:
    visit = filled(stage)
    stage.break_something(visit)
    with pytest.raises(WrongState, match="air temperature"):
        stage.sign(visit)
    actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stage.stop_key, reason="Thermometer lost.")
    stage.sign(visit)
    assert "Thermometer lost." in visit.sign_offs.get().content


def test_an_empty_visit_is_not_signed_whatever_is_settled(stage: Stage) -> None:
    visit = stage.visit()
    for stop in derive_visit(visit).unsettled_stops:
        actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stop.key, reason="No.")
    with pytest.raises(WrongState, match="no reading"):
        stage.sign(visit)


def test_a_stale_form_does_not_sign(stage: Stage) -> None:
    visit = filled(stage)
    seen = visit.edition
    actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=seen, place="South yard")
    with pytest.raises(Stale):
        actions.sign_visit(by=stage.cast.measurer, visit=visit, edition=seen, password=PASSWORD)
    with pytest.raises(Stale):
        actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=seen, place="East yard")
    assert Visit.objects.get(pk=visit.pk).place == "South yard"


def test_a_second_signature_is_refused_by_the_state_and_by_the_database(stage: Stage) -> None:
    visit = stage.visit("signed")
    with pytest.raises(WrongState, match="this one is signed"):
        stage.sign(visit)
    with pytest.raises(IntegrityError), transaction.atomic():
        SignOff.objects.create(visit=visit, round=1, signed_by=stage.cast.measurer, content="x", content_sha256="y")
    assert visit.sign_offs.count() == 1


def test_settling_names_a_check_that_stands(stage: Stage) -> None:
    visit = filled(stage)
    with pytest.raises(WrongState, match="does not stand"):
        actions.settle_check(by=stage.cast.measurer, visit=visit, check_key="anything", reason="x")
    stage.break_something(visit)
    with pytest.raises(Unreadable, match="Reason"):
        actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stage.stop_key, reason="  ")
    with pytest.raises(Unreadable, match="no method"):
        actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stage.stop_key, reason="x", choice="string")


def test_where_the_two_ways_to_the_booms_height_disagree_one_is_chosen_with_a_reason(stage: Stage) -> None:
    visit = filled(stage)
    string = next(one for one in current_readings(visit) if one.slug == "string_to_band")
    actions.amend_reading(
        by=stage.cast.measurer, reading=string, text="293", unit="mm", instrument=stage.kit["R-01"], reason=""
    )
    stop = next(one for one in derive_visit(visit).unsettled_stops if one.check == "boom_methods_differ")
    undecided = derive_visit(visit).derivation.get("BAS", "main", "adopted")
    assert undecided is not None
    assert undecided.value is None
    with pytest.raises(Unreadable, match="method"):
        actions.settle_check(by=stage.cast.measurer, visit=visit, check_key=stop.key, reason="The string sagged.")
    actions.settle_check(
        by=stage.cast.measurer, visit=visit, check_key=stop.key, reason="The string sagged.", choice="two_mark"
    )
    derivation = derive_visit(visit).derivation
    adopted, two_mark = derivation.get("BAS", "main", "adopted"), derivation.get("BAS", "main", "two_mark")
    assert adopted is not None
    assert two_mark is not None
    assert adopted.value == two_mark.value
    stage.sign(visit)
    assert '"choice":"two_mark"' in visit.sign_offs.get().content


# ---- What it binds ----


def test_the_content_is_stable_and_moves_with_every_reading(stage: Stage) -> None:
    visit = filled(stage)
    first = canonical_content(visit)
    assert canonical_content(Visit.objects.get(pk=visit.pk)) == first
    seen = {first}
    for reading in current_readings(visit):
        with transaction.atomic():
            actions.amend_reading(
                by=stage.cast.measurer,
                reading=reading,
                text=f"{(reading.value or 0) + 1:g}",
                unit=reading.unit_written,
                instrument=reading.instrument,
                reason="One more.",
            )
            seen.add(canonical_content(visit))
            transaction.set_rollback(True)
        visit.refresh_from_db()
    assert len(seen) == len(current_readings(visit)) + 1
    assert canonical_content(visit) == first


@pytest.mark.parametrize(
    "change",
    [
        {"place": "South yard"},
        {"air_temperature_c": 15.0},
        {"date": dt.date(2023, 5, 17)},
        {"remark": "Swell."},
        {"band_contrast": {"main": False}},
        {"mast_state": {"main": "stepped"}},
    ],
)
def test_the_content_moves_with_every_condition(stage: Stage, change: dict[str, object]) -> None:
    visit = filled(stage)
    before = content_sha256(visit)
    actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=visit.edition, **change)
    assert content_sha256(visit) != before


def test_the_content_moves_with_the_preparation(stage: Stage) -> None:
    visit = filled(stage)
    before = content_sha256(visit)
    answer = {"mast": "main", "item": "supported_straight", "answer": "no", "remark": "two trestles"}
    actions.answer_preparation(by=stage.cast.measurer, visit=visit, answers=[answer])
    assert content_sha256(visit) != before


def test_no_number_in_the_content_is_a_float_and_no_person_stands_in_it_by_name(stage: Stage) -> None:
    text = stage.visit("signed").sign_offs.get().content

    def no_float(number: str) -> float:
        pytest.fail(f"a float: {number}")

    json.loads(text, parse_float=no_float, parse_int=no_float)
    for person in stage.cast.people().values():
        assert person.name not in text
    assert stage.cast.measurer.key in text


def test_a_later_calibration_leaves_what_was_signed_alone(stage: Stage) -> None:
    """A factor changed later leaves the old result unchanged; a visit after it takes the new one."""
    visit = stage.visit("signed")
    before = luff(visit)
    actions.add_calibration(
        by=stage.cast.administrator,
        instrument=stage.kit["T-03"],
        calibrated_on=dt.date(2023, 3, 1),  # before the visit, but put on record after the signature
        due_on=dt.date(2031, 3, 1),
        error=6.0,
    )
    assert luff(visit) == before
    assert still_as_signed(visit)
    later = filled(stage)
    value = luff(later)
    assert value == pytest.approx(before + (6.0 - 0.8) * 12151 / 30000, abs=0.01)
    earlier = actions.set_conditions(
        by=stage.cast.measurer, visit=later, edition=later.edition, date=dt.date(2023, 2, 28)
    )
    assert luff(earlier) == pytest.approx(before, abs=1e-9)


def test_a_change_of_policy_or_of_the_boats_name_leaves_what_was_signed_alone(stage: Stage) -> None:
    visit = stage.visit("under_review")
    change_policy(by=stage.cast.administrator, reason="New tapes.", assumptions={"band_edge_mm": 2.5})
    boat_actions.change_particulars(
        by=stage.cast.administrator, boat=stage.boat, edition=stage.boat.edition, reason="Sold.", name="Loud Margin"
    )
    visit = Visit.objects.get(pk=visit.pk)
    assert still_as_signed(visit)
    actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="")
    assert visit.state == "accepted"


# ---- The reviewer ----


def test_accepting_is_a_signature_over_the_same_content(stage: Stage) -> None:
    visit = stage.visit("accepted")
    measured, accepted = visit.sign_offs.order_by("pk")
    assert (accepted.meaning, accepted.round, accepted.signed_by) == ("accepted", 1, stage.cast.reviewer)
    assert accepted.content == measured.content
    assert accepted.content_sha256 == measured.content_sha256


def test_accepting_is_refused_when_a_reading_is_not_what_was_signed(stage: Stage) -> None:
    visit = stage.visit("under_review")
    with set_aside(connection):
        visit.readings.filter(slug="foot_distance").update(value=4999.0)
    with pytest.raises(Stale, match="not what the measurer signed"):
        actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="")
    assert Visit.objects.get(pk=visit.pk).state == "under_review"


def test_returned_answered_signed_again_accepted(stage: Stage) -> None:
    visit = stage.visit("returned")
    with pytest.raises(WrongState, match="waits for its answer"):
        stage.sign(visit)
    query = visit.queries.get()
    actions.answer_query(by=stage.cast.measurer, query=query, answer="No, the top edge; amended.")
    reading = next(one for one in current_readings(visit) if one.slug == "luff_between_bands")
    actions.amend_reading(
        by=stage.cast.measurer, reading=reading, text="12149", unit="mm", instrument=reading.instrument, reason="Edge."
    )
    stage.sign(visit)
    assert [one.round for one in visit.sign_offs.order_by("pk")] == [1, 2]
    assert len({one.content_sha256 for one in visit.sign_offs.all()}) == 2
    actions.begin_review(by=stage.cast.reviewer, visit=visit)
    actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="Clear now.")
    query.refresh_from_db()
    assert query.settled_by == stage.cast.reviewer
    assert visit.sign_offs.get(meaning="accepted").round == 2


def test_an_open_query_stands_in_the_way_of_accepting(stage: Stage) -> None:
    visit = stage.visit("under_review")
    query = actions.ask_query(
        by=stage.cast.reviewer, visit=visit, slug="foot_distance", mast="main", position="", question="From the track?"
    )
    with pytest.raises(WrongState, match="query is still open"):
        actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="")
    actions.settle_query(by=stage.cast.reviewer, query=query)
    actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="")


# ---- Four eyes and interests ----


def test_nobody_reviews_or_certifies_their_own_measuring(stage: Stage) -> None:
    visit = stage.visit("signed")
    give(stage.cast.measurer, Role.REVIEWER)
    give(stage.cast.measurer, Role.CERTIFIER)
    with pytest.raises(NotAllowed, match="measured this visit"):
        actions.begin_review(by=stage.cast.measurer, visit=visit)
    assert not rules.may_certify(stage.cast.measurer, visit)
    assert rules.may_certify(stage.cast.certifier, visit)


def test_nor_a_visit_in_which_they_recorded_a_reading(stage: Stage) -> None:
    visit = filled(stage)
    actions.call_off_visit(by=stage.cast.administrator, visit=visit, reason="Handed over.")
    Visit.objects.filter(pk=visit.pk).update(state="signed", measurer=stage.cast.second_measurer)
    give(stage.cast.measurer, Role.REVIEWER)
    visit.refresh_from_db()
    with pytest.raises(NotAllowed, match="measured this visit"):
        actions.begin_review(by=stage.cast.measurer, visit=visit)


def plan(stage: Stage, visit: Visit, measurer: Person) -> Visit:
    return actions.plan_visit(
        by=stage.cast.administrator, visit=visit, measurer=measurer, planned_on=VISIT_DAY, harbour="Skerrin Haven"
    )


@pytest.mark.parametrize("kind", ["owner", "designer", "builder", "crew", "other"])
def test_an_interested_party_measures_only_with_an_exception(stage: Stage, kind: str) -> None:
    person = stage.cast.second_measurer
    since = dt.date(2022, 1, 1)
    if kind == "owner":
        boat_actions.add_owner(by=stage.cast.administrator, boat=stage.boat, person=person, since=since)
    else:
        boat_actions.declare_interest(
            by=stage.cast.administrator, boat=stage.boat, person=person, kind=kind, since=since
        )
    visit = stage.visit("asked_for")
    with pytest.raises(NotAllowed, match="has an interest"):
        plan(stage, visit, person)
    actions.grant_exception(by=stage.cast.administrator, visit=visit, person=person, reason="No one else in range.")
    plan(stage, visit, person)
    actions.begin_visit(by=person, visit=visit)
    assert visit.state == "draft"


@pytest.mark.parametrize("part", ["reviewer", "certifier"])
def test_an_interested_party_neither_reviews_nor_certifies(stage: Stage, part: str) -> None:
    visit, person = stage.visit("signed"), getattr(stage.cast, part)
    rule = rules.may_review if part == "reviewer" else rules.may_certify
    assert rule(person, visit)
    boat_actions.declare_interest(
        by=stage.cast.administrator, boat=stage.boat, person=person, kind="builder", since=dt.date(2020, 1, 1)
    )
    assert not rule(person, visit)
    actions.grant_exception(by=stage.cast.administrator, visit=visit, person=person, reason="Built her hull only.")
    assert rule(person, visit)


def test_an_interest_declared_with_the_visit_stops_the_signature(stage: Stage) -> None:
    visit = filled(stage)
    actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=visit.edition, interest="crew")
    with pytest.raises(NotAllowed, match="interest"):
        stage.sign(visit)
    actions.grant_exception(
        by=stage.cast.administrator, visit=visit, person=stage.cast.measurer, reason="Delivery trip only."
    )
    stage.sign(visit)
    assert '"interest":"crew"' in visit.sign_offs.get().content


def test_an_interest_that_ended_before_the_day_does_not_count(stage: Stage) -> None:
    person = stage.cast.second_measurer
    interest = boat_actions.declare_interest(
        by=stage.cast.administrator, boat=stage.boat, person=person, kind="crew", since=dt.date(2019, 1, 1)
    )
    boat_actions.end_interest(
        by=stage.cast.administrator, interest=interest, until=dt.date(2020, 1, 1), reason="Season over."
    )
    assert plan(stage, stage.visit("asked_for"), person).measurer == person


def test_nobody_grants_an_exception_to_themselves(stage: Stage) -> None:
    visit = stage.visit("asked_for")
    with pytest.raises(NotAllowed, match="themselves"):
        actions.grant_exception(by=stage.cast.reviewer, visit=visit, person=stage.cast.reviewer, reason="Because.")


def test_only_a_measurer_is_sent(stage: Stage) -> None:
    with pytest.raises(NotAllowed, match="not a measurer"):
        plan(stage, stage.visit("asked_for"), stage.cast.reviewer)


# ---- Conditions ----


@pytest.mark.parametrize(
    "change",
    [
        {"date": dt.date(2999, 1, 1)},
        {"date": dt.date(1850, 1, 1)},
        {"air_temperature_c": float("nan")},
        {"air_temperature_c": float("inf")},
        {"air_temperature_c": 200.0},
        {"interest": "uncle"},
        {"place": "x" * 121},
        {"band_contrast": {"mizzen": True}},
        {"mast_state": {"main": "flying"}},
    ],
)
def test_conditions_that_cannot_be(stage: Stage, change: dict[str, object]) -> None:
    visit = stage.visit()
    before = Visit.objects.filter(pk=visit.pk).values().get()
    with pytest.raises(Refusal):
        actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=visit.edition, **change)
    assert Visit.objects.filter(pk=visit.pk).values().get() == before


def test_a_rig_described_anew_is_followed_on_request(stage: Stage) -> None:
    visit = stage.visit()
    old = visit.rig
    rig = boat_actions.describe_rig(
        by=stage.cast.administrator,
        boat=stage.boat,
        since=dt.date(2026, 1, 1),
        rig_type="sloop",
        masts=[{"name": "main", "material": "carbon"}],
        reason="New mast.",
    )
    visit.refresh_from_db()
    assert visit.rig == old
    assert actions.follow_rig(by=stage.cast.measurer, visit=visit).rig == rig


def test_a_visit_needs_a_described_rig(stage: Stage) -> None:
    boat = boat_actions.register_boat(by=stage.cast.administrator, name="Bare Pole", sail_number="SKE 9")
    visit = actions.ask_for_visit(by=stage.cast.administrator, boat=boat, request="First measuring.")
    plan(stage, visit, stage.cast.measurer)
    with pytest.raises(WrongState, match="not been described"):
        actions.begin_visit(by=stage.cast.measurer, visit=visit)
