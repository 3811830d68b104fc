"""What happened to a boat: in sentences, newest first, by kind, a page at a time, to each reader what is theirs."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from boats import actions as boat_actions
from office.audit import trail
from office.desk import timeline
from office.desk.timeline_words import KINDS, TOGETHER, VERBS
from office.people.models import Person
from surveys import actions
from tests.surveys.makers import Stage


def shown(stage: Stage, person: Person, **asked: object) -> timeline.Timeline:
    return timeline.timeline_of(stage.boat, person, {name: str(value) for name, value in asked.items()})


def sentences(stage: Stage, person: Person, **asked: object) -> list[str]:
    return [one.sentence for one in shown(stage, person, **asked).happenings]


def test_a_visit_is_told_from_the_request_to_the_acceptance_newest_first(stage: Stage) -> None:
    stage.visit("accepted")
    told = sentences(stage, stage.cast.reviewer, kind="visits")
    reviewer, measurer, owner = stage.cast.reviewer.name, stage.cast.measurer.name, stage.cast.owner.name
    assert told == [
        f"{reviewer} accepted the visit.",
        f"{reviewer} began the review.",
        f"{measurer} signed the visit, round 1.",
        f"{measurer} took in the log sheet quiet_margin_2023.csv.",
        f"{measurer} began the visit.",
        f"{stage.cast.administrator.name} planned the visit for 2023-05-16, Skerrin Haven, with {measurer}.",
        f"{owner} asked for a visit.",
    ]
    numbers = [one.number for one in shown(stage, stage.cast.reviewer).happenings]
    assert numbers == sorted(numbers, reverse=True)


def test_rig_owner_particulars_and_questions_are_told_with_what_changed(stage: Stage) -> None:
    cast, boat = stage.cast, stage.boat
    stage.visit("returned")
    boat_actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="Sold south.", harbour="Far Quay")
    boat_actions.declare_interest(
        by=cast.administrator, boat=boat, person=cast.stranger, kind="builder", since=dt.date(2021, 1, 1)
    )
    told = sentences(stage, cast.certifier)
    assert f"{cast.administrator.name} described the rig: sloop." in told
    assert f"{cast.administrator.name} entered {cast.owner.name} as owner since 2021-01-01." in told
    assert any(f"{cast.stranger.name} has an interest in her: builder" in one for one in told)
    question = "Is this the bottom edge of the upper band?"
    assert f"{cast.reviewer.name} asked about luff between the bands: {question}" in told
    for_owner = sentences(stage, cast.owner)
    assert "The office described the rig: sloop." in for_owner
    assert f"{cast.owner.name} asked for a visit." in for_owner
    (particulars,) = (one for one in shown(stage, cast.certifier, kind="particulars").happenings if one.changes)
    assert [(one.name, one.before, one.after) for one in particulars.changes] == [
        ("harbour", "Skerrin Haven", "Far Quay")
    ]
    assert particulars.reason == "Sold south."


def test_readings_of_a_day_make_one_line(stage: Stage) -> None:
    visit = stage.visit("draft")
    for slug, text in (("pole_length", "3703"), ("foot_distance", "4502"), ("boom_depth", "120")):
        actions.record_reading(
            by=stage.cast.measurer, visit=visit, slug=slug, mast="main", position="", take=1, text=text, unit="mm",
            instrument=stage.kit["T-03"],
        )  # fmt: skip
    assert sentences(stage, stage.cast.reviewer, kind="readings") == [
        f"{stage.cast.measurer.name} recorded readings: 3."
    ]


def test_every_happening_is_on_exactly_one_page(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    stage.visit("accepted")
    stage.visit("returned")
    whole = [one.number for one in shown(stage, stage.cast.reviewer).happenings]
    monkeypatch.setattr(timeline, "A_PAGE", 4)
    found, before = [], None
    while True:
        asked: dict[str, object] = {} if before is None else {"before": before}
        page = shown(stage, stage.cast.reviewer, **asked)
        assert page.newest == (before is None)
        found += [one.number for one in page.happenings]
        if (before := page.older) is None:
            break
    assert found == whole
    assert len(whole) > 12


def test_a_measurer_sees_their_own_visits_and_no_names_or_reasons_of_the_rest(stage: Stage) -> None:
    stage.visit("accepted")
    boat_actions.change_particulars(
        by=stage.cast.reviewer, boat=stage.boat, edition=1, reason="A word for the office.", harbour="Far Quay"
    )
    own = " ".join(sentences(stage, stage.cast.measurer))
    assert "signed the visit" in own
    other = shown(stage, stage.cast.second_measurer).happenings
    text = " ".join(one.sentence for one in other)
    assert "visit" not in text
    assert "The office changed her particulars." in text
    assert stage.cast.reviewer.name not in text
    assert not [one for one in other if one.reason or one.changes or one.visit]


def test_a_verb_of_tomorrow_is_told_in_its_own_words(stage: Stage) -> None:
    with transaction.atomic():
        trail.record(
            by=stage.cast.certifier, verb="lend_plaque", subject=stage.boat, after={"days": "3"},
            reason="For the gala.", boat=stage.boat.key,
        )  # fmt: skip
    (one,) = shown(stage, stage.cast.reviewer, kind="other").happenings
    assert one.sentence == f"{stage.cast.certifier.name}: lend plaque."
    assert one.changes[0].after == "3"
    assert one.reason == "For the gala."


def test_the_table_fits_together() -> None:
    assert {one.kind for one in VERBS.values()} <= set(KINDS)
    assert not set(TOGETHER) - set(VERBS)


def test_the_page_filters_by_the_address_and_survives_nonsense(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    client.force_login(stage.cast.reviewer)
    address = reverse("desk:boat", args=[stage.boat.key])
    only_rig = client.get(address, {"kind": "rig"}).content.decode()
    assert "described the rig" in only_rig
    assert "asked for a visit" not in only_rig
    for asked in ({"kind": "no-such"}, {"before": "x"}, {"before": "9" * 30}):
        assert "asked for a visit" in client.get(address, asked).content.decode()
    assert "Nothing older" in client.get(address, {"before": "1"}).content.decode()


def test_more_history_asks_no_more_queries(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    client.force_login(stage.cast.reviewer)
    address = reverse("desk:boat", args=[stage.boat.key])
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for _ in range(3):
        stage.visit("accepted")
    with CaptureQueriesContext(connection) as many:
        page = client.get(address).content.decode()
    assert len(many) <= len(few)
    assert re.search(r'href="\?before=\d+#timeline"', page)
