"""The second factor: who must have one, what opens without it (nothing), codes used twice, and who takes it away."""

from __future__ import annotations

import time
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.conf import settings as office
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from office.audit.models import Entry
from office.audit.refusals import NotAllowed
from office.people import second
from office.people.actions import invitations, roles
from office.people.models import Person
from tests.cast import PASSWORD, Cast
from tests.factors import SECRET, code_at, code_now, give_app, give_passkey, give_second_factors

SIGN_IN, SECOND, CODE, ADD_APP, ACCOUNT = (
    reverse(name) for name in ("people:sign_in", "mfa_index", "mfa_authenticate", "mfa_activate_totp", "people:account")
)
NEW = "a longer way about"


@pytest.fixture(autouse=True)
def _as_in_the_office(settings: Any) -> None:
    settings.SECOND_FACTOR, settings.CONFIRM_WITHIN = True, 300


def with_password(person: Person, client: Client | None = None) -> tuple[Client, Any]:
    client = client or Client()
    return client, client.post(SIGN_IN, {"username": person.email, "password": PASSWORD})


# Appendix B of RFC 6238, SHA-1, eight digits (from memory).
@pytest.mark.parametrize(
    ("moment", "code"),
    [(59, "94287082"), (1111111109, "07081804"), (1234567890, "89005924"), (20000000000, "65353130")],
)
def test_the_codes_of_these_tests_are_those_of_the_standard(moment: int, code: str) -> None:
    assert code_at(moment, digits=8) == code


@pytest.mark.parametrize("part", ["certifier", "administrator"])
def test_who_needs_one_is_led_there_before_anything_else(cast: Cast, part: str) -> None:
    client, answer = with_password(cast.people()[part])
    assert answer.headers["Location"] == reverse("home")
    for name in ("home", "boats:list", "certificates:list", "people:account", "desk:queue", "racing:check"):
        for method in (client.get, client.post):
            assert method(reverse(name)).headers["Location"] == SECOND, name
    page = client.get(SECOND)
    assert "every other page waits" in page.content.decode()
    assert client.post(reverse("people:sign_out")).headers["Location"] == reverse("home")


@pytest.mark.parametrize("part", ["measurer", "reviewer", "owner", "race_committee", "stranger"])
def test_others_may_have_one_and_need_none(cast: Cast, part: str) -> None:
    client, _ = with_password(cast.people()[part])
    assert client.get(reverse("home")).status_code == 200
    assert "every other page waits" not in client.get(SECOND).content.decode()


def test_the_setting_lifts_it(cast: Cast, settings: Any) -> None:
    settings.SECOND_FACTOR = False
    client, _ = with_password(cast.certifier)
    assert client.get(reverse("home")).status_code == 200


def test_an_app_is_set_up_and_then_asked_for(cast: Cast, django_capture_on_commit_callbacks: Any) -> None:
    client, _ = with_password(cast.certifier)
    form = client.get(ADD_APP).context["form"]
    wrong = client.post(ADD_APP, {"code": "000000"})
    assert wrong.status_code == 200
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(ADD_APP, {"code": code_at(time.time(), form.secret)})
    assert answer.headers["Location"] == reverse("mfa_view_recovery_codes")
    codes = client.get(answer.headers["Location"]).context["unused_codes"]
    assert len(codes) == 10
    assert client.get(reverse("home")).status_code == 200
    assert {entry.verb for entry in Entry.objects.all()} == {"add_second_factor"}
    # The secret lies sealed in the database.
    stored = Authenticator.objects.get(type=Authenticator.Type.TOTP).data["secret"]
    assert form.secret not in stored
    assert second.opened(stored) == form.secret
    # The next sign-in asks for it; a recovery code stands in, once.
    for attempt in (1, 2):
        there, answer = with_password(cast.certifier)
        assert answer.headers["Location"] == CODE
        assert there.get(ACCOUNT).headers["Location"].startswith(SIGN_IN)  # not in yet
        assert there.get(CODE).status_code == 200
        answer = there.post(CODE, {"code": codes[0]})
        assert (answer.status_code == 302) == (attempt == 1)
        assert (there.get(ACCOUNT).status_code == 200) == (attempt == 1)


def test_a_code_is_good_once(cast: Cast) -> None:
    give_app(cast.measurer)
    code = code_now()
    there, _ = with_password(cast.measurer)
    assert there.post(CODE, {"code": code}).status_code == 302
    elsewhere, _ = with_password(cast.measurer)
    assert elsewhere.post(CODE, {"code": code}).status_code == 200
    assert elsewhere.get(ACCOUNT).status_code == 302


def test_codes_are_not_guessed(cast: Cast) -> None:
    """After five wrong ones even the right one waits, in any session."""
    give_app(cast.measurer)
    for _ in range(5):
        there, _ = with_password(cast.measurer)
        assert there.post(CODE, {"code": "000000"}).status_code == 200
    there, _ = with_password(cast.measurer)
    assert there.post(CODE, {"code": code_now()}).status_code == 200
    assert there.get(ACCOUNT).status_code == 302


def test_a_link_for_a_new_password_is_no_way_round(cast: Cast) -> None:
    give_app(cast.certifier)
    _, token = invitations.send_new_link(by=cast.administrator, person=cast.certifier, reason="Forgot it.")
    client = Client()
    answer = client.post(reverse("people:accept_invitation", args=[token]), {"new_password": NEW, "again": NEW})
    assert answer.headers["Location"] == CODE
    assert client.get(ACCOUNT).status_code == 302
    assert client.post(CODE, {"code": code_now()}).status_code == 302
    assert client.get(ACCOUNT).status_code == 200


def test_the_last_one_stays_with_who_needs_it(cast: Cast) -> None:
    give_app(cast.certifier)
    client, _ = with_password(cast.certifier)
    client.post(CODE, {"code": code_now()})
    remove = reverse("mfa_deactivate_totp")
    client.post(remove)
    assert second.has_one(cast.certifier)
    give_passkey(cast.certifier)
    client.post(remove)
    assert second.has_one(cast.certifier)
    assert not Authenticator.objects.filter(type=Authenticator.Type.TOTP).exists()
    assert Entry.objects.filter(verb="remove_own_second_factor").count() == 1


def test_an_administrator_takes_a_lost_one_away(cast: Cast) -> None:
    give_second_factors(cast.certifier)
    give_app(cast.administrator)
    client, _ = with_password(cast.administrator)
    client.post(CODE, {"code": code_now()})
    address = reverse("people:remove_second_factor", args=[cast.certifier.key])
    assert client.post(address, {"reason": ""}).status_code == 422
    assert second.has_one(cast.certifier)
    assert client.post(address, {"reason": "Phone in the harbour."}).status_code == 302
    assert not Authenticator.objects.filter(user=cast.certifier).exists()
    entry = Entry.objects.get(verb="remove_second_factor")
    assert (entry.subject, entry.reason) == (cast.certifier.key, "Phone in the harbour.")
    with pytest.raises(NotAllowed):
        second.remove_all(by=cast.reviewer, person=cast.administrator, reason="No.")


def test_whoever_runs_the_server_takes_the_last_administrators_away(cast: Cast) -> None:
    give_app(cast.administrator)
    call_command("remove_second_factor", cast.administrator.email, "--reason", "Lost at sea.", verbosity=0)
    assert not second.has_one(cast.administrator)
    assert Entry.objects.get().verb == "remove_second_factor"
    with pytest.raises(CommandError, match="Nobody"):
        call_command("remove_second_factor", "nobody@office.example", "--reason", "x")


def test_disabling_takes_it_away_too(cast: Cast) -> None:
    give_second_factors(cast.measurer)
    roles.disable(by=cast.administrator, person=cast.measurer, reason="Left.")
    assert not Authenticator.objects.filter(user=cast.measurer).exists()


def test_nobody_touches_the_keys_of_somebody_else(cast: Cast) -> None:
    passkey = give_passkey(cast.measurer)
    client, _ = with_password(cast.reviewer)
    for name in ("mfa_edit_webauthn", "mfa_remove_webauthn"):
        assert client.get(reverse(name, args=[passkey.pk])).status_code == 404
        assert client.post(reverse(name, args=[passkey.pk]), {"name": "Mine"}).status_code == 404
    passkey.refresh_from_db()
    assert passkey.wrap().name == "A key"


def test_no_other_page_of_the_library_answers(client: Client, db: None) -> None:
    for address in ("signup/", "email/", "password/reset/", "password/change/", "login/", "second/trust/", "inactive/"):
        for under in ("/accounts/", "/people/"):
            assert client.get(under + address).status_code == 404, under + address


def test_the_settings_of_the_office(settings: Any) -> None:
    """What a real office runs with, as the tests of everything else lift it."""
    assert office.MFA_SUPPORTED_TYPES == ["totp", "webauthn", "recovery_codes"]
    assert office.AXES_LOCKOUT_PARAMETERS == [["username", "ip_address"]]
    assert str(office.CACHES["default"]["BACKEND"]).endswith("DatabaseCache")
    assert len(SECRET) == 32
