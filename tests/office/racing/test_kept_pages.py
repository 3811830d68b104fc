"""A page that was kept is sent again only while everything it says is still so, and never to somebody signed in."""

from __future__ import annotations

import datetime as dt
import gc
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from boats.models import Boat
from office.certificates import snapshot
from office.certificates.models import Amendment, Certificate, Suspension
from office.policy.models import PolicyEdition
from office.racing import answers, kept_pages
from surveys.models import Visit
from tests.office.certificates import samples
from tests.office.racing.test_answers import boat

pytestmark = pytest.mark.django_db

MAY, AUGUST = dt.date(2026, 5, 4), dt.date(2026, 8, 15)
NOW = dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _nothing_kept():
    kept_pages.kept.clear()
    yield
    kept_pages.kept.clear()


@pytest.fixture
def made(monkeypatch) -> list[str]:
    """The numbers for which the view has made a page."""
    asked: list[str] = []
    find = answers.find_certificate

    def found(number: str, *args: Any, **more: Any) -> Any:
        asked.append(number)
        return find(number, *args, **more)

    monkeypatch.setattr(answers, "find_certificate", found)
    return asked


def issue(cast: Any, number: str = "QM-2026-0042", **fields: Any) -> Certificate:
    hers = fields.pop("boat", None) or boat()
    text = snapshot.canonical(samples.document(number=number, name=hers.name, sail_number=hers.sail_number))
    given: dict[str, Any] = {
        "valid_from": MAY, "valid_until": dt.date(2026, 12, 31), "in_force_before": dt.date(2027, 1, 1),
        "issued_at": NOW, "issued_by": cast.certifier, "snapshot": text, "snapshot_sha256": snapshot.sha256(text),
        "trail_head": "0f" * 32, "visit": Visit.objects.create(boat=hers, measurer=cast.measurer),
    }  # fmt: skip
    return Certificate.objects.create(number=number, boat=hers, **(given | fields))


def page(client: Client, known: Certificate, day: str = "2026-09-01") -> Any:
    answer = client.get(reverse("racing:certificate", args=[known.number]), {"on": day})
    assert answer.status_code == 200
    return answer


def test_a_kept_page_is_the_same_page(client, cast, made):
    known = issue(cast)
    first, second = page(client, known), page(client, known)
    assert made == [known.number]
    assert first.content == second.content
    assert dict(first.headers) == dict(second.headers)
    for name in ("Content-Security-Policy", "Cache-Control", "X-Frame-Options", "Referrer-Policy", "Content-Length"):
        assert second.headers[name]
    assert not first.cookies
    assert second.resolver_match.view_name == "racing:certificate"


def test_another_day_is_another_page(client, cast, made):
    known = issue(cast)
    assert "Expired" in page(client, known, "2027-03-01").content.decode()
    assert "In force" in page(client, known, "2026-09-01").content.decode()
    assert len(made) == 2


def test_tomorrow_the_page_is_made_anew(client, cast, made, monkeypatch):
    known, address = issue(cast), reverse("racing:certificate", args=["QM-2026-0042"])
    for today, word in ((MAY, "In force"), (dt.date(2027, 1, 1), "Expired")):
        monkeypatch.setattr("django.utils.timezone.localdate", lambda today=today: today)
        assert word in client.get(address).content.decode()
    assert made == [known.number] * 2


def withdrawn(known: Certificate, cast: Any) -> None:
    Certificate.objects.filter(pk=known.pk).update(in_force_before=AUGUST, ending="withdrawn", ended_on=AUGUST)


def replaced(known: Certificate, cast: Any) -> None:
    Certificate.objects.filter(pk=known.pk).update(in_force_before=AUGUST, ending="replaced", ended_on=AUGUST)
    issue(cast, "QM-2026-0043", boat=known.boat, replaces=known, valid_from=AUGUST)


def suspended(known: Certificate, cast: Any) -> None:
    Suspension.objects.create(
        certificate=known, since=AUGUST, reason="mast", suspended_at=NOW, suspended_by=cast.certifier
    )


def lifted(known: Certificate, cast: Any) -> None:
    suspended(known, cast)
    Suspension.objects.update(lifted_from=dt.date(2026, 8, 20))


def amended(known: Certificate, cast: Any) -> None:
    Amendment.objects.create(
        certificate=known, number=1, text="The boom is black.", reason="seen", issued_at=NOW, issued_by=cast.certifier,
        snapshot="{}", snapshot_sha256="0" * 64,
    )  # fmt: skip


def renamed(known: Certificate, cast: Any) -> None:
    Boat.objects.filter(pk=known.boat_id).update(name="Kittiwake")


def another_office(known: Certificate, cast: Any) -> None:
    PolicyEdition.objects.create(office_name="Quay Office", reason="moved")


@pytest.mark.parametrize(
    ("happens", "word"),
    [
        (withdrawn, "Withdrawn"), (replaced, "QM-2026-0043"), (suspended, "Suspended"), (lifted, "2026-08-20"),
        (amended, "The boom is black."), (renamed, "Kittiwake"), (another_office, "Quay Office"),
    ],
)  # fmt: skip
def test_what_happens_is_on_the_page_at_once(client, cast, happens, word):
    known = issue(cast)
    assert word not in page(client, known).content.decode()
    happens(known, cast)
    assert word in page(client, known).content.decode()


def elsewhere(work: Callable[[], None]) -> None:
    """In a thread, which has a connection of its own."""

    def whole() -> None:
        work()
        connection.close()

    thread = threading.Thread(target=whole)
    thread.start()
    thread.join()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("by", [lambda work: work(), elsewhere], ids=["here", "elsewhere"])
def test_facts_are_read_again_where_somebody_wrote(client, cast, monkeypatch, by):
    """And only there, where the database can tell."""
    read: list[str] = []
    facts_of = kept_pages.facts_of

    def counted(number: str, alias: str = "") -> Any:
        read.append(number)
        return facts_of(number, alias)

    monkeypatch.setattr(kept_pages, "facts_of", counted)
    known = issue(cast)
    page(client, known)
    page(client, known)
    read.clear()
    page(client, known)
    assert len(read) == (0 if connection.vendor == "sqlite" else 1)
    by(lambda: Boat.objects.exclude(pk=known.boat_id).update(name="Another"))
    page(client, known)
    by(lambda: withdrawn(known, cast))
    assert "Withdrawn" in page(client, known).content.decode()
    read.clear()
    with transaction.atomic():
        renamed(known, cast)
        assert "Kittiwake" in page(client, known).content.decode()
        transaction.set_rollback(True)
    assert "Kittiwake" not in page(client, known).content.decode()
    connection.close()
    read.clear()
    page(client, known)
    assert read, "another connection knows nothing of the moments of the one before"


def test_what_happens_to_the_one_after_it_is_on_the_page_too(client, cast):
    known = issue(cast, in_force_before=AUGUST, ending="replaced", ended_on=AUGUST)
    after = issue(cast, "QM-2026-0043", boat=known.boat, replaces=known, valid_from=AUGUST)
    assert "Suspended" not in page(client, known).content.decode()
    suspended(after, cast)
    assert "Suspended" in page(client, known).content.decode()


def test_who_is_signed_in_gets_a_page_of_their_own(client, cast, made):
    known = issue(cast)
    page(client, known)
    reviewer = Client()
    reviewer.force_login(cast.reviewer)
    assert cast.reviewer.name in page(reviewer, known).content.decode()
    assert cast.reviewer.name not in page(client, known).content.decode()
    assert len(made) == 2


def test_a_page_for_a_browser_with_a_choice_of_its_own_is_not_kept(client, cast, made):
    """Feet and inches beside the millimetres are remembered in a cookie; others see the page without them."""
    known = issue(cast)
    client.cookies["beside"] = "feet"
    page(client, known)
    assert len(kept_pages.kept) == 0
    page(Client(), known)
    page(client, known)
    assert made == [known.number] * 3


@pytest.mark.parametrize("more", ["&on=2026-09-02", "&q=1", "&beside=feet", "%20"])
def test_an_address_with_more_in_it_is_not_kept(client, cast, more):
    known = issue(cast)
    client.get(reverse("racing:certificate", args=[known.number]) + f"?on=2026-09-01{more}")
    assert len(kept_pages.kept) == 0


def test_what_is_not_found_is_not_kept(client):
    assert client.get("/check/c/QM-2026-9999/").status_code == 404
    assert client.post("/check/c/QM-2026-9999/").status_code in {403, 405}
    assert len(kept_pages.kept) == 0


def test_a_name_that_is_not_the_servers_is_refused(client, cast):
    known = issue(cast)
    page(client, known)
    address = reverse("racing:certificate", args=[known.number])
    assert client.get(address, {"on": "2026-09-01"}, headers={"host": "elsewhere.example"}).status_code == 400


def test_a_change_while_the_page_is_made_keeps_nothing(client, cast, monkeypatch):
    known = issue(cast)
    stated = snapshot.read

    def ended_meanwhile(one: Certificate) -> dict[str, Any]:
        withdrawn(one, cast)
        return stated(one)

    monkeypatch.setattr(snapshot, "read", ended_meanwhile)
    page(client, known)
    assert len(kept_pages.kept) == 0


def test_the_pages_asked_for_last_are_kept():
    pages = kept_pages.Pages(most=2)
    one, two, three = (kept_pages.Page((name,), MAY, b"", (), None) for name in "123")  # type: ignore[arg-type]
    pages.put("1", one)
    pages.put("2", two)
    assert pages.get("1") is one
    pages.put("3", three)
    assert (pages.get("1"), pages.get("2"), pages.get("3")) == (one, None, three)


def test_a_page_that_is_no_longer_kept_is_let_go():
    gone = kept_pages.Page(("1",), MAY, b"", (), None)  # type: ignore[arg-type]
    held = kept_pages.looked.at
    held[gone] = "a moment"
    before = len(held)
    del gone
    gc.collect()
    assert len(held) == before - 1
