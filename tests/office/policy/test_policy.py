"""The policy: a change is a new edition with a reason, and says only what the office can mean."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from computations.catalogue import DIMENSIONS
from computations.inputs import Assumptions
from office.audit import trail
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState
from office.policy import actions, queries, rules, validation
from office.policy.forms import ASSUMPTION_NAMES, PolicyForm
from office.policy.models import PolicyEdition
from tests.cast import Cast

PAGE = "/policy/"


def change(cast: Cast, **stated: Any) -> PolicyEdition:
    return actions.change_policy(by=cast.administrator, reason="as agreed", **stated)


@pytest.mark.django_db
class TestFirstEdition:
    def test_a_fresh_office_has_one(self):
        edition = queries.current()
        assert (edition.validity_rule, edition.validity_months, edition.is_demo) == ("calendar_year", 12, False)
        assert queries.assumptions(edition) == Assumptions()

    def test_its_limits_are_those_of_dimensions(self):
        edition = queries.current()
        assert edition.change_limits.keys() <= {*DIMENSIONS, "default"}
        assert queries.change_limit(edition, "luff") == 5
        assert queries.change_limit(edition, "mast_weight") == 1

    def test_it_may_say_what_it_says(self):
        edition = queries.current()
        validation.check({name: getattr(edition, name) for name in actions.STATED})


class TestChange:
    def test_makes_a_new_edition_and_leaves_the_former(self, cast: Cast):
        former = queries.current()
        made = change(cast, office_name="Holm Measurement Office", assumptions={"band_edge_mm": 1})
        assert queries.current() == made
        assert queries.assumptions(made).band_edge_mm == 1
        assert PolicyEdition.objects.get(pk=former.pk).office_name == "Rig Measurement Office"
        assert (made.made_by_key, made.reason) == (cast.administrator.key, "as agreed")

    def test_the_trail_tells_what_changed_and_nothing_else(self, cast: Cast):
        change(cast, validity_rule="months", validity_months=18)
        entry = Entry.objects.get()
        assert (entry.verb, entry.actor, entry.reason) == ("change_policy", cast.administrator.key, "as agreed")
        assert json.loads(entry.before) == {"validity_rule": "calendar_year", "validity_months": 12}
        assert json.loads(entry.after) == {"validity_rule": "months", "validity_months": 18}

    def test_nobody_but_administrators_may(self, cast: Cast):
        for part, person in cast.people().items():
            assert rules.may_change(person) == (part == "administrator")
            if part != "administrator":
                with pytest.raises(NotAllowed, match="Only an administrator"):
                    actions.change_policy(by=person, reason="mine", office_name="Mine")
        assert PolicyEdition.objects.count() == 1
        assert trail.head()[0] == 0

    def test_needs_a_reason(self, cast: Cast):
        with pytest.raises(Refusal, match="needs a reason"):
            actions.change_policy(by=cast.administrator, reason="  ", office_name="Other")

    def test_a_second_click_changes_nothing(self, cast: Cast):
        change(cast, office_name="Other")
        with pytest.raises(WrongState, match="Nothing differs"):
            change(cast, office_name="Other")
        assert PolicyEdition.objects.count() == 2

    def test_a_change_made_from_an_older_edition_is_stale(self, cast: Cast):
        seen = queries.current().pk
        change(cast, office_name="Other")
        with pytest.raises(Stale, match="Somebody changed the policy"):
            change(cast, edition=seen, office_place="Quay 3")
        assert queries.current().office_place == ""

    def test_an_edition_states_only_what_it_has(self, cast: Cast):
        with pytest.raises(TypeError, match="made_by_key"):
            change(cast, made_by_key="somebody")

    @pytest.mark.parametrize(
        ("stated", "sentence"),
        [
            ({"office_name": " "}, "needs a name"),
            ({"validity_rule": "for ever"}, "rule of validity"),
            ({"on_unauthorised": "shout"}, "off, warn, block"),
            ({"accreditation": "x" * 61}, "at most 60"),
            ({"accreditation": "x\ny"}, "on one line"),
            ({"validity_months": 0}, "1 to 120"),
            ({"validity_months": 121}, "1 to 120"),
            ({"number_prefix": "R-1"}, "letters or digits"),
            ({"number_prefix": "ABCDEFGHI"}, "1 to 8"),
            ({"change_limits": {"sail_area": 1}}, "no dimension called “sail_area”"),
            ({"change_limits": {"luff": 0}}, "greater than 0"),
            ({"change_limits": {"luff": True}}, "greater than 0"),
            ({"change_limits": {"default": "5"}}, "greater than 0"),
            ({"assumptions": {"colour": 1}}, "no assumption called “colour”"),
            ({"assumptions": {"band_edge_mm": -1}}, "greater than 0"),
            ({"assumptions": {"band_edge_mm": float("nan")}}, "greater than 0"),
            ({"assumptions": {"band_edge_mm": float("inf")}}, "greater than 0"),
            ({"assumptions": {"default_tape_class": "IV"}}, "one of I, II, III"),
            ({"assumptions": {"spar_to_20_c": 1}}, "yes or no"),
        ],
    )
    def test_what_an_edition_may_not_say(self, cast: Cast, stated: dict[str, Any], sentence: str):
        with pytest.raises(validation.Problems, match=sentence):
            change(cast, **stated)
        assert PolicyEdition.objects.count() == 1


class TestPage:
    @pytest.fixture
    def client(self, cast: Cast) -> Client:
        client = Client()
        client.force_login(cast.administrator)
        return client

    def typed(self, client: Client, **answers: str) -> dict[str, str]:
        """The form as the page fills it, with these answers typed over."""
        form = client.get(PAGE).context["form"]
        filled = {name: form[name].value() for name in form.fields}
        return {name: str(value) for name, value in filled.items() if value not in {None, False}} | answers

    def test_saving_makes_an_edition(self, client: Client):
        answers = self.typed(
            client, office_name="Holm Office", limit_luff="4", assumption_spar_to_20_c="True", reason="x"
        )
        assert client.post(PAGE, answers).headers["Location"] == PAGE
        edition = queries.current()
        assert edition.office_name == "Holm Office"
        assert queries.change_limit(edition, "luff") == 4
        assert edition.assumptions == {"spar_to_20_c": True}

    def test_saving_without_a_change_says_so(self, client: Client):
        answer = client.post(PAGE, self.typed(client, reason="x"))
        assert answer.status_code == 422
        assert b"Nothing differs" in answer.content

    def test_an_emptied_limit_falls_back_to_the_common_one(self, client: Client):
        client.post(PAGE, self.typed(client, limit_mast_weight="", limit_default="7", reason="x"))
        assert queries.change_limit(queries.current(), "mast_weight") == 7

    @pytest.mark.parametrize("number", ["0", "-1", "nan", "1e400", "abc", "1,5", "\x00"])
    def test_numbers_that_are_none_are_said_beside_their_field(self, client: Client, number: str):
        answer = client.post(PAGE, self.typed(client, limit_luff=number, reason="x"))
        assert answer.status_code == 422
        assert answer.context["form"].errors.keys() == {"limit_luff"}
        assert PolicyEdition.objects.count() == 1

    def test_a_stale_form_is_said_and_keeps_what_was_typed(self, client: Client, cast: Cast):
        answers = self.typed(client, office_place="Quay 3", reason="we moved")
        change(cast, office_name="Other")
        answer = client.post(PAGE, answers)
        assert answer.status_code == 422
        content = answer.content.decode()
        assert "Somebody changed the policy" in content
        assert "Quay 3" in content
        assert "we moved" in content
        again = {name: answer.context["form"][name].value() for name in answer.context["form"].fields}
        again = {name: str(value) for name, value in again.items() if value not in {None, False}}
        assert client.post(PAGE, again).status_code == 302
        assert queries.current().office_place == "Quay 3"

    def test_former_editions_show_what_changed(self, client: Client, cast: Cast):
        change(cast, office_name="Holm Office", assumptions={"band_edge_mm": 0.7})
        change(cast, change_limits={"default": 5, "luff": 3}, show_previous_to_measurer=True)
        newest, second, first = client.get(reverse("policy:editions")).context["changes"]
        told = {(one.name, one.before, one.after) for one in second.differences}
        assert ("Name of the office", "Rig Measurement Office", "Holm Office") in told
        assert ("Edge of a band, mm", "as usual", "0.7") in told
        assert ("Luff, mm", "as usual", "3") in {(one.name, one.before, one.after) for one in newest.differences}
        assert second.made_by == cast.administrator.name
        assert first.differences == ()

    def test_the_list_of_editions_is_paged_and_asks_no_more_the_longer_it_is(self, client: Client, cast: Cast):
        counts = []
        for batch in range(2):
            for number in range(15):
                change(cast, office_name=f"Office {batch} {number}")
            with CaptureQueriesContext(connection) as asked:
                changes = client.get(reverse("policy:editions")).context["changes"]
            counts.append(len(asked))
        assert counts[0] == counts[1]
        assert len(changes) == 20
        assert all(change.differences for change in changes)
        last = client.get(reverse("policy:editions"), {"page": "2"}).context["changes"]
        assert len(last) == 11
        assert [bool(change.differences) for change in last] == [True] * 10 + [False]

    def test_the_page_is_the_administrators(self, cast: Cast):
        for part, person in cast.people().items():
            client = Client()
            client.force_login(person)
            for address in (PAGE, reverse("policy:editions")):
                assert client.get(address).status_code == (200 if part == "administrator" else 403), part

    def test_the_office_name_stands_on_every_page(self, client: Client, cast: Cast):
        change(cast, office_name="Holm & Sons <Office>")
        for name in ("policy:show", "people:list", "trail:list"):
            assert "Holm &amp; Sons &lt;Office&gt;" in client.get(reverse(name)).content.decode()


def test_every_assumption_and_every_dimension_is_on_the_form(db: None):
    form = PolicyForm(edition=queries.current())
    assert {field.name for field in fields(Assumptions)} == ASSUMPTION_NAMES.keys()
    assert len(form.assumptions()) == len(ASSUMPTION_NAMES)
    assert len(form.limits()) == len(DIMENSIONS) + 1
