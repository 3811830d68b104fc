"""Signing in and out, one's own account, and what the pages say to whom."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from office import settings as office_settings
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.people.access import require_roles
from office.people.actions import account
from office.people.context import PLACES, places_of
from office.people.middleware import RefusalMiddleware
from office.people.models import Person, Role
from tests.cast import PASSWORD, Cast

NEW = "a fresh long password"
SIGN_IN = "/people/sign-in/"


def test_signing_in_gives_the_session_a_new_key(cast: Cast, client: Client):
    session = client.session
    session["kept"] = "something"
    session.save()
    before = session.session_key
    answer = client.post(SIGN_IN, {"username": cast.owner.email.upper(), "password": PASSWORD})
    assert answer.headers["Location"] == reverse("home")
    assert client.session.session_key != before


def test_every_failure_says_the_same(cast: Cast, client: Client):
    Person.objects.filter(pk=cast.other_owner.pk).update(is_active=False)
    told = set()
    for email, password in (
        (cast.owner.email, "wrong"),
        ("nobody@office.example", PASSWORD),
        (cast.other_owner.email, PASSWORD),
    ):
        answer = client.post(SIGN_IN, {"username": email, "password": password})
        assert answer.status_code == 200
        told.add(tuple(answer.context["form"].non_field_errors()))
    assert len(told) == 1
    assert "do not belong together" in str(told)


@pytest.mark.parametrize("email", ["\x00@x.example", "x" * 5000, "'; --", "é@ü.example", ""])
def test_odd_addresses_get_the_form_again(client: Client, db: None, email: str):
    assert client.post(SIGN_IN, {"username": email, "password": "x\x00"}).status_code == 200


def test_where_one_was_going_is_kept_but_not_outside(cast: Cast, client: Client):
    answer = client.get(reverse("people:account"))
    assert answer.headers["Location"] == f"{SIGN_IN}?next=/people/account/"
    who = {"username": cast.owner.email, "password": PASSWORD}
    assert client.post(answer.headers["Location"], who).headers["Location"] == "/people/account/"
    client.logout()
    outside = client.post(f"{SIGN_IN}?next=https://elsewhere.example/", who)
    assert outside.headers["Location"] == reverse("home")


def test_signing_out_needs_a_click_and_ends_the_session(cast: Cast, client: Client):
    client.force_login(cast.owner)
    assert client.get(reverse("people:sign_out")).status_code == 405
    assert client.get(reverse("people:account")).status_code == 200
    client.post(reverse("people:sign_out"))
    assert client.get(reverse("people:account")).status_code == 302
    assert client.post(reverse("people:sign_out")).status_code == 302


def test_passwords_are_argon2_in_the_office(settings: Any):
    settings.PASSWORD_HASHERS = office_settings.PASSWORD_HASHERS
    assert make_password("something").startswith("argon2$argon2id$")


class TestOwnAccount:
    def test_the_password_changes_here_and_ends_every_other_session(self, cast: Cast):
        here, elsewhere = Client(), Client()
        for client in (here, elsewhere):
            assert client.login(username=cast.owner.email, password=PASSWORD)
        before = here.session.session_key
        answer = here.post(reverse("people:change_password"), {"present": PASSWORD, "new_password": NEW, "again": NEW})
        assert answer.headers["Location"] == reverse("people:account")
        assert here.get(reverse("people:account")).status_code == 200
        assert here.session.session_key != before
        assert elsewhere.get(reverse("people:account")).status_code == 302
        assert Client().login(username=cast.owner.email, password=NEW)
        entry = Entry.objects.get()
        assert (entry.verb, entry.actor, entry.before, entry.after) == ("change_own_password", cast.owner.key, "", "")

    @pytest.mark.parametrize(
        ("typed", "sentence"),
        [
            (("wrong", NEW, NEW), "present password is not right"),
            ((PASSWORD, NEW, "other"), "two passwords differ"),
            ((PASSWORD, "short", "short"), "too short"),
            ((PASSWORD, "", ""), "required"),
        ],
    )
    def test_what_is_wrong_is_said(self, cast: Cast, client: Client, typed: tuple[str, str, str], sentence: str):
        client.force_login(cast.owner)
        answers = dict(zip(("present", "new_password", "again"), typed, strict=True))
        answer = client.post(reverse("people:change_password"), answers)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
        assert Person.objects.get(pk=cast.owner.pk).check_password(PASSWORD)
        assert not Entry.objects.exists()

    def test_the_name_changes_and_the_trail_knows_neither(self, cast: Cast, client: Client):
        client.force_login(cast.owner)
        for _ in range(2):  # the second click changes nothing
            client.post(reverse("people:account"), {"name": "Petra Skau-Lind"})
        assert Person.objects.get(pk=cast.owner.pk).name == "Petra Skau-Lind"
        entry = Entry.objects.get()
        assert entry.verb == "change_own_name"
        assert "Skau" not in str(Entry.objects.values().get())

    def test_feet_and_inches_go_with_the_person_and_stand_on_any_page(self, cast: Cast, client: Client):
        client.force_login(cast.owner)
        there = reverse("boats:list")
        answer = client.post(reverse("people:choose_lengths"), {"lengths": "feet", "next": there})
        assert answer.headers["Location"] == there
        assert "Millimetres only" in client.get(there).content.decode()
        elsewhere = Client()
        elsewhere.force_login(cast.owner)
        page = elsewhere.get(f"{there}?q=a&beside=none").content.decode()
        assert "Feet and inches beside them" in page, "the address asks for this one page"
        assert f'name="next" value="{there}?q=a"' in page
        assert not Entry.objects.exists()

    @pytest.mark.parametrize(
        "sent", [{"lengths": "cubits"}, {}, {"lengths": "mm", "next": "https://elsewhere.example/"}]
    )
    def test_nonsense_leads_back_to_the_account(self, cast: Cast, client: Client, sent: dict[str, str]):
        Person.objects.filter(pk=cast.owner.pk).update(lengths="feet")
        client.force_login(cast.owner)
        answer = client.post(reverse("people:choose_lengths"), sent)
        assert answer.headers["Location"] == reverse("people:account")
        assert Person.objects.get(pk=cast.owner.pk).lengths == ("mm" if sent.get("lengths") == "mm" else "feet")

    def test_a_disabled_person_changes_nothing(self, cast: Cast):
        Person.objects.filter(pk=cast.owner.pk).update(is_active=False)
        with pytest.raises(WrongState):
            account.change_own_password(by=cast.owner, present=PASSWORD, new=NEW)
        with pytest.raises(WrongState):
            account.change_own_name(by=cast.owner, name="Other")
        with pytest.raises(WrongState):
            account.choose_lengths(by=cast.owner, lengths="feet")


class TestNavigation:
    def labels(self, person: Person | None) -> list[str]:
        request = RequestFactory().get("/people/person/x/")
        request.user = person  # type: ignore[assignment]
        return [label for label, _, _ in places_of(request)]

    def test_each_role_sees_its_places(self, cast: Cast):
        assert self.labels(None) == self.labels(cast.stranger) == ["Start", "Check a certificate"]
        assert self.labels(cast.race_committee) == ["Start", "Events", "Check a certificate"]
        assert self.labels(cast.owner) == ["Start", "Boats", "Certificates", "Trail", "Check a certificate"]
        assert self.labels(cast.measurer) == ["Start", "Visits", "Boats", "Instruments", "Check a certificate"]
        assert self.labels(cast.administrator) == [label for label, _, _ in PLACES]

    def test_the_place_one_is_at_is_marked(self, cast: Cast):
        request = RequestFactory().get("/people/person/x/")
        request.user = cast.administrator
        assert [label for label, _, current in places_of(request) if current] == ["People"]


class TestRefusals:
    def answer(self, cast: Cast, refusal: Exception) -> HttpResponse | None:
        request = RequestFactory().get("/")
        request.user = cast.owner
        request.session = {}  # type: ignore[assignment]
        return RefusalMiddleware(lambda request: HttpResponse()).process_exception(request, refusal)

    def test_they_become_pages_with_their_sentence(self, cast: Cast):
        for refusal, status in ((NotAllowed("Not <you>."), 403), (WrongState("Too late."), 409), (Stale("Old."), 409)):
            answer = self.answer(cast, refusal)
            assert answer is not None
            assert answer.status_code == status
        assert b"Not &lt;you&gt;." in (self.answer(cast, NotAllowed("Not <you>.")) or HttpResponse()).content

    def test_other_errors_stay_errors(self, cast: Cast):
        assert self.answer(cast, ValueError("a fault of ours")) is None

    def test_a_page_for_some_roles_names_them_to_others(self, cast: Cast):
        @require_roles(Role.REVIEWER, Role.CERTIFIER)
        def view(request: HttpRequest) -> HttpResponse:
            return HttpResponse("inside", status=299)

        request = RequestFactory().get("/")
        request.user = cast.reviewer
        assert view(request).status_code == 299
        request.user = cast.owner
        with pytest.raises(NotAllowed, match="role of reviewer or certifier"):
            view(request)


@pytest.mark.parametrize("name", ["list", "invite"])
def test_pages_about_people_are_the_administrators(cast: Cast, name: str):
    for part, person in cast.people().items():
        client = Client()
        client.force_login(person)
        assert client.get(reverse(f"people:{name}")).status_code == (200 if part == "administrator" else 403), part
    assert Client().get(reverse(f"people:{name}")).status_code == 302
