"""An answer that was kept is sent again only while all of it is still so, to whoever may ask, each request counted."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from office.interface import answering, kept_answers, keys, limits
from office.interface.models import AccessKey
from office.people.models import Person
from tests.cast import cast
from tests.office.racing.test_kept_pages import AUGUST, issue, renamed, replaced, suspended, withdrawn

__all__ = ["cast"]
pytestmark = pytest.mark.django_db

NUMBER, DAY = "QM-2026-0042", "2026-09-01"
ASKED = f"/api/validity?q={NUMBER}&on={DAY}"


@pytest.fixture(autouse=True)
def _nothing_known():
    limits.taken.forget()
    kept_answers.kept.clear()


@pytest.fixture
def token(cast) -> str:
    _, token = keys.make(
        by=cast.administrator, name="x", holder=cast.race_committee, scopes=["validity"],
        expires_on=timezone.localdate(),
    )  # fmt: skip
    return token


@pytest.fixture
def made(monkeypatch) -> list[str]:
    """What the operation has been asked."""
    asked: list[str] = []
    work_out = answering.validity

    def noting(text: str, on: Any) -> Any:
        asked.append(text)
        return work_out(text, on)

    monkeypatch.setattr(answering, "validity", noting)
    return asked


def ask(token: str, address: str = ASKED, **headers: str) -> Any:
    return Client(headers={"Authorization": f"Bearer {token}", **headers}).get(address)


def test_a_kept_answer_is_the_same_answer(cast, token, made):
    issue(cast)
    first, second = ask(token), ask(token)
    assert made == [NUMBER]
    assert first.json()["standing"] == "in_force"
    assert (first.content, dict(first.headers)) == (second.content, dict(second.headers))
    for name in ("ETag", "Cache-Control", "Content-Security-Policy", "X-Frame-Options", "Content-Length"):
        assert second.headers[name]
    assert second.resolver_match.view_name == "api:validity"


def test_who_has_it_is_told_so_kept_or_not(cast, token, made):
    issue(cast)
    tag = ask(token).headers["ETag"]
    kept = ask(token, **{"If-None-Match": tag})
    assert made == [NUMBER]
    kept_answers.kept.clear()
    anew, after = ask(token, **{"If-None-Match": tag}), ask(token, **{"If-None-Match": '"other"'})
    assert (kept.status_code, kept.content, anew.status_code, anew.content) == (304, b"", 304, b"")
    assert dict(kept.headers) == dict(anew.headers)
    assert after.status_code == 200
    assert made == [NUMBER] * 2  # what was made for the one who had it is kept for the next


@pytest.mark.parametrize(
    ("happens", "word"),
    [(withdrawn, "withdrawn"), (replaced, "QM-2026-0043"), (suspended, "suspended"), (renamed, "Kittiwake")],
)
def test_what_happens_is_in_the_answer_at_once(cast, token, happens, word):
    known = issue(cast)
    first = ask(token)
    assert word not in first.content.decode()
    happens(known, cast)
    second = ask(token, **{"If-None-Match": first.headers["ETag"]})
    assert second.status_code == 200
    assert word in second.content.decode()


def test_what_happens_to_the_one_after_it_changes_nothing_wrongly(cast, token):
    known = issue(cast, in_force_before=AUGUST, ending="replaced", ended_on=AUGUST)
    ask(token)
    after = issue(cast, "QM-2026-0043", boat=known.boat, replaces=known, valid_from=AUGUST)
    assert ask(token).json()["certificate"]["replaced_by"] == after.number


def test_every_request_is_counted(cast, token, made, monkeypatch):
    issue(cast)
    monkeypatch.setattr(limits, "WITH_A_KEY", 3)
    answers = [ask(token) for _ in range(5)]
    assert [one.status_code for one in answers] == [200, 200, 200, 429, 429]
    assert made == [NUMBER]
    assert answers[4].headers["Content-Type"] == "application/problem+json"
    assert 0 < int(answers[4].headers["Retry-After"]) <= 60


@pytest.mark.parametrize(
    ("end", "status"),
    [
        (lambda: AccessKey.objects.update(revoked_at=timezone.now()), 401),
        (lambda: AccessKey.objects.update(expires_on="2026-01-01"), 401),
        (lambda: Person.objects.update(is_active=False), 401),
        (lambda: AccessKey.objects.update(scopes=["events"]), 403),
    ],
)
def test_a_key_that_opens_it_no_more(cast, token, end, status):
    issue(cast)
    assert [ask(token).status_code for _ in range(2)] == [200, 200]
    end()
    assert ask(token).status_code == status
    assert ask(token + "x").status_code == 401


def test_the_first_use_of_a_day_is_noted_all_the_same(cast, token):
    issue(cast)
    ask(token)
    AccessKey.objects.update(last_used_on="2026-01-01")
    assert ask(token).status_code == 200
    assert AccessKey.objects.get().last_used_on == timezone.localdate()


@pytest.mark.parametrize(
    "address",
    [
        "/api/validity?q=qm-2026-0042", "/api/validity?q=QM+2026+42", "/api/validity?q=QUA+117",
        f"{ASKED}&x=1", "/api/validity?q=QM-2026-9999",
    ],
)  # fmt: skip
def test_what_is_asked_otherwise_is_not_kept(cast, token, address):
    issue(cast)
    ask(token, address)
    assert len(kept_answers.kept) == 0


def test_one_that_is_written_alike_is_not_taken_for_it(cast, token):
    issue(cast, NUMBER.lower())
    assert ask(token).json()["certificate"]["number"] == NUMBER.lower()
    assert len(kept_answers.kept) == 0
    issue(cast)
    answered = ask(token).json()["certificate"]["number"]
    assert len(kept_answers.kept) == (answered == NUMBER)


def test_cookies_and_other_names_of_the_server(cast, token, made):
    issue(cast)
    ask(token)
    with_cookie = Client(headers={"Authorization": f"Bearer {token}"})
    with_cookie.cookies["beside"] = "feet"
    assert with_cookie.get(ASKED).status_code == 200
    assert made == [NUMBER] * 2
    assert ask(token, host="elsewhere.example").status_code == 400


def test_nothing_is_answered_that_could_not_be_counted(cast, token, monkeypatch, made):
    issue(cast)
    ask(token)
    limits.taken.forget()

    def full(*_: Any) -> int:
        raise OperationalError("database or disk is full")

    monkeypatch.setattr(limits, "_take", full)
    client = Client(headers={"Authorization": f"Bearer {token}"}, raise_request_exception=False)
    assert client.get(ASKED).status_code == 503
    assert made == [NUMBER]
