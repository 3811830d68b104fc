"""What the public page answers: every state by date, never a guess, nothing personal, four queries."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

import pytest
from django.urls import reverse

from boats.models import Boat
from boats.particulars import as_columns
from office.certificates import snapshot
from office.certificates.models import Certificate, Ending
from office.racing import answers
from surveys.models import Visit
from tests.office.certificates import samples

pytestmark = pytest.mark.django_db

MAY, JULY, AUGUST, LAST = (dt.date(2026, *day) for day in ((5, 4), (7, 1), (8, 15), (12, 31)))
_running = itertools.count(1)


def boat(name="Sea Lark", sail_number="QUA 117"):
    return Boat.objects.create(**as_columns({"name": name, "sail_number": sail_number}))


@pytest.fixture
def issue(cast):
    """Writes a certificate as the office would have, past its rules: from `since`, ending before `before`."""

    def write(boat: Boat, since: dt.date = MAY, before: dt.date | None = None, ending: str = "", **fields: Any):
        number = fields.pop("number", f"RM-2026-{next(_running):04d}")
        document = samples.document(number=number, name=boat.name, sail_number=boat.sail_number)
        text = snapshot.canonical(document)
        return Certificate.objects.create(
            boat=boat,
            visit=Visit.objects.create(boat=boat, measurer=cast.measurer),
            number=number,
            issued_at=dt.datetime(since.year, since.month, since.day, 9, 30, tzinfo=dt.UTC),
            issued_by=cast.certifier,
            valid_from=since,
            valid_until=LAST,
            in_force_before=before or dt.date(2027, 1, 1),
            ending=ending,
            ended_on=before if ending else None,
            ending_reason="Petra Skau sold her" if ending else "",
            snapshot=text,
            snapshot_sha256=snapshot.sha256(text),
            trail_head="0f" * 32,
            **fields,
        )

    return write


def standing_of(text, day):
    found = answers.look_up(text, day)
    assert found.answer is not None
    return found.answer.standing


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (MAY - dt.timedelta(days=1), "not_yet"),
        (MAY, "in_force"),
        (LAST, "in_force"),
        (LAST + dt.timedelta(days=1), "expired"),
        (dt.date.min, "not_yet"),
        (dt.date.max, "expired"),
    ],
)
def test_one_certificate_by_date(issue, day, expected):
    issue(boat())
    assert standing_of("QUA 117", day) == expected


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (MAY - dt.timedelta(days=1), "not_yet"),
        (MAY, "in_force"),
        (AUGUST - dt.timedelta(days=1), "in_force"),
        (AUGUST, "withdrawn"),
        (dt.date(2028, 1, 1), "withdrawn"),
    ],
)
def test_a_withdrawn_certificate_by_date(issue, day, expected):
    issue(boat(), before=AUGUST, ending=Ending.WITHDRAWN)
    assert standing_of("QUA 117", day) == expected


@pytest.mark.parametrize(
    ("day", "decides", "expected"),
    [
        (MAY - dt.timedelta(days=1), "old", ("not_yet", "not_yet", "not_yet")),
        (JULY, "old", ("in_force", "in_force", "not_yet")),
        (AUGUST - dt.timedelta(days=1), "old", ("in_force", "in_force", "not_yet")),
        (AUGUST, "new", ("in_force", "replaced", "in_force")),
        (dt.date(2027, 1, 1), "new", ("expired", "replaced", "expired")),
    ],
)
def test_a_replacement_by_date(issue, day, decides, expected):
    of_boat, of_old, of_new = expected
    hers = boat()
    old = issue(hers, before=AUGUST, ending=Ending.REPLACED)
    new = issue(hers, since=AUGUST, replaces=old)
    answer = answers.look_up("Sea Lark", day).answer
    assert answer is not None
    assert answer.paper is not None
    assert (answer.standing, answer.paper.certificate) == (of_boat, {"old": old, "new": new}[decides])
    for number, stands in ((old.number, of_old), (new.number, of_new)):
        paper = answers.look_up(number, day).asked_paper
        assert paper is not None
        assert paper.standing == stands
    asked = answers.look_up(old.number, day).asked_paper
    assert asked is not None
    assert asked.successor == new


def test_withdrawn_before_its_first_day_it_never_counts(issue):
    hers = boat()
    issue(hers, since=JULY, before=JULY, ending=Ending.WITHDRAWN)
    assert {standing_of("QUA 117", day) for day in (MAY, JULY, LAST)} == {"withdrawn"}
    issue(hers, since=MAY, before=JULY, ending=Ending.WITHDRAWN)
    assert standing_of("QUA 117", MAY) == "in_force"


def test_a_boat_without_a_certificate(issue):
    boat()
    assert standing_of("QUA 117", MAY) == "none"


def test_several_boats_are_listed_never_chosen(issue):
    issue(boat("Sea Lark", "QUA 117"))
    boat("Lark", "NOD 117")
    found = answers.look_up("117", JULY)
    assert found.answer is None
    assert {(match.boat.name, answer.standing) for match, answer in found.candidates} == {
        ("Sea Lark", "in_force"),
        ("Lark", "none"),
    }


def test_a_near_miss_is_only_a_candidate():
    boat("Sea Lark", "QUA 117")
    found = answers.look_up("NOD 117", JULY)
    assert found.answer is None
    assert [match.how for match, _ in found.candidates] == ["this number with other national letters"]
    assert answers.look_up("QUA 118", JULY) == answers.Found()


@pytest.mark.parametrize("text", ["QM-2026-0042", "qm-2026-0042", " qm 2026 0042 ", "QM20260042", "QM–2026–0042"])
def test_a_certificate_number_however_it_is_typed(issue, text):
    known = issue(boat(), number="QM-2026-0042")
    paper = answers.look_up(text, JULY).asked_paper
    assert paper is not None
    assert paper.certificate == known


@pytest.mark.parametrize(
    ("text", "queries"),
    [("QUA 117", 4), ("sea lark", 4), ("lark", 1), ("117", 4), ("QM-2026-0042", 3), ("QUA 999", 1), ("\0", 0)],
)
def test_few_queries_however_many_boats_and_certificates(issue, django_assert_num_queries, text, queries):
    hers = boat()
    issue(hers, number="QM-2026-0042", before=JULY, ending=Ending.WITHDRAWN)
    for number in range(40):
        issue(boat(f"Boat {number}", f"NOD {117 if number < 10 else number}"))
    with django_assert_num_queries(queries):
        found = answers.look_up(text, JULY)
        papers = [answer.paper for _, answer in found.candidates if answer.paper] + [found.asked_paper]
        assert all(paper is None or paper.successor is None for paper in papers)


# ---- The pages ----


def test_anybody_may_ask_without_signing_in(client, issue):
    known = issue(boat())
    page = client.get(reverse("racing:check"), {"q": "qua-0117", "on": "2026-07-01"})
    text = page.content.decode()
    assert page.status_code == 200
    assert "In force" in text
    assert known.number in text
    assert "2026-05-04" in text
    assert "2026-12-31" in text
    assert page.headers["Cache-Control"].startswith("max-age=0")


def test_today_unless_a_day_is_given(client, issue, monkeypatch):
    issue(boat())
    for today, word in ((MAY, "In force"), (dt.date(2027, 1, 1), "Expired"), (dt.date(2026, 1, 1), "Not yet in force")):
        monkeypatch.setattr("django.utils.timezone.localdate", lambda today=today: today)
        assert word in client.get(reverse("racing:check"), {"q": "QUA 117"}).content.decode()


def test_nothing_personal_is_said(client, issue, cast):
    hers = boat()
    hers.ownerships.create(person=cast.owner, since=MAY)
    known = issue(hers, before=AUGUST, ending=Ending.WITHDRAWN)
    for address in (
        reverse("racing:check") + "?q=QUA117&on=2026-09-01",
        reverse("racing:check") + f"?q={known.number}&on=2026-09-01",
        reverse("racing:certificate", args=[known.number]) + "?on=2026-09-01",
    ):
        text = client.get(address).content.decode()
        assert "Withdrawn" in text
        for person in cast.people().values():
            assert person.name not in text
            assert person.key not in text
        assert "Petra Skau" not in text  # nor what the office wrote as the reason


def test_the_address_of_a_paper_shows_what_it_states(client, issue):
    hers = boat()
    old = issue(hers, before=AUGUST, ending=Ending.REPLACED)
    new = issue(hers, since=AUGUST, replaces=old)
    text = client.get(reverse("racing:certificate", args=[old.number]), {"on": "2026-09-01"}).content.decode()
    assert "Replaced" in text
    assert new.number in text
    assert old.snapshot_sha256 in text
    assert old.trail_head in text
    assert "13\u202f246.4" in text or "13\u2009246.4" in text
    assert "± 3.8" in text
    assert "does not give this hash" not in text


def test_a_boat_renamed_since_is_said(client, issue):
    hers = boat()
    known = issue(hers)
    address = reverse("racing:certificate", args=[known.number])
    assert "knows the boat today as" not in client.get(address).content.decode()
    Boat.objects.filter(pk=hers.pk).update(name="Kittiwake")
    assert "knows the boat today as Kittiwake" in client.get(address).content.decode()


def test_a_snapshot_that_does_not_give_its_hash_is_said(client, issue):
    known = issue(boat(), number="QM-2026-0042")
    copy = Certificate.objects.get(pk=known.pk)
    copy.pk, copy.number, copy.boat = None, "QM-2026-0043", boat("Gannet", "QUA 5")
    copy.snapshot = copy.snapshot.replace("Graugans", "Gannet").replace("QVL", "QUA").replace("13246", "13346")
    copy.save(force_insert=True)
    text = client.get(reverse("racing:certificate", args=["QM-2026-0043"])).content.decode()
    assert "does not give this hash" in text


@pytest.mark.parametrize("number", ["RM-2026-9999", "nonsense", "a" * 300, "'; drop", "١٢٣٤"])
def test_an_unknown_number_is_said(client, number):
    page = client.get(f"/check/c/{number}/")
    assert page.status_code == 404
    assert "No such certificate" in page.content.decode()


@pytest.mark.parametrize(
    ("asked", "status", "says"),
    [
        ({}, 200, "Anybody may ask"),
        ({"q": ""}, 422, "Expected a sail number"),
        ({"q": "QUA 117", "on": "yesterday"}, 422, "Expected a date as in"),
        ({"q": "QUA 117", "on": "2026-02-30"}, 422, "Expected a date as in"),
        ({"q": "x" * 81}, 422, "at most 80 characters"),
        ({"q": "\0"}, 422, "Null characters"),
        ({"q": "no such"}, 200, "No such boat and no such certificate"),
        ({"q": "QUA 117", "on": "0001-01-01"}, 200, "None"),
        ({"q": "QUA 117", "on": "9999-12-31"}, 200, "None"),
        ({"q": "<script>"}, 200, "No such boat"),
    ],
)
def test_what_is_typed_is_answered_or_said(client, asked, status, says):
    boat()
    page = client.get(reverse("racing:check"), asked)
    assert page.status_code == status
    assert says in page.content.decode()
    assert "<script>" not in page.content.decode().replace("<script src", "")


def test_nothing_is_changed_here(client):
    assert client.post(reverse("racing:check"), {"q": "QUA 117"}).status_code in {403, 405}
