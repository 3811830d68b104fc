"""Roles given and ended, people disabled and enabled: who may, when, and what the trail tells."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from office.audit import trail
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.actions import roles
from office.people.models import Person, Role, RoleHolding
from tests.cast import PASSWORD, Cast, make_person

VERBS: dict[str, Callable[[Person, Person], object]] = {
    "give_role": lambda by, person: roles.give_role(by=by, person=person, role="reviewer"),
    "end_role": lambda by, person: roles.end_role(by=by, person=person, role="owner", reason="sold the boat"),
    "disable_person": lambda by, person: roles.disable(by=by, person=person, reason="left"),
}


def reloaded(person: Person) -> Person:
    return Person.objects.get(pk=person.pk)


@pytest.mark.parametrize("verb", VERBS)
def test_it_works_for_an_administrator_and_the_trail_tells_it(cast: Cast, verb: str):
    VERBS[verb](cast.administrator, cast.owner)
    entry = Entry.objects.get()
    assert (entry.verb, entry.actor, entry.role) == (verb, cast.administrator.key, "administrator")
    assert (entry.subject_kind, entry.subject, entry.subject_label) == ("person", cast.owner.key, "")
    assert json.loads(entry.before) != json.loads(entry.after)


@pytest.mark.parametrize("verb", VERBS)
def test_nobody_else_may(cast: Cast, verb: str):
    for part, person in cast.people().items():
        if part != "administrator":
            with pytest.raises(NotAllowed, match="Only an administrator"):
                VERBS[verb](person, cast.owner)
    assert trail.head()[0] == 0
    assert reloaded(cast.owner).is_active
    assert reloaded(cast.owner).roles == {"owner"}


@pytest.mark.parametrize("verb", VERBS)
def test_a_second_click_is_refused_and_leaves_no_row(cast: Cast, verb: str):
    VERBS[verb](cast.administrator, cast.owner)
    with pytest.raises(WrongState):
        VERBS[verb](cast.administrator, cast.owner)
    assert trail.head()[0] == 1


def test_roles_add_up_and_former_holdings_are_kept(cast: Cast):
    roles.give_role(by=cast.administrator, person=cast.owner, role="measurer")
    assert reloaded(cast.owner).roles == {"owner", "measurer"}
    roles.end_role(by=cast.administrator, person=cast.owner, role="measurer", reason="moved away")
    roles.give_role(by=cast.administrator, person=cast.owner, role="measurer")
    assert RoleHolding.objects.filter(person=cast.owner, role="measurer").count() == 2
    assert reloaded(cast.owner).roles == {"owner", "measurer"}


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_step_back_needs_a_reason(cast: Cast, reason: str):
    with pytest.raises(Refusal, match="needs a reason"):
        roles.end_role(by=cast.administrator, person=cast.owner, role="owner", reason=reason)
    with pytest.raises(Refusal, match="needs a reason"):
        roles.disable(by=cast.administrator, person=cast.owner, reason=reason)
    assert trail.head()[0] == 0


def test_a_disabled_person_gets_no_role(cast: Cast):
    roles.disable(by=cast.administrator, person=cast.owner, reason="left")
    with pytest.raises(WrongState, match="is disabled"):
        roles.give_role(by=cast.administrator, person=cast.owner, role="reviewer")


def test_only_the_disabled_are_enabled(cast: Cast):
    with pytest.raises(WrongState, match="not disabled"):
        roles.enable(by=cast.administrator, person=cast.owner, reason="why not")
    roles.disable(by=cast.administrator, person=cast.owner, reason="left")
    roles.enable(by=cast.administrator, person=cast.owner, reason="is back")
    assert reloaded(cast.owner).is_active
    assert [entry.verb for entry in Entry.objects.all()] == ["disable_person", "enable_person"]


class TestLastAdministrator:
    def test_keeps_the_role_and_the_way_in(self, cast: Cast):
        with pytest.raises(WrongState, match="last administrator"):
            roles.end_role(by=cast.administrator, person=cast.administrator, role="administrator", reason="tired")
        with pytest.raises(WrongState, match="last administrator"):
            roles.disable(by=cast.administrator, person=cast.administrator, reason="tired")
        assert reloaded(cast.administrator).holds(Role.ADMINISTRATOR)

    def test_a_disabled_one_does_not_count(self, cast: Cast):
        second = make_person("Second Admin", Role.ADMINISTRATOR)
        roles.disable(by=cast.administrator, person=second, reason="left")
        with pytest.raises(WrongState, match="last administrator"):
            roles.disable(by=cast.administrator, person=cast.administrator, reason="tired")

    def test_one_of_two_may_go(self, cast: Cast):
        make_person("Second Admin", Role.ADMINISTRATOR)
        roles.end_role(by=cast.administrator, person=cast.administrator, role="administrator", reason="tired")
        assert not reloaded(cast.administrator).holds(Role.ADMINISTRATOR)

    def test_other_roles_of_theirs_end(self, cast: Cast):
        roles.give_role(by=cast.administrator, person=cast.administrator, role="reviewer")
        roles.end_role(by=cast.administrator, person=cast.administrator, role="reviewer", reason="too much")
        assert reloaded(cast.administrator).roles == {"administrator"}


class TestSessions:
    def signed_in(self, person: Person) -> Client:
        client = Client()
        assert client.login(username=person.email, password=PASSWORD)
        return client

    def test_a_disabled_persons_sessions_end_at_once_and_for_good(self, cast: Cast):
        client = self.signed_in(cast.owner)
        assert client.get(reverse("people:account")).status_code == 200
        roles.disable(by=cast.administrator, person=cast.owner, reason="left")
        assert client.get(reverse("people:account")).status_code == 302
        assert not Client().login(username=cast.owner.email, password=PASSWORD)
        roles.enable(by=cast.administrator, person=cast.owner, reason="is back")
        assert client.get(reverse("people:account")).status_code == 302
        assert not Client().login(username=cast.owner.email, password=PASSWORD)

    def test_an_ended_role_counts_with_the_next_click(self, cast: Cast):
        make_person("Second Admin", Role.ADMINISTRATOR)
        client = self.signed_in(cast.administrator)
        assert client.get(reverse("people:list")).status_code == 200
        roles.end_role(by=cast.administrator, person=cast.administrator, role="administrator", reason="tired")
        assert client.get(reverse("people:list")).status_code == 403


class TestPages:
    @pytest.fixture
    def client(self, cast: Cast) -> Client:
        client = Client()
        client.force_login(cast.administrator)
        return client

    def test_each_step_by_its_page(self, client: Client, cast: Cast):
        key = cast.owner.key
        steps = [
            (reverse("people:give_role", args=[key]), {"role": "measurer"}),
            (reverse("people:end_role", args=[key, "measurer"]), {"reason": "moved away"}),
            (reverse("people:disable", args=[key]), {"reason": "left"}),
            (reverse("people:enable", args=[key]), {"reason": "is back"}),
        ]
        for address, answers in steps:
            assert client.get(address).status_code == 200
            assert client.post(address, answers).headers["Location"] == reverse("people:person", args=[key])
        assert [entry.verb for entry in Entry.objects.all()] == [
            "give_role",
            "end_role",
            "disable_person",
            "enable_person",
        ]

    def test_a_refusal_comes_back_with_what_was_typed(self, client: Client, cast: Cast):
        address = reverse("people:disable", args=[cast.administrator.key])
        answer = client.post(address, {"reason": "tired of it"})
        assert answer.status_code == 422
        assert b"is the last administrator" in answer.content
        assert b"tired of it" in answer.content

    def test_the_last_administrator_sees_why_not(self, client: Client, cast: Cast):
        content = client.get(reverse("people:person", args=[cast.administrator.key])).content.decode()
        assert "is the last administrator" in content
        assert "disabled aria-describedby" in content

    def test_unknown_people_and_roles_are_not_found(self, client: Client, cast: Cast):
        assert client.get(reverse("people:person", args=["nobody"])).status_code == 404
        assert client.get(reverse("people:end_role", args=[cast.owner.key, "captain"])).status_code == 404

    def test_the_list_is_filtered(self, client: Client, cast: Cast):
        def names(**asked: str) -> set[str]:
            return {person.name for person in client.get(reverse("people:list"), asked).context["page"]}

        roles.disable(by=cast.administrator, person=cast.other_owner, reason="left")
        assert names() == {person.name for person in cast.people().values()}
        assert names(role="owner") == {cast.owner.name, cast.other_owner.name}
        assert names(role="owner", state="active") == {cast.owner.name}
        assert names(name="petra") == {cast.owner.name}
        assert names(name="nobody at all") == set()
        assert names(role="captain", page="x") == names()

    def test_the_list_asks_no_more_the_longer_it_is(self, client: Client, cast: Cast):
        client.get(reverse("people:list"))
        counts = []
        for batch in range(2):
            for number in range(15):
                make_person(f"Person {batch} {number}", Role.OWNER, Role.MEASURER)
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse("people:list"))
            counts.append(len(queries))
        assert counts[0] == counts[1] <= 12
