"""The interface as another system sees it: answers, scopes, tags, pages, problems; and requests that are made up."""

from __future__ import annotations

import datetime as dt
import json
import os
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, given, settings

from office.certificates import amending, suspending
from office.certificates.seal import pades
from office.interface import answering, kept_answers, keys, limits, schemas
from office.interface.models import Minute, Scope
from office.racing import actions as racing_actions
from office.racing.models import Check, CommitteeMember, EntryList, Event
from office.wsgi import application
from tests.office.certificates.conftest import accepted, cast, issued, make_boat, quick_papers, row, stage
from tests.office.racing.test_events import take

__all__ = ["accepted", "cast", "issued", "quick_papers", "row", "stage"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_papers")]

EXAMPLES = int(os.environ.get("API_EXAMPLES", "8"))  # for each operation
PROBLEM = "application/problem+json"


@pytest.fixture(autouse=True)
def _nothing_known():
    """What a process keeps in memory is of a database that is no more."""
    limits.taken.forget()
    kept_answers.kept.clear()


@pytest.fixture
def token(cast) -> str:
    _, token = keys.make(
        by=cast.administrator, name="Entries", holder=cast.race_committee, scopes=list(Scope.values),
        expires_on=timezone.localdate(),
    )  # fmt: skip
    return token


@pytest.fixture
def ask(token):
    def asked(address: str, given: Any = None, **headers: str) -> Any:
        client = Client(headers={"Authorization": f"Bearer {token}", **headers})
        if given is not None:
            return client.post(address, json.dumps(given), content_type="application/json")
        return client.get(address)

    return asked


def test_how_a_boat_stands(cast, ask, issued):
    address = reverse("api:validity")
    boat = issued.boat
    for text in (boat.sail_number, boat.name, issued.number):
        answer = ask(f"{address}?q={text}").json()
        assert (answer["standing"], answer["boat"]["key"]) == ("in_force", boat.key)
        assert answer["certificate"]["number"] == issued.number
    assert ask(f"{address}?q={boat.sail_number}&on=2019-01-01").json()["standing"] == "not_yet"
    assert ask(f"{address}?q=ZZ+99").json()["standing"] == "unknown"
    suspending.suspend(by=cast.certifier, certificate=issued, since=timezone.localdate(), reason="The mast.")
    answer = ask(f"{address}?q={boat.sail_number}")
    assert answer.json()["standing"] == "suspended"
    assert "The mast." not in answer.content.decode()


def test_a_doubtful_boat_is_never_guessed(ask):
    make_boat("Grey Plover", sail_number="SKE 77")
    make_boat("Grey Plover", sail_number="SKE 78")
    answer = ask(f"{reverse('api:validity')}?q=Grey+Plover").json()
    assert (answer["standing"], answer["boat"], answer["certificate"]) == ("unsure", None, None)
    assert len(answer["candidates"]) == 2


def test_many_at_once(ask, issued):
    asked = [issued.boat.sail_number, "ZZ 99", issued.number]
    answer = ask(reverse("api:validities"), {"asked": asked}).json()
    assert [one["asked"] for one in answer["answers"]] == asked
    assert [one["standing"] for one in answer["answers"]] == ["in_force", "unknown", "in_force"]
    nonsense: list[Any] = [{"asked": []}, {"asked": ["x"] * 201}, {}, {"asked": ["x"], "on": "tomorrow"}, [1]]
    for wrong in nonsense:
        refused = ask(reverse("api:validities"), wrong)
        assert (refused.status_code, refused.headers["Content-Type"]) == (422, PROBLEM)


def test_what_a_certificate_states(cast, ask, issued, monkeypatch):
    monkeypatch.setattr(amending, "render", lambda document, size, signature: b"%PDF")
    monkeypatch.setattr(pades, "sign", lambda content, key, at: content)
    amending.amend(by=cast.certifier, certificate=issued, text="For Skaw read Skau.", reason="Misspelt.")
    answer = ask(reverse("api:certificate", args=[issued.number])).json()
    assert answer["snapshot"] == json.loads(issued.snapshot)
    assert (answer["snapshot_sha256"], answer["standing"]) == (issued.snapshot_sha256, "in_force")
    assert [one["text"] for one in answer["amendments"]] == ["For Skaw read Skau."]
    assert answer["signature"]
    published = Client().get(reverse("api:keys")).json()
    assert answer["statement_key"] in {one["id"] for one in published["keys"]}
    missing = ask(reverse("api:certificate", args=["ZZ-1"]))
    assert (missing.status_code, missing.headers["Content-Type"]) == (404, PROBLEM)


def test_page_by_page(ask, row):
    numbers = {row().number for _ in range(5)}
    address, found, pages = f"{reverse('api:certificates')}?size=2", [], 0
    while address:
        page = ask(address).json()
        found += [one["number"] for one in page["items"]]
        address, pages = page["next"], pages + 1
    assert (set(found), len(found), pages, page["total"]) == (numbers, 5, 3, 5)
    assert ask(f"{reverse('api:certificates')}?standing=withdrawn").json()["total"] == 0
    for wrong in ("size=0", "from=2026-01-01", "on=0", "on=2026-1-1", "standing=sunk"):
        refused = ask(f"{reverse('api:certificates')}?{wrong}")
        assert (refused.status_code, refused.headers["Content-Type"]) == (422, PROBLEM), wrong


def test_many_take_no_more_queries_than_few(ask, issued, row, django_assert_num_queries):
    """Every way in which a text may be answered, and each answered as if it were asked alone."""
    make_boat("Grey Plover", sail_number="SKE 77")
    make_boat("Grey Plover", sail_number="SKE 78")
    others = [row() for _ in range(4)]
    suspending.write_suspension(issued.issued_by, issued, timezone.localdate(), "The mast.")
    few = [issued.boat.sail_number, "ZZ 99", issued.number]
    many = [
        *few, issued.boat.name, "grey plover", "Grey", "77", issued.number.lower(), issued.number.replace("-", " "),
        *(one.number for one in others), *(one.boat.name for one in others), "RM-1999-0001", "\u202e", " ", "%",
    ]  # fmt: skip
    address = reverse("api:validities")
    ask(address, {"asked": few})  # the key's first use of the day and minute
    with CaptureQueriesContext(connection) as asked_few:
        ask(address, {"asked": few})
    with django_assert_num_queries(len(asked_few)):
        answers = ask(address, {"asked": many * 8}).json()["answers"]
    assert len(answers) == 8 * len(many)
    for text, answer in zip(many, answers, strict=False):
        alone = schemas.Validity.model_validate(answering.validity(text, timezone.localdate()))
        assert answer == json.loads(alone.model_dump_json()), text
    assert {one["standing"] for one in answers} >= {"suspended", "unknown", "unsure"}


def test_how_a_list_stands_on_a_day(cast, ask, issued):
    """The list that stands now, settled or not, on one day; tagged by its content, whatever the time of the answer."""
    today = timezone.localdate()
    event = racing_actions.make_event(
        by=cast.race_committee, name="Sound Week", first_day=today, last_day=today, rules_edition="2025_2028"
    )
    address = reverse("api:event_results", args=[event.key])
    assert ask(f"{address}?on={today}").status_code == 404
    take(cast, event, f"sail_number,boat,helm\n{issued.boat.sail_number},{issued.boat.name},Petra\nZZ 9,Nobody,\n")
    stored = ask(address).json()
    assert (stored["check"], stored["on"], stored["entry_list"]) == (1, None, 1)
    first = ask(f"{address}?on={today}")
    answer = first.json()
    assert (answer["check"], answer["checked_at"], answer["on"]) == (None, None, today.isoformat())
    assert [one["status"] for one in answer["results"]] == ["in_force", "none"]
    assert (answer["counts"]["in_force"], answer["results"][0]["helm"]) == (1, "Petra")
    again = ask(f"{address}?on={today}", **{"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    later = issued.valid_until + dt.timedelta(days=1)
    assert ask(f"{address}?on={later}").json()["results"][0]["status"] == "expired"
    suspending.suspend(by=cast.certifier, certificate=issued, since=today, reason="The mast.")
    other = ask(f"{address}?on={today}", **{"If-None-Match": first.headers["ETag"]})
    assert (other.status_code, other.json()["results"][0]["status"]) == (200, "suspended")
    assert ask(address).json()["results"] == stored["results"]  # what a check found stays as it was found
    assert ask(f"{address}?on=tomorrow").status_code == 422
    described = Client().get("/api/openapi.json").json()["paths"]["/api/events/{key}/results"]["get"]
    (on,) = [one for one in described["parameters"] if one["name"] == "on"]
    assert "without it the last check" in (on.get("description") or on["schema"]["description"])


def test_results_of_the_holders_own_events(cast, ask):
    today = timezone.localdate()
    event = Event.objects.create(
        name="Sound Week",
        first_day=today,
        last_day=today + dt.timedelta(3),
        rules_edition="2025",
        made_by=cast.reviewer,
    )
    listed = EntryList.objects.create(
        event=event, number=1, taken_by=cast.reviewer, filename="e.csv", file_sha256="0" * 64, size=0,
        content=json.dumps({"extra": [], "entries": []}),
    )  # fmt: skip
    Check.objects.create(
        event=event, number=1, entry_list=listed, checked_by=cast.reviewer, first_day=today, last_day=today,
        counts={"none": 0}, results="[]",
    )  # fmt: skip
    address = reverse("api:event_results", args=[event.key])
    assert ask(address).status_code == 404
    CommitteeMember.objects.create(event=event, person=cast.race_committee)
    answer = ask(address).json()
    assert (answer["event"]["name"], answer["check"], answer["results"]) == ("Sound Week", 1, [])


def test_an_answer_that_is_known_is_not_sent_again(ask, issued):
    address = reverse("api:certificate", args=[issued.number])
    first = ask(address)
    again = ask(address, **{"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert ask(f"{address}?on=2019-01-01", **{"If-None-Match": first.headers["ETag"]}).status_code == 200
    client = Client()
    public = client.get(reverse("api:keys"))
    same = client.get(reverse("api:keys"), headers={"If-None-Match": public.headers["ETag"]})
    assert same.status_code == 304  # though the time of the answer is another


def test_no_key_a_wrong_one_and_one_that_does_not_open_this(cast, issued):
    address = f"{reverse('api:validity')}?q=x"
    for header in (
        {},
        {"Authorization": "Bearer wrong"},
        {"Authorization": "Basic eDp5"},
        {"Authorization": "Bearer "},
    ):
        refused = Client(headers=header).get(address)
        assert (refused.status_code, refused.headers["Content-Type"]) == (401, PROBLEM)
        assert refused.headers["WWW-Authenticate"] == "Bearer"
    _, other = keys.make(
        by=cast.administrator, name="x", holder=cast.owner, scopes=["events"], expires_on=timezone.localdate()
    )
    refused = Client(headers={"Authorization": f"Bearer {other}"}).get(address)
    assert (refused.status_code, refused.json()["status"], refused.headers["Content-Type"]) == (403, 403, PROBLEM)


def test_too_many_in_a_minute(ask, issued, monkeypatch):
    address = f"{reverse('api:validity')}?q=x"
    monkeypatch.setattr(limits, "WITH_A_KEY", 2)
    assert [ask(address).status_code for _ in range(3)] == [200, 200, 429]
    refused = ask(address)
    assert 0 < int(refused.headers["Retry-After"]) <= 60
    assert refused.headers["Content-Type"] == PROBLEM
    monkeypatch.setattr(limits, "WITHOUT", 1)
    tries = [Client(headers={"Authorization": "Bearer guessed"}).get(address).status_code for _ in range(2)]
    assert tries == [401, 429]
    assert [Client().get(reverse("api:keys")).status_code for _ in range(2)] == [200, 429]


def test_behind_a_proxy_each_asker_is_counted_alone(issued, monkeypatch, settings):
    """Otherwise one who asks too often would shut everybody out; and nobody chooses the address they are counted by."""
    monkeypatch.setattr(limits, "WITHOUT", 1)
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1

    def asked(said: str) -> int:
        return Client(headers={"X-Forwarded-For": said}).get(reverse("api:keys")).status_code

    assert [asked("198.51.100.1"), asked("198.51.100.2"), asked("198.51.100.1")] == [200, 200, 429]
    assert asked("203.0.113.9, 198.51.100.1") == 429
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 0
    assert [asked("192.0.2.1"), asked("192.0.2.2")] == [200, 429]


def test_whatever_else_is_asked_there(ask):
    for address in ("/api/nothing", "/api/certificates/a/b", "/api/certificates/a%00b"):
        refused = ask(address)
        assert (refused.status_code in {400, 404}, refused.headers["Content-Type"]) == (True, PROBLEM)
    garbled = Client(headers={"Authorization": "x"}).post("/api/validity", "{", content_type="application/json")
    assert garbled.headers["Content-Type"] == PROBLEM


def test_the_page_that_reads_the_description(client):
    page = client.get(reverse("api:docs")).content.decode()
    assert "/api/certificates/{number}" in page
    assert "application/problem+json" in page
    assert "http://" not in page.replace("http://www.w3.org", "").replace("http://testserver", "")
    assert "https://" not in page
    assert client.get("/api/", follow=True).redirect_chain == [("/api/docs/", 302)]


def test_made_up_requests_find_nothing(token, issued, monkeypatch):
    """schemathesis: no server error, no status, content type or form of an answer that the description lacks."""
    monkeypatch.setattr(limits, "WITH_A_KEY", 10**6)
    monkeypatch.setattr(limits, "WITHOUT", 10**6)
    for signal in (request_started, request_finished):  # the test's own transaction lasts longer than one request
        monkeypatch.setattr(signal, "receivers", [])
        signal.sender_receivers_cache.clear()
    schema = schemathesis.openapi.from_wsgi("/api/openapi.json", application)
    asked: list[str] = []
    key = {"Authorization": f"Bearer {token}"}  # always sent, so that its lack is never what is asked wrongly
    for result in schema.get_all_operations():
        operation = result.ok()
        modes = [schemathesis.GenerationMode.POSITIVE]
        if operation.body or list(operation.iter_parameters()):  # without any, nothing can be asked wrongly
            modes.append(schemathesis.GenerationMode.NEGATIVE)
        for mode in modes:
            _send(operation.as_strategy(generation_mode=mode, headers=key), token, asked)
    assert len(asked) >= 6
    assert Minute.objects.exists()


def _send(cases: Any, token: str, asked: list[str]) -> None:
    @settings(
        max_examples=EXAMPLES, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck)
    )
    @given(case=cases)
    def send(case: Any) -> None:
        asked.append(case.operation.label)
        case.call_and_validate(headers={"Authorization": f"Bearer {token}"})

    send()
