"""A boat's figures over the years: two visits side by side, each dimension's course, and who may see them."""

from __future__ import annotations

import re

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from office.people.models import Person
from surveys import actions
from surveys.models import Visit
from tests.surveys.makers import SAMPLES, Stage, sheet


def accept_later(stage: Stage) -> Visit:
    """The boat's visit of 2024, her lower band 30 mm higher, accepted."""
    visit = stage.visit("draft")
    actions.take_log_sheet(
        by=stage.cast.measurer, visit=visit, sheet=sheet(SAMPLES / "quiet_margin_2024.csv"), filename="2024.csv"
    )
    stage.sign(visit)
    actions.begin_review(by=stage.cast.reviewer, visit=visit)
    visit.refresh_from_db()
    return actions.accept_visit(by=stage.cast.reviewer, visit=visit, edition=visit.edition, reason="Repainted.")


def read(client: Client, person: Person, stage: Stage, **asked: str) -> str:
    client.force_login(person)
    answer = client.get(reverse("desk:history", args=[stage.boat.key]), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def test_one_visit_says_there_is_nothing_beside_it(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    assert "Fewer than two accepted visits" in read(client, stage.cast.reviewer, stage)


def test_the_last_two_stand_side_by_side_with_their_courses(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    accept_later(stage)
    page = read(client, stage.cast.owner, stage)
    assert 'class="is-changed"' in page
    assert "What carried the change: Luff" in page
    assert "course-luff-main" in page


def test_any_two_can_be_asked_for_and_nonsense_falls_back(client: Client, stage: Stage) -> None:
    first = stage.visit("accepted")
    second = accept_later(stage)
    turned = read(client, stage.cast.reviewer, stage, previous=second.key, current=first.key)
    assert f'value="{second.key}" selected' in turned.split('id="current"', maxsplit=1)[0]
    assert "+31." in turned
    assert "−31." in read(client, stage.cast.reviewer, stage, previous="no\x00such", current="'\"<script>")


def test_two_measurers_are_told_how_far_they_agree(client: Client, stage: Stage) -> None:
    """The lower band 30 mm higher differs whoever measured; one tape of theirs is left out of E_n."""
    stage.visit("accepted")
    second = accept_later(stage)
    assert 'id="between"' not in read(client, stage.cast.reviewer, stage)
    Visit.objects.filter(pk=second.pk).update(measurer=stage.cast.second_measurer)
    page = read(client, stage.cast.reviewer, stage)
    told = page.split('id="between">')[1].split("</p>")[0]
    found = re.search(r"Mara Lind and Teo Varga agree on (\d+) of (\d+) dimensions", told)
    assert found
    assert 0 < int(found[1]) < int(found[2])
    assert "T-03" in told
    rows = page.split("<tbody>")[1].split("</tbody>")[0]
    assert rows.count("Agrees") == int(found[1])
    assert rows.count("Differs") == int(found[2]) - int(found[1])


def test_strangers_see_nothing(client: Client, stage: Stage) -> None:
    for person in (stage.cast.other_owner, stage.cast.race_committee, stage.cast.stranger):
        client.force_login(person)
        assert client.get(reverse("desk:history", args=[stage.boat.key])).status_code == 403


def test_a_measurer_about_to_measure_her_does_not_see_former_figures(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    accept_later(stage)
    stage.visit("planned")
    assert "stay hidden" in read(client, stage.cast.measurer, stage)
    assert "side by side" in read(client, stage.cast.second_measurer, stage)


def test_more_visits_ask_no_more_queries(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    accept_later(stage)
    client.force_login(stage.cast.reviewer)
    address = reverse("desk:history", args=[stage.boat.key])
    with CaptureQueriesContext(connection) as two:
        client.get(address)
    for _ in range(2):
        accept_later(stage)
    with CaptureQueriesContext(connection) as four:
        assert client.get(address).status_code == 200
    assert len(four) <= len(two)
