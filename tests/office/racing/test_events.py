"""Events: who may, what lists and settlements do, what changed since a check, the report and the pages."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import pypdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats.models import Boat
from boats.particulars import as_columns
from office.audit.models import Entry as TrailRow
from office.audit.refusals import NotAllowed, Stale, WrongState
from office.people.models import Role
from office.racing import actions, queries, results
from office.racing.changes import changes
from office.racing.entry_file import read_pasted
from office.racing.models import Check, CommitteeMember, EntryList, Event, Settlement
from office.work import doing
from office.work.actions import tidy_up
from office.work.models import Work, WorkFile
from tests.cast import Cast, make_person
from tests.office.certificates.conftest import row

__all__ = ["row"]
pytestmark = pytest.mark.django_db

FIRST, LAST = dt.date(2026, 6, 5), dt.date(2026, 6, 7)
LIST = """sail_number\tboat\thelm
SKE 1\tSea Lark\tPetra
ske-2\tGrey Plover\t
SKE 3\tHeron\t
SKE 44\tQuiet Margin\t
WES 9\tNobody\t
"""


def boat(sail_number: str, name: str) -> Boat:
    made: Boat = Boat.objects.create(**as_columns({"name": name, "sail_number": sail_number}))
    return made


@pytest.fixture
def fleet(row: Any) -> dict[str, Boat]:
    """In force; running out on the second day; without a certificate; in force, entered under a number one sign off."""
    boats = {
        "lark": boat("SKE 1", "Sea Lark"), "plover": boat("SKE 2", "Grey Plover"), "heron": boat("SKE 3", "Heron"),
        "margin": boat("SKE 4", "Quiet Margin"),
    }  # fmt: skip
    row(boat=boats["lark"])
    row(boat=boats["plover"], valid_until=dt.date(2026, 6, 6), in_force_before=LAST)
    row(boat=boats["margin"])
    return boats


@pytest.fixture
def event(cast: Cast) -> Event:
    return actions.make_event(
        by=cast.race_committee, name="Gull Stairs Week", first_day=FIRST, last_day=LAST, rules_edition="2025_2028"
    )


def take(cast: Cast, event: Event, text: str = LIST) -> Check:
    file = read_pasted(text)
    return actions.take_entry_list(
        by=cast.race_committee, event=event, file=file, content=text.encode(), filename="the pasted list"
    )


def now(event: Event) -> list[results.Result]:
    entry_list = queries.standing_list(event)
    assert entry_list is not None
    return queries.look(event, entry_list)[1]


def statuses(event: Event) -> list[str]:
    return [one.status for one in now(event)]


def test_each_boat_over_the_event(cast: Cast, event: Event, fleet: dict[str, Boat]) -> None:
    check = take(cast, event)
    assert statuses(event) == ["in_force", "ends_during_event", "none", "unsure", "none"]
    assert check.counts["unsure"] == 1
    stored = results.loads(check.results)
    assert stored == now(event)
    assert stored[0].extra == ("Petra",)
    assert stored[1].notes == ("Last day in force 2026-06-06, then expired.",)
    assert [one.name for one in stored[3].offered] == ["Quiet Margin"]
    assert stored[4].why == "no such boat in this office's register"


def test_a_settled_entry_is_remembered_for_the_event_only(cast: Cast, event: Event, fleet: dict[str, Boat]) -> None:
    take(cast, event)
    actions.settle_entry(
        by=cast.race_committee, event=event, sail_number="SKE 44", name="Quiet Margin", boat=fleet["margin"]
    )
    assert statuses(event)[3] == "in_force"
    take(cast, event, LIST.replace("SKE 44\tQuiet Margin", "ske-44\tQUIET MARGIN"))
    assert statuses(event)[3] == "in_force"
    other = actions.make_event(
        by=cast.race_committee, name="Other", first_day=FIRST, last_day=LAST, rules_edition="2025_2028"
    )
    take(cast, other)
    assert statuses(other)[3] == "unsure"
    told = TrailRow.objects.get(verb="settle_entry")
    assert (told.actor, told.boat) == (cast.race_committee.key, fleet["margin"].key)
    assert "SKE 44, Quiet Margin" in told.after


def test_settled_as_none_of_the_register_and_opened_again(cast: Cast, event: Event, fleet: dict[str, Boat]) -> None:
    take(cast, event)
    about: dict[str, Any] = {"by": cast.race_committee, "event": event, "sail_number": "SKE 1", "name": "Sea Lark"}
    actions.settle_entry(**about, boat=None, reason="Another Sea Lark, from abroad.")
    assert (now(event)[0].status, now(event)[0].settled) == ("none", True)
    actions.reopen_entry(**about)
    actions.reopen_entry(**about)
    assert (now(event)[0].status, now(event)[0].settled) == ("in_force", False)
    assert Settlement.objects.filter(event=event).count() == 2


def test_what_changed_since_the_last_check(cast: Cast, event: Event, fleet: dict[str, Boat], row: Any) -> None:
    before = results.loads(take(cast, event).results)
    row(boat=fleet["heron"])
    take(cast, event, LIST.replace("WES 9\tNobody\t\n", "WES 10\tSomebody\t\n"))
    found = changes(before, now(event))
    assert [
        (one.entry.boat, one.before and one.before.status, one.now and one.now.status) for one in found
    ] == [("Heron", "none", "in_force"), ("Somebody", None, "none"), ("Nobody", "none", None)]  # fmt: skip
    assert [one.number for one in EntryList.objects.filter(event=event)] == [2, 1]
    assert Check.objects.filter(event=event).count() == 2


def test_twice_the_same_boat_and_two_boats_under_one_number(cast: Cast, event: Event, fleet: dict[str, Boat]) -> None:
    take(cast, event, "sail_number,boat\nSKE 1,Sea Lark\nSKE1,sea lark\nSKE 3,Heron\nSKE 3,Whimbrel\nX,Y\nX,Y\n")
    notes = [one.notes for one in now(event)]
    assert "The same boat stands in row 3." in notes[0]
    assert "The same boat stands in row 2." in notes[1]
    assert "The same sail number stands in row 5, with another boat." in notes[2]
    assert "The same sail number stands in row 4, with another boat." in notes[3]
    assert notes[4:] == [("The same entry stands in row 7.",), ("The same entry stands in row 6.",)]
    assert statuses(event)[3] == "unsure"


def test_only_its_committee_and_the_office(cast: Cast, event: Event) -> None:
    other = make_person("Ove Lund", Role.RACE_COMMITTEE)
    for person in (other, cast.owner, cast.measurer, cast.stranger):
        with pytest.raises(NotAllowed):
            actions.check_again(by=person, event=event)
    assert list(queries.events_visible_to(other)) == []
    actions.add_member(by=cast.race_committee, event=event, email=other.email.upper())
    actions.add_member(by=cast.race_committee, event=event, email=other.email)
    assert list(queries.events_visible_to(other)) == [event]
    assert event.members.count() == 2
    actions.end_member(by=other, event=event, person=other)
    assert list(queries.events_visible_to(other)) == []
    assert list(queries.events_visible_to(cast.reviewer)) == [event]
    with pytest.raises(WrongState, match="has to remain"):
        actions.end_member(by=cast.race_committee, event=event, person=cast.race_committee)
    with pytest.raises(WrongState, match="Nobody in the role"):
        actions.add_member(by=cast.race_committee, event=event, email=cast.owner.email)
    with pytest.raises(NotAllowed):
        actions.make_event(by=cast.owner, name="x", first_day=FIRST, last_day=LAST, rules_edition="older")


def test_an_event_is_changed_once_from_each_page(cast: Cast, event: Event) -> None:
    changed = actions.change_event(by=cast.race_committee, event=event, edition=1, last_day=FIRST)
    assert (changed.edition, changed.last_day) == (2, FIRST)
    with pytest.raises(Stale):
        actions.change_event(by=cast.race_committee, event=event, edition=1, last_day=LAST)
    with pytest.raises(WrongState, match="lies before the first"):
        actions.change_event(by=cast.race_committee, event=event, edition=2, last_day=FIRST - dt.timedelta(days=1))
    assert TrailRow.objects.filter(verb="change_event").count() == 1


# ---- The pages ----


@pytest.fixture
def committee(cast: Cast) -> Client:
    client = Client()
    client.force_login(cast.race_committee)
    return client


def test_from_making_an_event_to_its_report(cast: Cast, committee: Client, fleet: dict[str, Boat]) -> None:
    made = committee.post(
        reverse("events:make"),
        {"name": "Gull Stairs Week", "first_day": "2026-06-05", "last_day": "2026-06-07", "rules_edition": "2021_2024"},
    )
    key = Event.objects.get().key
    assert made.headers["Location"] == reverse("events:upload", args=[key])
    assert "No entry list yet" in committee.get(reverse("events:event", args=[key])).content.decode()
    committee.post(reverse("events:upload", args=[key]), {"pasted": LIST})
    page = committee.get(reverse("events:event", args=[key])).content.decode()
    assert "1 entry is not sure" in page
    assert "Ends during the event" in page
    assert "before the start of 2026-06-07" in page
    unsure = committee.get(reverse("events:event", args=[key]), {"status": "unsure"}).content.decode()
    assert "1 of 5 entries" in unsure
    assert "May be <bdi>Quiet Margin</bdi> (<bdi>SKE 4</bdi>)" in unsure
    entry = committee.get(reverse("events:entry", args=[key, 5])).content.decode()
    assert "a number one sign off, this name" in entry
    committee.post(
        reverse("events:settle", args=[key, 5]), {"entry": "SKE 44, Quiet Margin", "boat": fleet["margin"].key}
    )
    assert "Settled by hand" in committee.get(reverse("events:event", args=[key])).content.decode()
    answer = committee.get(reverse("events:report", args=[key, "csv"]))
    lines = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert [(line["boat"], line["status"], line["helm"]) for line in lines][:2] == [
        ("Sea Lark", "in_force", "Petra"), ("Grey Plover", "ends_during_event", ""),
    ]  # fmt: skip
    for size in ("A4", "Letter"):
        pdf = committee.get(reverse("events:report", args=[key, "pdf"]), {"size": size})
        text = pypdf.PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()
        assert "Gull Stairs Week" in text
        assert "Last day in force 2026-06-06" in text


def test_a_check_is_kept_and_shows_what_changed(
    cast: Cast, committee: Client, event: Event, fleet: dict[str, Boat], row: Any
) -> None:
    take(cast, event)
    row(boat=fleet["heron"])
    page = committee.get(reverse("events:event", args=[event.key])).content.decode()
    assert "1 entry changed" in page
    answer = committee.post(reverse("events:check_again", args=[event.key]))
    assert answer.headers["Location"] == reverse("events:check", args=[event.key, 2])
    page = committee.get(answer.headers["Location"]).content.decode()
    assert "1 entry changed" in page
    assert "Nothing has changed" in committee.get(reverse("events:event", args=[event.key])).content.decode()
    stored = committee.get(reverse("events:report", args=[event.key, "csv"]), {"check": "1"}).content.decode()
    assert "SKE 3,Heron,none" in stored
    assert committee.get(reverse("events:report", args=[event.key, "csv"]), {"check": "9"}).status_code == 404


def test_the_report_made_by_a_worker(cast: Cast, committee: Client, event: Event, fleet: dict[str, Boat]) -> None:
    take(cast, event)
    ask = reverse("events:ask_report", args=[event.key])
    assert committee.post(ask, {"size": "A0"}).status_code == 404
    page = committee.post(ask, {"check": "1"}).headers["Location"]
    assert committee.post(ask, {"check": "1"}).headers["Location"] == page  # a second click
    work = Work.objects.get()
    assert committee.get(reverse("work:file", args=[work.key])).status_code == 404  # not yet
    for _ in range(2):  # as after a worker that was killed over it
        Work.objects.update(state="waiting")
        doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.done, WorkFile.objects.count()) == ("done", 5, 1)
    answer = committee.get(work.leads_to)
    assert "Check 1" in pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert answer.headers["Cache-Control"] == "private, no-store"
    CommitteeMember.objects.update(ended_at=timezone.now())  # who has left the committee has its file no more
    assert committee.get(work.leads_to).status_code == 403
    CommitteeMember.objects.update(ended_at=None)
    committee.force_login(cast.reviewer)
    assert committee.get(work.leads_to).status_code == 403
    WorkFile.objects.update(made_at=timezone.now() - dt.timedelta(days=15))
    tidy_up()
    assert not WorkFile.objects.exists()


def test_a_list_with_faults_stores_nothing_and_tells_each(committee: Client, event: Event) -> None:
    address = reverse("events:upload", args=[event.key])
    answer = committee.post(address, {"file": SimpleUploadedFile("list.csv", b"sail_number,boat\n,\n=1,x\n,\n,y,z\n")})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "2 things in the list to put right; nothing has been stored" in text
    assert "“=1”" in text
    for nothing in ({}, {"pasted": LIST, "file": SimpleUploadedFile("list.csv", b"boat\nx\n")}):
        assert "one of the two" in committee.post(address, nothing).content.decode()
    assert not EntryList.objects.exists()


def test_two_boats_of_the_register_under_one_number(cast: Cast, event: Event, committee: Client) -> None:
    """Told apart by their names; without a name neither is taken, and it is said why."""
    boat("SKE 7", "Sea Lark")
    boat("SKE 7", "Whimbrel")
    take(cast, event, "sail_number,boat\nSKE 7,Whimbrel\nSKE 7,\nSKE 7,Gannet\n")
    named, bare, other = now(event)
    assert named.matched
    assert named.matched.name == "Whimbrel"
    assert (bare.status, other.status) == ("unsure", "unsure")
    assert {one.name for one in bare.offered} == {"Sea Lark", "Whimbrel"}
    page = committee.get(reverse("events:entry", args=[event.key, 3])).content.decode()
    assert "this number" in page
    assert "Sea Lark" in page


def test_right_to_left_and_combining_signs(cast: Cast, event: Event, committee: Client) -> None:
    """Found whatever way they were composed; on the page each text keeps its direction to itself."""
    gull, summer = "\u0646\u0648\u0631\u0633", "E\u0301te\u0301"
    boat("SKE 8", gull)
    boat("SKE 9", "\u00c9t\u00e9")
    boat("SKE 10", gull + gull)
    take(cast, event, f"sail_number,boat\nSKE 8,{gull}\nske-9,{summer}\nSKE 11,{gull}{gull}\n")
    assert [one.matched and one.matched.sail_number for one in now(event)] == ["SKE 8", "SKE 9", None]
    page = committee.get(reverse("events:event", args=[event.key])).content.decode()
    assert f"<bdi>{gull}</bdi>" in page
    assert f"May be <bdi>{gull}{gull}</bdi> (<bdi>SKE 10</bdi>)" in page
    report = committee.get(reverse("events:report", args=[event.key, "csv"])).content.decode()
    assert f"SKE 8,{gull}," in report


def test_texts_of_a_list_are_shown_as_texts(cast: Cast, committee: Client, event: Event) -> None:
    take(cast, event, 'sail_number,boat,<b>\n<script>1</script>,"<img src=x>",&amp;\n')
    for name, *more in (("event",), ("entry", 2), ("check", 1), ("statements",)):
        page = committee.get(reverse(f"events:{name}", args=[event.key, *more])).content.decode()
        assert "<script>1" not in page
        assert "<img" not in page


def test_an_entry_of_another_list_is_not_settled(
    cast: Cast, committee: Client, event: Event, fleet: dict[str, Boat]
) -> None:
    take(cast, event)
    take(cast, event, LIST.replace("SKE 44\tQuiet Margin", "SKE 55\tFulmar"))
    answer = committee.post(
        reverse("events:settle", args=[event.key, 5]), {"entry": "SKE 44, Quiet Margin", "boat": fleet["margin"].key}
    )
    assert answer.status_code == 409
    assert "replaced meanwhile" in answer.content.decode()
    assert not Settlement.objects.exists()


def test_days_the_wrong_way_round(committee: Client) -> None:
    about = {"name": "x", "first_day": "2026-06-07", "last_day": "2026-06-05", "rules_edition": "older"}
    answer = committee.post(reverse("events:make"), about)
    assert answer.status_code == 422
    assert "Expected a day not before the first, 2026-06-07." in answer.content.decode()
    series = {**about, "last_day": "2026-06-08", "first_series_last_day": "2026-06-09"}
    assert "one of the event&#x27;s days" in committee.post(reverse("events:make"), series).content.decode()
