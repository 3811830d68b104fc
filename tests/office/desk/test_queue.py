"""The queue: who sees it, its order, and that it asks no more of the database for more visits."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from office.desk.queue import waiting_for_review
from office.lookups import beyond
from office.people.models import Person
from tests.cast import Cast
from tests.surveys.makers import Stage, register_boat


def read(client: Client, person: object) -> str:
    client.force_login(person)  # type: ignore[arg-type]
    answer = client.get(reverse("desk:queue"))
    assert answer.status_code == 200
    return answer.content.decode()


def test_only_the_office_sees_it(client: Client, cast: Cast) -> None:
    for part, person in cast.people().items():
        client.force_login(person)
        expected = 200 if part in {"reviewer", "certifier", "administrator"} else 403
        assert client.get(reverse("desk:queue")).status_code == expected, part
    client.logout()
    assert client.get(reverse("desk:queue")).status_code == 302


def test_empty_it_says_so(client: Client, cast: Cast) -> None:
    assert "The queue is empty" in read(client, cast.reviewer)


def test_the_riskiest_stands_first(stage: Stage) -> None:
    ordinary = stage.visit("signed")
    other = Stage(stage.cast, register_boat(stage.cast, "Louder Margin", "SKE 215"), stage.kit)
    risky = other.visit("under_review")
    from surveys import actions

    for question in ("Which edge?", "Which tape?"):
        actions.ask_query(
            by=stage.cast.reviewer, visit=risky, slug="luff_between_bands", mast="main", position="", question=question
        )
    rows = waiting_for_review()
    assert [row.visit.pk for row in rows] == [risky.pk, ordinary.pk]
    assert rows[0].risk.score > rows[1].risk.score
    assert "2 open queries" in rows[0].risk.reasons


def test_an_accepted_visit_waits_for_its_certificate(client: Client, stage: Stage) -> None:
    stage.visit("accepted")
    page = read(client, stage.cast.certifier)
    assert "Issue the certificate" in page
    assert "Quiet Margin" in page


def test_more_visits_ask_no_more_queries(stage: Stage) -> None:
    stage.visit("signed")
    with CaptureQueriesContext(
        connection,
    ) as one:
        waiting_for_review()
    for number in range(3):
        boat = register_boat(stage.cast, f"Margin {number}", f"SKE 3{number}")
        Stage(stage.cast, boat, stage.kit).visit("signed")
    with CaptureQueriesContext(connection) as four:
        assert len(waiting_for_review()) == 4
    assert len(four) <= len(one)


def test_one_steps_through_it_and_comes_back_at_either_end(client: Client, stage: Stage) -> None:
    other = Stage(stage.cast, register_boat(stage.cast, "Louder Margin", "SKE 215"), stage.kit)
    for one in (stage, other):
        one.visit("signed")
    first, second = (row.visit.key for row in waiting_for_review())
    client.force_login(stage.cast.reviewer)

    def leads(name: str, key: str) -> str:
        return str(client.get(reverse(f"desk:{name}_in_queue", args=[key])).headers["Location"])

    assert leads("next", first) == reverse("desk:review", args=[second])
    assert leads("before", second) == reverse("desk:review", args=[first])
    assert leads("next", second) == leads("before", first) == reverse("desk:queue")
    assert "That was the last visit of the queue" in read(client, stage.cast.reviewer)
    decided_meanwhile = stage.visit("accepted").key
    assert leads("next", decided_meanwhile) == reverse("desk:review", args=[first])
    assert leads("before", decided_meanwhile) == reverse("desk:review", args=[second])


def test_those_that_have_waited_longest_make_a_page(
    client: Client, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("office.desk.queue.SHOWN", 2)
    visits = []
    for number in range(3):
        boat = register_boat(stage.cast, f"Margin {number}", f"SKE 3{number}")
        visits.append(Stage(stage.cast, boat, stage.kit).visit("signed"))
    assert {row.visit.pk for row in waiting_for_review()} == {visits[0].pk, visits[1].pk}
    page = read(client, stage.cast.reviewer)
    assert "1 more follows as they are settled" in page
    assert "Margin 2" not in page


def test_a_count_ends_where_nobody_needs_it(monkeypatch: pytest.MonkeyPatch, cast: Cast) -> None:
    monkeypatch.setattr("office.lookups.MOST_COUNTED", 2)
    people = Person.objects.order_by("pk")
    everybody = people.count()
    assert beyond(people, everybody) == ""
    assert beyond(people, everybody - 1) == "1"
    assert beyond(people, everybody - 3) == "more than 2"
