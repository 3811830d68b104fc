"""Guessing, repeating, borrowed sessions: what sign-in, one-time links and confirmations hold against."""

from __future__ import annotations

import io
import logging
import re
import time
from types import SimpleNamespace
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from axes.models import AccessAttempt
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf
from office.certificates.models import Certificate
from office.people.actions import invitations, roles
from office.people.models import Person
from tests.cast import PASSWORD, Cast
from tests.factors import code_now, give_app, give_passkey
from tests.surveys.makers import Stage, record_kit, register_boat

SIGN_IN, ACCOUNT, CONFIRM = (reverse(name) for name in ("people:sign_in", "people:account", "account_reauthenticate"))


def attempt(email: str, password: str, address: str = "10.0.0.7", client: Client | None = None) -> Any:
    return (client or Client()).post(SIGN_IN, {"username": email, "password": password}, REMOTE_ADDR=address)


def signed_in(person: Person) -> Client:
    client = Client()
    assert client.post(SIGN_IN, {"username": person.email, "password": PASSWORD}).status_code == 302
    return client


@pytest.fixture(autouse=True)
def _the_limits_clock_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slow machine takes longer than their minute for what somebody guessing does in a second."""
    now = time.time()
    clock = SimpleNamespace(time=lambda: now, monotonic=time.monotonic, sleep=time.sleep)
    monkeypatch.setattr("allauth.core.internal.ratelimit.time", clock)


# ---- Brute force ----


def test_five_failures_lock_the_name_from_that_address_only(cast: Cast) -> None:
    """ASVS 6.3.1. The right password waits too; others at the same place, and the same person elsewhere, do not."""
    written = cast.owner.email, cast.owner.email.upper(), f" {cast.owner.email}", cast.owner.email, cast.owner.email
    answers = [attempt(email, "wrong") for email in written]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 200, 429]
    locked = attempt(cast.owner.email, PASSWORD)
    assert locked.status_code == 429
    assert locked.headers["Retry-After"]
    assert "Too often" in locked.content.decode()
    assert attempt(cast.other_owner.email, PASSWORD).status_code == 302
    assert attempt(cast.owner.email, PASSWORD, "10.0.0.8").status_code == 302


def test_the_lock_ends_by_itself_and_keeps_nothing(cast: Cast, settings: Any) -> None:
    for _ in range(5):
        attempt(cast.owner.email, "wrong")
    before = timezone.now() - settings.AXES_COOLOFF_TIME
    AccessAttempt.objects.update(attempt_time=before - timezone.timedelta(seconds=1))  # type: ignore[attr-defined]
    assert attempt(cast.owner.email, PASSWORD).status_code == 302
    assert not AccessAttempt.objects.exists()


def test_one_name_after_another_from_one_address_ends_too(cast: Cast) -> None:
    """Spraying one password over many names locks no name; the address itself has a limit."""
    told = [attempt(f"nobody{number}@office.example", PASSWORD).status_code for number in range(31)]
    assert told[:30] == [200] * 30
    assert told[30] == 429
    assert attempt(cast.owner.email, PASSWORD, "10.0.0.9").status_code == 302


def test_the_count_is_every_processs(cast: Cast) -> None:
    """It lies in the database: another worker, with a cache object of its own, counts on from there."""
    for number in range(30):
        attempt(f"nobody{number}@office.example", PASSWORD)
    cache.close()
    assert attempt(cast.owner.email, PASSWORD).status_code == 429


def test_links_are_not_guessed(db: None) -> None:
    told = [Client().get(reverse("people:accept_invitation", args=[f"guess{n}"])).status_code for n in range(31)]
    assert set(told[:30]) == {403}
    assert told[30] == 429


def test_a_borrowed_session_does_not_guess_the_password(cast: Cast) -> None:
    client = signed_in(cast.owner)
    address = reverse("people:change_password")
    told = [
        client.post(address, {"present": f"guess {n}", "new_password": "something new here", "again": "x"}).status_code
        for n in range(11)
    ]
    assert told == [422] * 10 + [429]


# ---- Sessions ----


def test_a_session_that_was_planted_is_not_the_one_that_is_signed_in(cast: Cast) -> None:
    """Session fixation (ASVS 7.2.4)."""
    client = Client()
    client.get(SIGN_IN)
    session = client.session
    session["planted"] = True
    session.save()
    planted = session.session_key
    client.cookies["sessionid"] = planted  # type: ignore[assignment]
    assert attempt(cast.owner.email, PASSWORD, client=client).status_code == 302
    assert client.session.session_key != planted
    other = Client()
    other.cookies["sessionid"] = planted  # type: ignore[assignment]
    assert other.get(ACCOUNT).status_code == 302


def test_half_a_sign_in_is_none(cast: Cast) -> None:
    """The password was right, the code is not given: the session belongs to nobody, whatever page is asked."""
    give_app(cast.owner)
    client = Client()
    attempt(cast.owner.email, PASSWORD, client=client)
    assert "_auth_user_id" not in client.session
    for name in ("people:account", "boats:list", "mfa_index", "mfa_view_recovery_codes", "mfa_activate_totp"):
        assert client.get(reverse(name)).headers["Location"].startswith(SIGN_IN), name


def test_a_disabled_persons_sessions_end(cast: Cast) -> None:
    """ASVS 7.4.2."""
    clients = [signed_in(cast.owner), signed_in(cast.owner)]
    roles.disable(by=cast.administrator, person=cast.owner, reason="Left.")
    for client in clients:
        assert client.get(ACCOUNT).headers["Location"].startswith(SIGN_IN)
    roles.enable(by=cast.administrator, person=cast.owner, reason="Back.")
    for client in clients:
        assert client.get(ACCOUNT).headers["Location"].startswith(SIGN_IN)


def test_a_new_password_by_link_ends_what_was_signed_in_before(cast: Cast) -> None:
    before = signed_in(cast.owner)
    _, token = invitations.send_new_link(by=cast.administrator, person=cast.owner, reason="Lost.")
    address = reverse("people:accept_invitation", args=[token])
    here = Client()
    assert here.post(address, {"new_password": "a longer way about", "again": "a longer way about"}).status_code == 302
    assert here.get(ACCOUNT).status_code == 200
    assert before.get(ACCOUNT).status_code == 302
    assert Client().get(address).status_code == 409  # single use


def test_tokens_have_128_random_bits_or_more() -> None:
    """ASVS 11.5.1: 32 bytes from the system's generator in links, 12 and more in keys that only name things."""
    made = {invitations.secrets.token_urlsafe(invitations.TOKEN_BYTES) for _ in range(200)}  # type: ignore[attr-defined]
    assert len(made) == 200
    assert invitations.TOKEN_BYTES * 8 >= 128


# ---- CSRF ----


@pytest.mark.parametrize(
    "name", ["people:sign_in", "people:sign_out", "people:account", "mfa_activate_totp", "mfa_login_webauthn"]
)
def test_nothing_is_sent_from_elsewhere(cast: Cast, name: str) -> None:
    client = Client(enforce_csrf_checks=True)
    if name != "people:sign_in":
        client.force_login(cast.owner)
    assert client.post(reverse(name), {"name": "x"}).status_code == 403


# ---- Asked again before issuing and withdrawing ----


class TestConfirming:
    @pytest.fixture(autouse=True)
    def _as_in_the_office(self, settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        settings.CONFIRM_WITHIN = 300
        monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))

    @pytest.fixture
    def stage(self, cast: Cast) -> Stage:
        return Stage(cast, register_boat(cast), record_kit(cast))

    def long_ago(self, client: Client) -> None:
        session = client.session
        for record in session["account_authentication_methods"]:
            record["at"] -= 301
        session.save()

    def sent(self, stage: Stage) -> dict[str, str]:
        today = timezone.localdate().isoformat()
        return {"valid_from": today, "replacing": "", "confirmed": "on", "reason": ""}

    def test_who_has_just_signed_in_is_not_asked(self, stage: Stage) -> None:
        client, visit = signed_in(stage.cast.certifier), stage.visit("accepted")
        answer = client.post(reverse("certificates:issue", args=[visit.key]), self.sent(stage))
        assert answer.headers["Location"].startswith("/certificates/")
        assert Certificate.objects.count() == 1

    def test_later_the_password_is_asked_and_what_was_sent_is_done(self, stage: Stage) -> None:
        client, visit = signed_in(stage.cast.certifier), stage.visit("accepted")
        self.long_ago(client)
        answer = client.post(reverse("certificates:issue", args=[visit.key]), self.sent(stage))
        assert answer.headers["Location"].startswith(CONFIRM)
        assert not Certificate.objects.exists()
        assert "Is it you?" in client.get(answer.headers["Location"]).content.decode()
        wrong = client.post(answer.headers["Location"], {"password": "wrong"})
        assert wrong.status_code == 200
        assert not Certificate.objects.exists()
        done = client.post(answer.headers["Location"], {"password": PASSWORD})
        assert done.headers["Location"] == reverse("certificates:certificate", args=[Certificate.objects.get().number])

    def test_a_code_confirms_where_there_is_an_app(self, stage: Stage) -> None:
        give_app(stage.cast.certifier)
        client = signed_in(stage.cast.certifier)
        client.post(reverse("mfa_authenticate"), {"code": code_now(-1)})
        certificate = certificate_actions.issue(by=stage.cast.certifier, visit=stage.visit("accepted"))
        self.long_ago(client)
        address = reverse("certificates:withdraw", args=[certificate.number])
        sent = {"on": timezone.localdate().isoformat(), "reason": "The mast was cut.", "confirmed": "on"}
        asked = client.post(address, sent).headers["Location"]
        assert asked.startswith(reverse("mfa_reauthenticate"))
        client.post(asked, {"code": code_now()})
        certificate.refresh_from_db()
        assert certificate.ending_reason == "The mast was cut."

    @pytest.mark.parametrize("name", ["withdraw", "suspend"])
    def test_nothing_is_done_without(self, stage: Stage, name: str) -> None:
        client = Client()
        client.force_login(stage.cast.certifier)  # a session that never showed a password
        certificate = certificate_actions.issue(by=stage.cast.certifier, visit=stage.visit("accepted"))
        day = timezone.localdate().isoformat()
        answer = client.post(
            reverse(f"certificates:{name}", args=[certificate.number]), {"on": day, "since": day, "reason": "No."}
        )
        assert answer.headers["Location"].startswith(CONFIRM)
        certificate.refresh_from_db()
        assert certificate.ending == ""
        assert not certificate.suspensions.exists()

    def test_whoever_may_not_is_told_so_first(self, stage: Stage) -> None:
        client, visit = signed_in(stage.cast.reviewer), stage.visit("accepted")
        self.long_ago(client)
        assert client.post(reverse("certificates:issue", args=[visit.key]), self.sent(stage)).status_code == 403


# ---- The log ----


def test_the_log_tells_who_by_key_and_never_by_name(cast: Cast, caplog: pytest.LogCaptureFixture) -> None:
    """ASVS 16.3.1: every sign-in and every refusal is logged."""
    give_passkey(cast.reviewer)
    with caplog.at_level(logging.INFO):
        attempt(cast.owner.email, "wrong")
        for _ in range(6):
            attempt(cast.certifier.email, "wrong too")
        attempt(cast.owner.email, PASSWORD)
    told = [record.getMessage() for record in caplog.records if record.name == "office.access"]
    assert told.count("sign-in refused") >= 6
    assert told[-1] == "signed in"
    assert [getattr(record, "person", None) for record in caplog.records if record.getMessage() == "signed in"] == [
        cast.owner.key
    ]
    everything = io.StringIO()
    for record in caplog.records:
        everything.write(f"{record.getMessage()} {vars(record)}")
    text = everything.getvalue()
    assert not re.search(r"@office\.example|Skau|Reef|wrong too|10\.0\.0\.7", text)


# ---- Guessing the rest: codes for a lost phone, codes asked for again, links to a boat ----


def test_codes_for_a_lost_phone_are_not_guessed(cast: Cast) -> None:
    """ASVS 6.3.1: ten codes are ten chances, and still five wrong ones end it, for every session of that person."""
    RecoveryCodes.activate(cast.owner)
    give_app(cast.owner)
    right = RecoveryCodes(Authenticator.objects.get(user=cast.owner, type="recovery_codes")).get_unused_codes()[0]
    for number in range(5):
        there = Client()
        attempt(cast.owner.email, PASSWORD, client=there)
        assert there.post(reverse("mfa_authenticate"), {"code": f"{number:08}"}).status_code == 200
    there = Client()
    attempt(cast.owner.email, PASSWORD, client=there)
    assert there.post(reverse("mfa_authenticate"), {"code": right}).status_code == 200
    assert there.get(ACCOUNT).headers["Location"].startswith(SIGN_IN)


@pytest.mark.parametrize("way", ["account_reauthenticate", "mfa_reauthenticate"])
def test_a_borrowed_session_does_not_guess_what_confirms(cast: Cast, way: str) -> None:
    if way == "mfa_reauthenticate":
        give_app(cast.owner)
    client = Client()
    client.force_login(cast.owner)
    sent = [client.post(reverse(way), {"password": f"guess {n}", "code": f"{n:06}"}) for n in range(11)]
    told = [answer.status_code for answer in sent]
    assert set(told[:4]) == {200}
    assert told[10] == 429
    assert not client.session.get("account_authentication_methods")


@pytest.mark.parametrize("name", ["people:accept_invitation", "boats:join"])
def test_links_to_the_office_and_to_a_boat_share_no_more_tries_than_one(db: None, name: str) -> None:
    """From one address, whichever of them is tried."""
    told = [Client().get(reverse(name, args=[f"guess{n}"])).status_code for n in range(31)]
    assert 200 not in told
    assert told[30] == 429


def test_a_password_is_not_tried_by_way_of_the_signature(cast: Cast) -> None:
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    visit = stage.visit("draft")
    client = signed_in(cast.measurer)
    address = reverse("surveys:sign", args=[visit.key])
    told = [client.post(address, {"edition": "1", "password": f"guess {n}"}).status_code for n in range(11)]
    assert told == [422] * 10 + [429]
