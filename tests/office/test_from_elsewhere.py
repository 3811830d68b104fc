"""Requests that another site, another host or a crafted link would send: each is refused, or leads nowhere else."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings as office
from django.core import mail
from django.test import Client
from django.urls import reverse

from office.people.actions import invitations
from office.people.logs import WithoutTokens
from office.people.models import Person
from tests.cast import PASSWORD, Cast
from tests.factors import code_now, give_app
from tests.office.test_urls_by_role import ADDRESSES

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]
SIGN_IN = reverse("people:sign_in")
EVIL = "evil.example"


def address_of(name: str, part: str = "x") -> str:
    converters = ADDRESSES[name].pattern.converters
    return reverse(name, kwargs={one: 1 if "Int" in type(kind).__name__ else part for one, kind in converters.items()})


# ---- Sent from another site (CSRF) ----

# What asks for a key that no browser sends by itself.
WITH_A_KEY = {
    "api:keys", "api:validity", "api:validities", "api:certificates", "api:certificate", "api:event_results",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(ADDRESSES))
def test_nothing_is_taken_without_the_forms_token(cast: Cast, name: str) -> None:
    """Every address, whoever is signed in: it is refused before anything is looked up. ASVS 3.5.1."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.administrator)
    for method in ("post", "put", "patch", "delete"):
        answer = getattr(client, method)(address_of(name))
        if name in WITH_A_KEY:
            assert answer.status_code in {401, 404, 405}, method
        else:
            assert answer.status_code == 403, method
            said = answer.json()["csrf"] if "json" in answer.headers["Content-Type"] else answer.content.decode()
            assert said is True or "CSRF" in said, method


def test_the_right_token_from_another_site_is_refused_too(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    token = client.get(reverse("people:account")).cookies["csrftoken"].value
    sent = {"name": "Somebody Else", "csrfmiddlewaretoken": token}
    for headers in ({"origin": f"https://{EVIL}"}, {"origin": "null"}):
        assert client.post(reverse("people:account"), sent, headers=headers).status_code == 403
    assert client.post(reverse("people:account"), sent, headers={"origin": "http://testserver"}).status_code == 302


@pytest.mark.parametrize("header", ["X-HTTP-Method-Override", "X-HTTP-Method", "X-Method-Override"])
def test_a_link_cannot_act_as_a_form(cast: Cast, header: str) -> None:
    client = Client()
    client.force_login(cast.owner)
    for query in ("", "?_method=POST"):
        answer = client.get(reverse("people:sign_out") + query, headers={header: "POST"})
        assert answer.status_code == 405
    assert client.post(reverse("people:sign_out"), {"_method": "GET"}, headers={header: "GET"}).status_code == 302
    assert client.get(reverse("people:account")).status_code == 302  # signed out by the form, which is one


# ---- Led elsewhere (open redirect) ----

ELSEWHERE = [
    f"https://{EVIL}/", f"//{EVIL}/", f"/\\{EVIL}", f"\\\\{EVIL}", f"https:{EVIL}", f"///{EVIL}", f"http:///{EVIL}",
    "javascript:alert(1)", f"https://testserver@{EVIL}/", f"/%09/{EVIL}", f"\t//{EVIL}", f"https://testserver.{EVIL}/",
]  # fmt: skip


def stays_here(location: str) -> bool:
    return location.startswith("/") and not location.startswith(("//", "/\\")) and "\t" not in location


@pytest.mark.parametrize("to", ELSEWHERE)
def test_no_link_leads_out_of_the_office(cast: Cast, to: str, settings: Any) -> None:
    client = Client()
    answer = client.post(f"{SIGN_IN}?next={to}", {"username": cast.owner.email, "password": PASSWORD, "next": to})
    assert answer.status_code == 302
    assert stays_here(answer.headers["Location"]), "signing in"
    assert stays_here(client.get(SIGN_IN, {"next": to}).headers["Location"]), "signed in already"
    lengths = client.post(reverse("people:choose_lengths"), {"lengths": "both", "next": to})
    assert stays_here(lengths.headers["Location"]), "choosing lengths"
    confirmed = client.post(reverse("account_reauthenticate"), {"password": PASSWORD, "next": to})
    assert stays_here(confirmed.headers["Location"]), "confirming"
    give_app(cast.owner)
    settings.CONFIRM_WITHIN = 0
    by_code = client.post(reverse("mfa_reauthenticate"), {"code": code_now(-1), "next": to})
    assert stays_here(by_code.headers["Location"]), "confirming by code"
    there = Client()
    there.post(f"{SIGN_IN}?next={to}", {"username": cast.owner.email, "password": PASSWORD, "next": to})
    second = there.post(reverse("mfa_authenticate"), {"code": code_now(), "next": to})
    assert stays_here(second.headers["Location"]), "the second step"
    out = there.post(reverse("people:sign_out"), {"next": to})
    assert stays_here(out.headers["Location"]), "signing out"


# ---- Under another name (host header) ----


def test_another_hosts_name_is_refused(cast: Cast) -> None:
    for host in (EVIL, f"testserver.{EVIL}", f"{EVIL}:80", "testserver@evil.example", ""):
        assert Client().get(reverse("home"), headers={"host": host}).status_code == 400, host


@pytest.mark.parametrize("header", ["X-Forwarded-Host", "X-Host", "Forwarded", "X-Original-URL", "X-Rewrite-URL"])
def test_no_link_in_a_letter_is_made_from_what_a_request_says(cast: Cast, header: str) -> None:
    client = Client()
    client.force_login(cast.administrator)
    value = f"host={EVIL}" if header == "Forwarded" else "/people/" if "URL" in header else EVIL
    sent = {"name": "New", "email": "new@office.example", "roles": "owner"}
    page = client.post(reverse("people:invite"), sent, headers={header: value})
    assert page.status_code == 200
    assert "http://testserver/people/join/" in mail.outbox[0].body
    assert EVIL not in mail.outbox[0].body + page.content.decode()


# ---- What a browser keeps ----


def test_cookies_are_for_the_office_alone(cast: Cast) -> None:
    """ASVS 3.3: no script reads the session's, no other site sends either; secure behind https (test_hardening)."""
    client = Client()
    client.get(SIGN_IN)
    client.post(SIGN_IN, {"username": cast.owner.email, "password": PASSWORD})
    assert set(client.cookies) == {"sessionid", "csrftoken"}
    session = client.cookies["sessionid"]
    assert session["httponly"] is True
    assert {one["samesite"] for one in client.cookies.values()} == {"Lax"}
    assert {one["domain"] for one in client.cookies.values()} == {""}
    assert 0 < int(session["max-age"]) <= 12 * 60 * 60


# ---- Secrets in addresses ----

NO_SECRET = {"events:spot_away"}  # the token there names a reading of a spot check, for those who may see it anyway


def secret_addresses() -> Iterator[str]:
    for name, one in ADDRESSES.items():
        if "token" in one.pattern.converters and name not in NO_SECRET:
            yield name


def test_where_an_address_is_a_secret() -> None:
    assert set(secret_addresses()) == {"people:accept_invitation", "boats:join", "surveys:calendar_feed"}


@pytest.mark.parametrize("name", sorted(secret_addresses()))
def test_no_log_keeps_it_and_no_page_passes_it_on(client: Client, name: str, caplog: pytest.LogCaptureFixture) -> None:
    secret = invitations.secrets.token_urlsafe(32)  # type: ignore[attr-defined]
    address = address_of(name, secret)
    caplog.handler.addFilter(without := WithoutTokens())
    try:
        answer = client.get(address)
        logging.getLogger("django.request").warning("Not Found: %s", address)
    finally:
        caplog.handler.removeFilter(without)
    assert answer.status_code in {403, 404}
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert "Not Found" in caplog.text
    assert secret not in caplog.text


# ---- Paths that lead outside ----

OUTSIDE = ["../manage.py", "..%2fmanage.py", "%2e%2e/%2e%2e/etc/passwd", "..%5c..%5cmanage.py", "....//etc/passwd",
           "/etc/passwd", "%2fetc%2fpasswd", "photo.jpg%00.txt"]  # fmt: skip


@pytest.mark.parametrize("path", OUTSIDE)
def test_no_path_leads_out_of_where_files_are_served_from(cast: Cast, path: str) -> None:
    client = Client()
    client.force_login(cast.administrator)
    for under in ("/static/", "/media/", "/visits/x/photos/", "/certificates/C-1/", "/check/"):
        answer = client.get(under + path, follow=True)  # where a slash lacks at the end, to the same with it
        content = b"".join(answer) if answer.streaming else answer.content
        assert answer.status_code in {400, 404}, under
        assert b"root:" not in content
        assert b"DJANGO_SETTINGS_MODULE" not in content


def test_photographs_are_no_static_files() -> None:
    """They are read by their visit's page alone: no address of the office serves their directory."""
    assert not any("media" in str(one.pattern) for one in ADDRESSES.values())
    assert not str(office.MEDIA_ROOT).startswith(str(office.STATIC_ROOT))


def test_who_is_who_stays_with_the_session(cast: Cast) -> None:
    """Nothing that a request says beside its cookie makes it somebody: no header, no parameter."""
    for headers in ({"remote-user": cast.administrator.email}, {"x-remote-user": "1"}, {"x-forwarded-user": "1"}):
        answer = Client().get(reverse("people:list"), {"user": cast.administrator.key}, headers=headers)
        assert answer.headers["Location"].startswith(SIGN_IN)
    assert Person.objects.count() == 9
