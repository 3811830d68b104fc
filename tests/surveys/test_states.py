"""Every verb in every state by everybody: the whole product, enumerated from the tables of transitions and deeds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pytest
from django.db import transaction

from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.models import Person, Role
from surveys import actions, rules
from surveys.models import Visit, VisitState
from surveys.transitions import BY_VERB, DEEDS, TRANSITIONS, Transition
from tests.cast import PASSWORD
from tests.surveys.makers import VISIT_DAY, Stage

pytestmark = pytest.mark.any_database

Deed = Callable[[Stage, Visit, Person], object]


def _settle(stage: Stage, visit: Visit, by: Person) -> object:
    return actions.settle_check(by=by, visit=visit, check_key=stage.stop_key, reason="The yard keeps the pole.")


def _record(stage: Stage, visit: Visit, by: Person) -> object:
    return actions.record_reading(
        by=by, visit=visit, slug="foot_distance", mast="main", position="", take=9, text="4212", unit="",
        instrument=stage.kit["T-03"],
    )  # fmt: skip


VERBS: dict[str, Deed] = {
    "ask": lambda stage, visit, by: actions.ask_for_visit(by=by, boat=stage.boat, request="Again."),
    "plan": lambda stage, visit, by: actions.plan_visit(
        by=by, visit=visit, measurer=stage.cast.measurer, planned_on=VISIT_DAY, harbour="North yard"
    ),
    "begin": lambda stage, visit, by: actions.begin_visit(by=by, visit=visit),
    "sign": lambda stage, visit, by: actions.sign_visit(by=by, visit=visit, edition=visit.edition, password=PASSWORD),
    "begin_review": lambda stage, visit, by: actions.begin_review(by=by, visit=visit),
    "return_": lambda stage, visit, by: actions.return_visit(by=by, visit=visit, reason="Look again."),
    "accept": lambda stage, visit, by: actions.accept_visit(by=by, visit=visit, edition=visit.edition, reason=""),
    "call_off": lambda stage, visit, by: actions.call_off_visit(by=by, visit=visit, reason="Weather."),
    "grant_exception": lambda stage, visit, by: actions.grant_exception(
        by=by, visit=visit, person=stage.cast.second_measurer, reason="Nobody else within a day's drive."
    ),
    "write": _record,
    "settle": _settle,
    "answer_query": lambda stage, visit, by: actions.answer_query(
        by=by, query=visit.queries.get(), answer="Yes, the bottom edge."
    ),
    "ask_query": lambda stage, visit, by: actions.ask_query(
        by=by, visit=visit, slug="", mast="", position="", question="Was the backstay slack?"
    ),
    "settle_query": lambda stage, visit, by: actions.settle_query(by=by, query=visit.queries.get()),
}


@contextmanager
def undone() -> Iterator[None]:
    """Whatever happens inside is rolled back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def outcome(deed: Deed, stage: Stage, visit: Visit, by: Person) -> str:
    visit.refresh_from_db()
    try:
        with undone():
            deed(stage, visit, by)
    except WrongState:
        return "wrong state"
    except NotAllowed:
        return "not allowed"
    return "works"


def may(verb: Transition, person: Person, stage: Stage) -> bool:
    """The roles of the table, and of these the boat's own owner and the visit's own measurer only."""
    if not person.holds(*verb.roles):
        return False
    if verb.roles == (Role.MEASURER.value,):
        return person == stage.cast.measurer
    return person != stage.cast.other_owner


def ready(stage: Stage, state: str, verb: str) -> Visit:
    """A visit in this state in which nothing but state and person can stand in the verb's way."""
    visit = stage.visit(state)
    if state == "draft" and verb == "sign":
        stage.fill(visit)
    if state == "returned" and verb == "sign":
        actions.answer_query(by=stage.cast.measurer, query=visit.queries.get(), answer="Yes.")
    if verb in {"settle_query", "answer_query"} and not visit.queries.exists():
        visit.queries.create(question="Which tape?", asked_by=stage.cast.reviewer)
    if verb == "settle" and state in {"draft", "returned"}:
        stage.break_something(visit)
    return visit


def test_every_verb_of_the_tables_is_tried() -> None:
    assert set(VERBS) == set(BY_VERB) == {one.verb for one in (*TRANSITIONS, *DEEDS)}


@pytest.mark.parametrize("verb", [one for one in BY_VERB if one != "ask"])
def test_who_may_in_which_state(verb: str, stage: Stage) -> None:
    rule = BY_VERB[verb]
    wrong = []
    for state in [*(one for one in VisitState.values if one != "asked_for"), "asked_for"]:
        visit = ready(stage, state, verb)
        for part, person in stage.cast.people().items():
            expected = (
                "wrong state" if state not in rule.sources else "works" if may(rule, person, stage) else "not allowed"
            )
            if (found := outcome(VERBS[verb], stage, visit, person)) != expected:
                wrong.append(f"{verb} when {state} by {part}: {found}, expected {expected}")
        assert rules.state_allows(visit, verb) == (visit.state in rule.sources)
    assert not wrong, "\n".join(wrong)


def test_who_may_ask(stage: Stage) -> None:
    visit = stage.visit("accepted")
    found = {part: outcome(VERBS["ask"], stage, visit, person) for part, person in stage.cast.people().items()}
    works = {part for part, result in found.items() if result == "works"}
    assert works == {"owner", "reviewer", "certifier", "administrator"}
    assert {found[part] for part in found if part not in works} == {"not allowed"}


@pytest.mark.parametrize("verb", list(BY_VERB))
def test_the_target_is_the_tables_and_one_row_tells_of_it(verb: str, stage: Stage) -> None:
    rule = BY_VERB[verb]
    visit = ready(stage, rule.sources[0] if rule.sources else "accepted", verb)
    before = trail.head()[0]
    VERBS[verb](stage, visit, actor(rule, stage))
    after = Visit.objects.order_by("-pk").first() if verb == "ask" else Visit.objects.get(pk=visit.pk)
    assert after is not None
    assert after.state == (rule.target or rule.sources[0])
    assert trail.head()[0] == before + 1


@pytest.mark.parametrize("verb", list(BY_VERB))
def test_a_repeated_click_changes_nothing(verb: str, stage: Stage) -> None:
    """The second time is refused in a sentence, or leaves everything as it was."""
    rule = BY_VERB[verb]
    visit = ready(stage, rule.sources[0] if rule.sources else "accepted", verb)
    VERBS[verb](stage, visit, actor(rule, stage))
    edition, head = Visit.objects.get(pk=visit.pk).edition, trail.head()
    with suppress(Refusal):
        VERBS[verb](stage, visit, actor(rule, stage))
    assert Visit.objects.get(pk=visit.pk).edition == edition
    assert trail.head() == head


def actor(rule: Transition, stage: Stage) -> Person:
    return {
        Role.MEASURER.value: stage.cast.measurer,
        Role.REVIEWER.value: stage.cast.reviewer if len(rule.roles) == 1 else stage.cast.administrator,
        Role.OWNER.value: stage.cast.owner,
    }[rule.roles[0]]


@pytest.mark.parametrize("verb", list(BY_VERB))
def test_refusals_are_one_sentence_without_names_of_code(verb: str, stage: Stage) -> None:
    visit = stage.visit("called_off")
    if verb == "ask":
        sentence = rules.why_not(rules.check_may_ask, stage.cast.stranger, stage.boat)
    else:
        sentence = rules.why_not(rules.check_state, visit, verb)
    assert sentence.endswith(".")
    assert "_" not in sentence
    assert sentence.count(". ") == 0
