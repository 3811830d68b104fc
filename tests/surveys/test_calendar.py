"""The calendar of planned visits: its personal address, what it tells, and how RFC 5545 wants it written."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.people.actions import roles
from surveys import actions, icalendar
from surveys.actions.calendars import find_calendar, make_calendar, revoke_calendar
from surveys.models import CalendarFeed
from tests.cast import Cast
from tests.surveys.makers import VISIT_DAY, Stage
from tests.surveys.test_paper import as_
from tests.surveys.test_planning_day import planned

NOW = dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.UTC)
TODAY = VISIT_DAY


@pytest.fixture(autouse=True)
def today(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.localdate", lambda: TODAY)


def unfolded(content: bytes) -> list[str]:
    """The content lines as a reader takes them (RFC 5545, 3.1)."""
    assert content.endswith(b"\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    return content.decode().replace("\r\n ", "").removesuffix("\r\n").split("\r\n")


def read(client: Client, token: str) -> list[str]:
    answer = client.get(reverse("surveys:calendar_feed", args=[token]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return unfolded(answer.content)


# ---- How it is written ----


@given(st.text(max_size=300))
def test_folding_is_undone_by_the_reader(line: str):
    line = "".join(sign for sign in line if sign not in "\r\n")
    content = icalendar.folded(line)
    physical = content.removesuffix(b"\r\n").split(b"\r\n")
    assert all(len(one) <= 75 for one in physical)
    assert all(one.startswith(b" ") for one in physical[1:])
    for one in physical:
        one.decode()  # no character is cut in two
    assert content.removesuffix(b"\r\n").replace(b"\r\n ", b"").decode() == line


@given(st.text(max_size=80))
def test_escaping_leaves_one_line_that_says_the_same(value: str):
    escaped = icalendar.text(value)
    assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", escaped)
    undone = re.sub(r"\\(.)", lambda match: {"n": "\n"}.get(match[1], match[1]), escaped)
    plain = value.replace("\r\n", "\n").replace("\r", "\n")
    assert undone == "".join(sign for sign in plain if sign in "\n\t" or (sign >= " " and sign != "\x7f"))


def test_escapes_as_the_standard_has_them():
    """RFC 5545, 3.3.11 (from memory): \\\\ \\; \\, \\n."""
    assert icalendar.text("Aarn; north, pier\\2\nshed") == "Aarn\\; north\\, pier\\\\2\\nshed"


@pytest.mark.django_db
def test_an_event(stage: Stage, settings):
    settings.PUBLIC_URL = "https://office.example"
    visit = stage.visit("planned")
    lines = unfolded(icalendar.calendar_of([visit], name="Office", now=NOW))
    assert lines[:2] == ["BEGIN:VCALENDAR", "VERSION:2.0"]
    assert lines[-1] == "END:VCALENDAR"
    event = lines[lines.index("BEGIN:VEVENT") : lines.index("END:VEVENT") + 1]
    assert event == [
        "BEGIN:VEVENT",
        f"UID:visit-{visit.key}@office.example",
        "DTSTAMP:20260504T093000Z",
        f"SEQUENCE:{visit.edition}",
        "DTSTART;VALUE=DATE:20230516",
        "DTEND;VALUE=DATE:20230517",
        "SUMMARY:Measure Quiet Margin (SKE 214)",
        "LOCATION:Skerrin Haven",
        f"URL:https://office.example/visits/{visit.key}/",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


# ---- What it tells ----


@pytest.mark.django_db
def test_ones_own_visits_and_nobodys_name(cast: Cast, stage: Stage):
    visit = stage.visit("planned")
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    _, token = make_calendar(by=cast.measurer)
    text = "\n".join(read(Client(), token))
    assert visit.key in text
    assert "Dunlin" not in text
    for person in cast.people().values():
        assert person.name not in text
        assert person.email not in text
        assert person.key not in text
    assert visit.request not in text


@pytest.mark.django_db
def test_the_office_has_everybodys(cast: Cast, stage: Stage):
    stage.visit("planned")
    planned(cast, "Dunlin", "Aarn", measurer=cast.second_measurer)
    _, token = make_calendar(by=cast.reviewer)
    text = "\n".join(read(Client(), token))
    assert "Measure Dunlin" in text
    assert "Measure Quiet Margin" in text
    assert cast.measurer.name not in text


@pytest.mark.django_db
def test_what_was_called_off_or_is_long_past_is_not_in_it(cast: Cast, stage: Stage):
    visit = stage.visit("planned")
    planned(cast, "Older", "Aarn", on=TODAY - dt.timedelta(days=91))
    planned(cast, "Recent", "Aarn", on=TODAY - dt.timedelta(days=90))
    _, token = make_calendar(by=cast.measurer)
    assert "Older" not in "\n".join(read(Client(), token))
    actions.call_off_visit(by=cast.administrator, visit=visit, reason="Storm.")
    text = "\n".join(read(Client(), token))
    assert "Quiet Margin" not in text
    assert "Recent" in text


@pytest.mark.django_db
def test_more_visits_cost_no_more_queries(cast: Cast):
    _, token = make_calendar(by=cast.measurer)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            read(Client(), token)
        return len(captured)

    planned(cast, "Avocet", "Aarn")
    few = queries()
    for number in range(5):
        planned(cast, f"Tern {'x' * number}", "Aarn")
    assert queries() == few


# ---- The address ----


@pytest.mark.django_db
def test_only_the_hash_is_kept_and_the_trail_knows(cast: Cast):
    feed, token = make_calendar(by=cast.measurer)
    assert len(token) >= 43, "256 bits in base64"
    assert feed.token_sha256 == icalendar_hash(token)
    row = Entry.objects.get(verb="make_calendar")
    assert json.loads(row.after) == {"person": cast.measurer.key}
    everything = [str(value) for one in Entry.objects.values() for value in one.values()]
    assert not any(token in value or feed.token_sha256 in value for value in everything)
    revoke_calendar(by=cast.measurer)
    assert Entry.objects.filter(verb="revoke_calendar").count() == 1


def icalendar_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@pytest.mark.django_db
def test_an_ended_address_answers_no_more(cast: Cast):
    _, token = make_calendar(by=cast.measurer)
    assert find_calendar(token) is not None
    revoke_calendar(by=cast.measurer)
    assert find_calendar(token) is None
    assert Client().get(reverse("surveys:calendar_feed", args=[token])).status_code == 404
    with pytest.raises(WrongState):
        revoke_calendar(by=cast.measurer)


@pytest.mark.django_db
def test_a_new_address_ends_the_former(cast: Cast):
    _, first = make_calendar(by=cast.measurer)
    _, second = make_calendar(by=cast.measurer)
    assert first != second
    assert find_calendar(first) is None
    assert find_calendar(second) is not None
    assert CalendarFeed.objects.filter(revoked_at=None).count() == 1


@pytest.mark.django_db
def test_whoever_leaves_the_office_reads_no_more(cast: Cast):
    _, token = make_calendar(by=cast.measurer)
    _, other = make_calendar(by=cast.second_measurer)
    roles.disable(by=cast.administrator, person=cast.measurer, reason="Moved away.")
    roles.end_role(by=cast.administrator, person=cast.second_measurer, role="measurer", reason="Retired.")
    for one in (token, other):
        assert Client().get(reverse("surveys:calendar_feed", args=[one])).status_code == 404


@pytest.mark.django_db
@pytest.mark.parametrize("part", ["owner", "race_committee", "stranger"])
def test_who_has_no_calendar(cast: Cast, part: str):
    person = getattr(cast, part)
    with pytest.raises(NotAllowed):
        make_calendar(by=person)
    client = as_(person)
    assert client.get(reverse("surveys:calendar")).status_code == 403
    assert client.post(reverse("surveys:make_calendar")).status_code == 403
    assert not CalendarFeed.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("token", ["nothing", "x" * 500, "’ OR 1=1", "%00"])
def test_an_address_that_was_never_made(token: str):
    assert Client().get(reverse("surveys:calendar_feed", args=[token])).status_code == 404


@pytest.mark.django_db
def test_the_pages(cast: Cast):
    client = as_(cast.measurer)
    assert "Make an address" in client.get(reverse("surveys:calendar")).content.decode()
    answer = client.post(reverse("surveys:make_calendar"))
    assert "no-store" in answer["Cache-Control"]
    (token,) = re.findall(r"/visits/calendar/feed/([\w-]+)\.ics", answer.content.decode())
    assert read(Client(), token)
    again = client.get(reverse("surveys:calendar")).content.decode()
    assert token not in again
    assert "End the address" in again
    assert client.post(reverse("surveys:revoke_calendar")).status_code == 302
    assert Client().get(reverse("surveys:calendar_feed", args=[token])).status_code == 404
    assert client.get(reverse("surveys:make_calendar")).status_code == 405
