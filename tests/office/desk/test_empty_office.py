"""An office in which nothing has happened yet: every page of it says what to do next."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from office.people.models import Person
from tests.cast import Cast
from tests.surveys.makers import register_boat


def read(client: Client, person: Person, name: str) -> str:
    client.force_login(person)
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_first_page_says_where_to_begin_until_there_is_a_boat(client: Client, cast: Cast) -> None:
    steps = {name: reverse(name) for name in ("policy:show", "people:invite", "instruments:record", "boats:register")}
    first = read(client, cast.administrator, "home")
    start = first[first.index("where to begin") :]
    assert all(f'href="{address}"' in start for address in steps.values())
    for other in (cast.reviewer, cast.certifier):
        text = read(client, other, "home")
        assert steps["boats:register"] in text
        assert steps["people:invite"] not in text
    for outside in (cast.measurer, cast.owner, cast.race_committee):
        assert "where to begin" not in read(client, outside, "home")
    register_boat(cast)
    assert "where to begin" not in read(client, cast.administrator, "home")


def test_asking_for_a_visit_without_any_boat(client: Client, cast: Cast) -> None:
    assert reverse("boats:register") in read(client, cast.reviewer, "surveys:choose_boat")
    owner = read(client, cast.owner, "surveys:choose_boat")
    assert "No boat stands in your name" in owner
    assert reverse("boats:register") not in owner
    client.force_login(cast.owner)
    assert "No boat found" in client.get(reverse("surveys:choose_boat"), {"q": "zz"}).content.decode()
