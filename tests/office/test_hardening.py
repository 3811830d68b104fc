"""Requests too large, a store that takes nothing, faults of ours; what every answer carries; the lines of the log."""

from __future__ import annotations

import errno
import json
import logging
import os
import re
import subprocess
import sys
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.core.exceptions import RequestDataTooBig
from django.db import DatabaseError, InternalError, OperationalError, connection
from django.test import Client, RequestFactory
from django.urls import reverse

from boats.models import Boat
from office import environment, failures
from office import settings as office
from office.audit import trail
from office.audit.models import Entry
from office.people.actions import invitations
from office.people.logs import Lines, WithoutTokens
from tests.cast import Cast, make_cast

REGISTER, HOME, SIGN_IN = (reverse(name) for name in ("boats:register", "home", "people:sign_in"))


def entering(person: Any) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person)
    return client


def boat(number: int) -> dict[str, str]:
    return {"name": f"Boat {number}", "sail_number": f"QUA {number}", "harbour": "H" * 80, "builder": "B" * 120}


# ---- Too large ----


def test_what_says_it_is_too_large_is_refused_unread(cast: Cast, settings: Any) -> None:
    client = entering(cast.administrator)
    size = settings.LARGEST_REQUEST + 1
    for length in (str(size), "9" * 40):
        answer = client.post(REGISTER, boat(1), CONTENT_LENGTH=length)
        assert answer.status_code == 413
        assert "larger than the office takes" in answer.content.decode()
    assert not Boat.objects.exists()
    assert client.post(REGISTER, boat(1), CONTENT_LENGTH="-1").status_code < 500
    assert client.post(REGISTER, boat(1), CONTENT_LENGTH="\u0662").status_code < 500


def test_a_form_that_is_too_large_is_told_so(cast: Cast) -> None:
    client = entering(cast.administrator)
    answer = client.post(REGISTER, {**boat(1), "remark": "x" * (5 * 1024 * 1024)}, "application/x-www-form-urlencoded")
    assert answer.status_code in {400, 403, 413}
    answer = client.generic("POST", REGISTER, b"name=" + b"x" * (5 * 1024 * 1024), "application/x-www-form-urlencoded")
    assert answer.status_code == 413
    assert failures.bad_request(RequestFactory().get("/"), RequestDataTooBig()).status_code == 413
    assert not Boat.objects.exists()


# ---- The store ----


@pytest.mark.django_db(transaction=True)
def test_a_full_disk_loses_nothing_that_was_acknowledged() -> None:
    """SQLite says so itself once it may not grow; PostgreSQL is made to say what it says then (53100)."""
    client = entering(make_cast().administrator)
    told = []
    with full():
        for number in range(150):
            told.append(client.post(REGISTER, boat(number)).status_code)
            if told[-1] == 503:
                break
    assert told[-1] == 503
    assert set(told[:-1]) <= {302}
    assert Boat.objects.count() == told.count(302)
    assert Entry.objects.filter(verb="register_boat").count() == told.count(302)
    assert not trail.verify()
    answer = client.post(REGISTER, boat(999))  # there is room again
    assert answer.status_code == 302


@pytest.mark.django_db(transaction=True)
def test_a_read_only_store_answers_what_it_can_and_says_the_rest() -> None:
    client = entering(make_cast().administrator)
    client.post(REGISTER, boat(1))
    with read_only():  # its message still waits to be shown once, which is a write too
        unread = client.get(reverse("boats:list"))
    client.get(reverse("boats:list"))
    with read_only():
        assert client.get(reverse("boats:list")).status_code == 200
        answer = client.post(REGISTER, boat(2))
        signing_in = Client(raise_request_exception=False).post(SIGN_IN, {"username": "a@b.example", "password": "x"})
    for one in (unread, answer, signing_in):
        assert one.status_code == 503
        assert one.headers["Retry-After"]
        assert "Nothing of this step has been stored" in one.content.decode()
    assert [one.name for one in Boat.objects.all()] == ["Boat 1"]
    assert client.post(REGISTER, boat(2)).status_code == 302


class full:  # noqa: N801  (reads as what it is)
    """The database may not grow by a page. On PostgreSQL the third insert meets the error of a full disk."""

    def __enter__(self) -> None:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("VACUUM")  # pages that earlier tests have left free would be taken first
                (pages,) = cursor.execute("PRAGMA page_count").fetchone()
                cursor.execute(f"PRAGMA max_page_count = {pages}")
            return
        self.seen = 0
        self.wrapper = connection.execute_wrapper(self.refuse)
        self.wrapper.__enter__()

    def refuse(self, execute: Any, sql: str, *rest: Any) -> Any:
        self.seen += sql.startswith("INSERT INTO audit_entry")
        if self.seen > 2:
            raise OperationalError("could not extend file: No space left on device")
        return execute(sql, *rest)

    def __exit__(self, *_: object) -> None:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA max_page_count = 1073741823")
        else:
            self.wrapper.__exit__(None, None, None)


class read_only:  # noqa: N801
    """Every write is refused by the database itself."""

    def __enter__(self) -> None:
        self.say("PRAGMA query_only = ON", "SET default_transaction_read_only = on")

    def __exit__(self, *_: object) -> None:
        self.say("PRAGMA query_only = OFF", "SET default_transaction_read_only = off")

    def say(self, sqlite: str, postgresql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sqlite if connection.vendor == "sqlite" else postgresql)


def test_what_counts_as_the_store() -> None:
    assert failures.is_of_the_store(OperationalError("database is locked"))
    assert failures.is_of_the_store(OSError(errno.ENOSPC, "No space left on device"))
    assert failures.is_of_the_store(OSError(errno.EROFS, "Read-only file system"))
    standby = InternalError("cannot execute INSERT in a read-only transaction")
    standby.__cause__ = type("ReadOnly", (Exception,), {"sqlstate": "25006"})()
    assert failures.is_of_the_store(standby)
    for ours in (DatabaseError("no such column"), OSError(errno.ENOENT, "none"), ValueError("x"), None):
        assert not failures.is_of_the_store(ours)


def test_a_fault_of_ours_is_a_500_that_tells_nothing(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """ASVS 16.5.1."""

    def fails(*_: object, **__: object) -> None:
        raise ValueError("SECRET-OF-THE-ROW")

    monkeypatch.setattr("boats.queries.search", fails)
    answer = entering(cast.administrator).get(reverse("boats:list"))
    assert answer.status_code == 500
    assert "Something went wrong on our side" in answer.content.decode()
    assert "SECRET" not in answer.content.decode()


# ---- What every answer carries ----


def test_every_page_keeps_scripts_frames_and_referrers_out(cast: Cast) -> None:
    """ASVS 3.4.3: scripts and styles from the office's own files alone, none inline, no eval."""
    client = entering(cast.administrator)
    for address in (HOME, SIGN_IN, reverse("boats:list"), reverse("mfa_index"), reverse("racing:check"), "/nowhere/"):
        answer = client.get(address, follow=True)
        policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
        assert policy["default-src"] == "'self'"
        assert "unsafe" not in str(policy)
        assert (policy["object-src"], policy["base-uri"], policy["frame-ancestors"]) == ("'none'",) * 3
        assert policy["form-action"] == "'self'"
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "same-origin"
        assert " style=" not in answer.content.decode()
        assert " onclick=" not in answer.content.decode()


def test_behind_https_cookies_and_transport_are_secure() -> None:
    """As a process of its own, since settings are read once; and Django's own deploy check finds nothing."""
    told = (
        "from office import settings as s; import json; print(json.dumps([s.SESSION_COOKIE_SECURE,"
        "s.CSRF_COOKIE_SECURE, s.SESSION_COOKIE_HTTPONLY, s.SECURE_HSTS_SECONDS > 3e7, s.SECOND_FACTOR, s.DEBUG,"
        "s.MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN]))"
    )
    given = {"OFFICE_HTTPS": "1", "OFFICE_SECRET_KEY": "k" * 60, "PATH": os.environ["PATH"], "OFFICE_DEBUG": ""}
    done = subprocess.run(
        [sys.executable, "-c", told], cwd=environment.ROOT, env=given, capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout) == [True, True, True, True, True, False, False]


def test_passwords_of_the_office_are_long_known_ones_refused(settings: Any) -> None:
    """ASVS 6.2.1, 6.2.4, 6.2.5: length and a list, no rules of composition; and a slow hash."""
    names = [str(one["NAME"]).rpartition(".")[2] for one in office.AUTH_PASSWORD_VALIDATORS]  # type: ignore[index]
    assert names == ["MinimumLengthValidator", "CommonPasswordValidator", "UserAttributeSimilarityValidator"]
    settings.PASSWORD_HASHERS = office.PASSWORD_HASHERS
    assert make_password("x").startswith("argon2$argon2id$")


def test_a_password_can_be_pasted_and_filled_in(cast: Cast) -> None:
    """ASVS 6.2.7: its field says what it is to a password manager, and no script of ours hinders pasting."""
    _, token = invitations.invite(by=cast.administrator, email="new@office.example", name="New", roles=["owner"])
    client = entering(cast.owner)
    join = reverse("people:accept_invitation", args=[token])
    pages = [(Client(), SIGN_IN), (Client(), join), (client, reverse("people:change_password"))]
    for who, address in pages:
        fields = re.findall(r'<input[^>]*type="password"[^>]*>', who.get(address).content.decode())
        assert fields, address
        for field in fields:
            assert re.search(r'autocomplete="(current|new)-password"', field), field
            assert "onpaste" not in field
            assert "readonly" not in field
    scripts = (environment.ROOT / "office" / "static").rglob("*.js")
    assert [one.name for one in scripts if re.search(r"""onpaste|["']paste["']""", one.read_text())] == []


# ---- The log ----


def record(message: str, *given: object, **more: Any) -> logging.LogRecord:
    return logging.getLogger("office.x").makeRecord(
        "office.x", logging.WARNING, "file.py", 1, message, given, more.pop("exc_info", None), extra=more
    )


def test_a_line_of_the_log_is_json_without_people() -> None:
    line = json.loads(Lines().format(record("not %s at /people/join/abc/", "ada@office.example", person="k1")))
    assert line["message"] == "not …@… at /people/join/…/"
    assert (line["level"], line["logger"], line["person"]) == ("warning", "office.x", "k1")
    assert line["at"].endswith("+00:00")


def test_an_error_in_the_log_tells_where_and_quotes_no_row() -> None:
    try:
        raise ValueError("Key (email)=(ada@office.example) exists")
    except ValueError:
        text = Lines().format(record("failed", exc_info=sys.exc_info()))
    line = json.loads(text)
    assert line["error"] == "ValueError"
    assert "test_hardening.py" in line["where"][-1]
    assert "ada" not in text


def test_the_plain_log_holds_no_address_either() -> None:
    one = record("for ada.stein@office.example")
    assert WithoutTokens().filter(one)
    assert one.getMessage() == "for …@…"
