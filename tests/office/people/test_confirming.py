"""Who signs, accepts, issues or hands out rights shows again that it is them: by the second factor if they have one."""

from __future__ import annotations

import json
import time
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from office.people.models import Person
from surveys import actions
from surveys.actions.signing import WrongPassword
from surveys.models import SignOff, Visit
from tests.cast import PASSWORD, Cast
from tests.factors import code_at, code_now, give_app, give_passkey
from tests.office.test_urls_by_role import ADDRESSES
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.any_database

SIGN_IN, BY_PASSWORD, BY_CODE, BY_KEY = (
    reverse(name)
    for name in ("people:sign_in", "account_reauthenticate", "mfa_reauthenticate", "mfa_reauthenticate_webauthn")
)
LONG_AGO = 301  # seconds


@pytest.fixture(autouse=True)
def _as_in_the_office(settings: Any) -> None:
    settings.CONFIRM_WITHIN = 300


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def filled(stage: Stage) -> Visit:
    visit = stage.visit("draft")
    stage.fill(visit)
    return visit


def entering(person: Person, *, code: str = "") -> Client:
    client = Client()
    client.post(SIGN_IN, {"username": person.email, "password": PASSWORD})
    if code:
        client.post(reverse("mfa_authenticate"), {"code": code})
    return client


def long_ago(client: Client) -> None:
    session = client.session
    for record in session["account_authentication_methods"]:
        record["at"] -= LONG_AGO
    session.save()


def sent(visit: Visit, **more: str) -> dict[str, str]:
    return {"edition": str(visit.edition), "password": PASSWORD, **more}


def signed(visit: Visit) -> bool:
    return SignOff.objects.filter(visit=visit, meaning="measured").exists()


# ---- What asks ----

ASKING = {
    "certificates:issue", "certificates:withdraw", "certificates:suspend", "certificates:reinstate",
    "certificates:amend", "certificates:renew", "certificates:recall", "certificates:settle", "desk:accept_visit",
    "people:invite", "people:give_role", "people:send_new_link", "people:remove_second_factor", "access_keys:make",
    "boats:access", "certificates:hand_over", "people:authorise", "people:withdraw_authorisation",
}  # fmt: skip


def test_what_asks_who_it_is() -> None:
    """And signing, which asks for the password each time: the tests below."""
    marked = {name for name, one in ADDRESSES.items() if getattr(one.callback, "asks_who_it_is", False)}
    assert marked == ASKING


# ---- Signing ----


def test_without_a_second_factor_the_password_is_the_confirmation(filled: Visit, stage: Stage) -> None:
    client, address = entering(stage.cast.measurer), reverse("surveys:sign", args=[filled.key])
    long_ago(client)
    assert client.post(address, sent(filled, password="")).status_code == 422
    assert client.post(address, sent(filled, password="wrong")).status_code == 422
    assert not signed(filled)
    assert client.post(address, sent(filled)).headers["Location"] == reverse("surveys:visit", args=[filled.key])
    assert signed(filled)


def test_who_has_shown_the_second_factor_a_moment_ago_types_the_password_only(filled: Visit, stage: Stage) -> None:
    give_app(stage.cast.measurer)
    client, address = entering(stage.cast.measurer, code=code_now()), reverse("surveys:sign", args=[filled.key])
    assert "code or passkey" in client.get(address).content.decode()
    assert client.post(address, sent(filled, password="")).status_code == 422
    assert client.post(address, sent(filled)).status_code == 302
    assert signed(filled)


def test_later_the_second_factor_is_asked_and_the_signature_is_put(filled: Visit, stage: Stage) -> None:
    give_app(stage.cast.measurer)
    client, address = entering(stage.cast.measurer, code=code_now(-1)), reverse("surveys:sign", args=[filled.key])
    long_ago(client)
    assert client.post(address, sent(filled, password="wrong")).status_code == 422
    asked = client.post(address, sent(filled)).headers["Location"]
    assert asked.startswith(BY_CODE)
    assert not signed(filled)
    kept = json.dumps(dict(client.session.items()))
    assert PASSWORD not in kept
    assert PASSWORD.replace(" ", "+") not in kept
    # The password is no second factor: neither at its own page nor for any page that asks.
    assert client.get(asked.replace(BY_CODE, BY_PASSWORD)).headers["Location"].startswith(BY_CODE)
    assert client.post(asked.replace(BY_CODE, BY_PASSWORD), {"password": PASSWORD}).status_code == 302
    assert client.post(asked, {"code": "000000"}).status_code == 200
    assert not signed(filled)
    assert client.post(asked, {"code": code_now()}).headers["Location"] == reverse("surveys:visit", args=[filled.key])
    assert signed(filled)


def test_a_passkey_alone_is_asked_for_first(filled: Visit, stage: Stage) -> None:
    give_passkey(stage.cast.measurer)
    client = Client()
    client.force_login(stage.cast.measurer)
    answer = client.post(reverse("surveys:sign", args=[filled.key]), sent(filled))
    assert answer.headers["Location"].startswith(BY_KEY)
    page = client.get(answer.headers["Location"]).content.decode()
    assert "Use a passkey" in page
    assert "Use the password" not in page


def test_a_form_that_waited_too_long_comes_back_to_its_own_address(filled: Visit, stage: Stage) -> None:
    """Changed meanwhile: nothing is signed that was not shown, and the next click goes to the page of the signature."""
    give_app(stage.cast.measurer)
    client, address = entering(stage.cast.measurer, code=code_now(-1)), reverse("surveys:sign", args=[filled.key])
    long_ago(client)
    asked = client.post(address, sent(filled)).headers["Location"]
    Visit.objects.filter(pk=filled.pk).update(edition=filled.edition + 1)
    answer = client.post(asked, {"code": code_now()})
    assert answer.status_code == 422
    assert not signed(filled)
    assert f'action="{address}"' in answer.content.decode()
    assert "note" not in answer.context["form"].fields


@pytest.mark.parametrize("forged", ["x", "WyJhIl0:1abc:AAAA", ""])
def test_a_note_that_nobody_gave_stands_for_no_password(filled: Visit, stage: Stage, forged: str) -> None:
    client, address = entering(stage.cast.measurer), reverse("surveys:sign", args=[filled.key])
    assert client.post(address, sent(filled, password="", note=forged)).status_code == 422
    assert not signed(filled)


def test_a_note_is_for_one_person_one_visit_as_it_is_and_some_minutes(
    filled: Visit, stage: Stage, settings: Any
) -> None:
    by = stage.cast.measurer
    about: dict[str, Any] = {"by": by, "visit": filled, "edition": filled.edition}
    with pytest.raises(WrongPassword):
        actions.note_of_password(**about, password="wrong")
    note = actions.note_of_password(**about, password=PASSWORD)
    other = actions.note_of_password(**{**about, "edition": filled.edition + 1}, password=PASSWORD)
    with pytest.raises(WrongPassword):
        actions.sign_visit(**about, password="", note=other)
    settings.CONFIRM_WITHIN = -1
    with pytest.raises(WrongPassword):
        actions.sign_visit(**about, password="", note=note)
    settings.CONFIRM_WITHIN = 300
    by.set_password("another password than before")
    with pytest.raises(WrongPassword):
        actions.sign_visit(**about, password="", note=note)
    by.refresh_from_db()
    assert actions.sign_visit(**about, password="", note=note).signed_by == by


# ---- The reviewer's signature, and rights ----


def test_what_the_reviewer_wrote_waits_and_is_then_done(stage: Stage) -> None:
    visit, reviewer = stage.visit("under_review"), stage.cast.reviewer
    give_app(reviewer)
    client = entering(reviewer, code=code_now(-1))
    long_ago(client)
    address = reverse("desk:accept_visit", args=[visit.key])
    asked = client.post(address, {"edition": visit.edition, "reason": "The mast was moved aft."}).headers["Location"]
    assert asked.startswith(BY_CODE)
    client.post(asked, {"code": code_now()})
    visit.refresh_from_db()
    assert (visit.state, visit.acceptance_reason) == ("accepted", "The mast was moved aft.")


@pytest.mark.parametrize("name", sorted(ASKING - {"certificates:renew", "people:invite", "access_keys:make"}))
def test_a_session_left_open_does_nothing(stage: Stage, name: str) -> None:
    """Nobody's object is needed: who it is is asked before anything is looked up."""
    who = {"desk": "reviewer", "people": "administrator"}.get(name.partition(":")[0], "certifier")
    client = Client()
    client.force_login(stage.cast.people()[who])
    parts = dict.fromkeys(ADDRESSES[name].pattern.converters, "x")
    assert client.post(reverse(name, kwargs=parts)).headers["Location"].startswith(BY_PASSWORD)


def test_setting_one_up_shows_it(cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
    """Who has just set up an app is not asked for its next code at once; later they are, and the password is none."""
    client = entering(cast.measurer)
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("mfa_activate_totp"), {"code": code_at(time.time(), secret)})
    more = reverse("mfa_generate_recovery_codes")
    assert client.get(more).status_code == 200
    long_ago(client)
    assert client.get(more).headers["Location"].startswith(BY_CODE)
