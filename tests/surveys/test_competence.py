"""A visit by somebody who was not authorised for it: said with the checks, or not accepted, by the policy."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from computations.catalogue import METHODS, READINGS
from office.audit.refusals import WrongState
from office.people import authorisations
from office.people.models import Person
from office.policy.actions import change_policy
from office.policy.queries import current
from surveys import actions, competence
from surveys.models import Visit
from tests.surveys.makers import VISIT_DAY, Stage

USED = ["tape", "calliper", "string", "two_mark", "weighing"]


def policy(stage: Stage, does: str) -> None:
    change_policy(by=stage.cast.administrator, reason="So it is.", on_unauthorised=does)


def authorise(stage: Stage, person: Person, *methods: str, until: dt.date | None = None) -> list[Any]:
    return authorisations.grant(
        by=stage.cast.administrator, person=person, methods=list(methods), since=dt.date(2020, 1, 1), until=until,
        grounds="training", evidence="A course.",
    )  # fmt: skip


def gaps(visit: Visit, reviewer: Person | None = None) -> list[str]:
    return competence.gaps(Visit.objects.get(pk=visit.pk), current(), reviewer)


def accept(stage: Stage, visit: Visit) -> Visit:
    visit.refresh_from_db()
    return actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition)


def test_every_reading_is_taken_by_a_known_method() -> None:
    assert {kind.method for kind in READINGS.values()} == set(METHODS)


def test_nothing_is_said_unless_the_policy_asks(stage: Stage) -> None:
    visit = stage.visit("under_review")
    assert gaps(visit, stage.cast.reviewer) == []
    assert accept(stage, visit).state == "accepted"


def test_each_method_used_and_the_review_are_looked_at(stage: Stage) -> None:
    visit = stage.visit("under_review")
    used = competence.methods_of(visit)
    assert used == [one for one in METHODS if one in used]
    assert "weighing" in used
    policy(stage, "warn")
    measured = [f"Mara Lind had no authorisation for “{METHODS[one]}” on {VISIT_DAY}." for one in used]
    today = timezone.localdate()
    assert gaps(visit, stage.cast.reviewer) == [
        *measured, f"Ines Holm had no authorisation for “Review of visits” on {today}."
    ]  # fmt: skip
    authorise(stage, stage.cast.measurer, *used[1:])
    authorise(stage, stage.cast.measurer, used[0], until=VISIT_DAY - dt.timedelta(days=1))
    assert gaps(visit) == measured[:1]
    assert accept(stage, visit).state == "accepted"


def test_where_the_policy_says_so_it_is_not_accepted(stage: Stage) -> None:
    visit = stage.visit("under_review")
    policy(stage, "block")
    granted = authorise(stage, stage.cast.measurer, *METHODS)
    authorise(stage, stage.cast.second_measurer, "review")
    with pytest.raises(WrongState, match="Ines Holm had no authorisation for “Review of visits”"):
        accept(stage, visit)
    authorise(stage, stage.cast.reviewer, "review")
    tape = next(one for one in granted if one.method == "tape")
    authorisations.withdraw(
        by=stage.cast.administrator, authorisation=tape, withdrawn_from=VISIT_DAY, reason="Found out later."
    )
    with pytest.raises(WrongState, match="Lengths by tape or rule"):
        accept(stage, visit)
    assert Visit.objects.get(pk=visit.pk).state == "under_review"
    policy(stage, "off")
    assert accept(stage, visit).state == "accepted"


def page(person: Person, name: str, visit: Visit) -> str:
    client = Client()
    client.force_login(person)
    return client.get(reverse(name, args=[visit.key])).content.decode()


def test_where_it_is_said(stage: Stage) -> None:
    """To the measurer with the checks and before the signature, to the office with the review; not to the owner."""
    policy(stage, "warn")
    said = "had no authorisation for"
    draft = stage.visit("draft")
    stage.fill(draft)
    for name in ("surveys:visit", "surveys:readings", "surveys:sign"):
        assert said in page(stage.cast.measurer, name, draft), name
    assert "It does not keep you from signing." in page(stage.cast.measurer, "surveys:sign", draft)
    policy(stage, "block")
    assert "lets no visit be accepted so" in page(stage.cast.measurer, "surveys:sign", draft)
    policy(stage, "warn")
    assert said in page(stage.cast.administrator, "surveys:visit", draft)
    assert said not in page(stage.cast.owner, "surveys:visit", draft)
    stage.sign(draft)
    actions.begin_review(by=stage.cast.reviewer, visit=draft)
    text = page(stage.cast.reviewer, "desk:review", draft)
    assert "Ines Holm had no authorisation" in text
    assert "disabled>Accept the visit" not in text
    policy(stage, "block")
    assert "disabled>Accept the visit" in page(stage.cast.reviewer, "desk:review", draft)
    policy(stage, "off")
    assert said not in page(stage.cast.reviewer, "desk:review", draft)
