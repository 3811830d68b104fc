"""The pages of the certificates: who reaches them, what they show and store, and that nothing typed is lost."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import openpyxl
import pytest
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.refusals import Refusal
from office.certificates import actions, paper, pdf, snapshot
from office.certificates.models import Certificate, Document
from tests.office.certificates.conftest import make_boat

pytestmark = [pytest.mark.usefixtures("quick_papers"), pytest.mark.any_database]

OFFICE = {"reviewer", "certifier", "administrator"}
SEES_ALL = OFFICE | {"measurer", "second_measurer"}


def today() -> dt.date:
    return timezone.localdate()


@pytest.fixture
def enter(client, cast):
    def as_part(part):
        client.force_login(cast.people()[part])
        return client

    return as_part


def test_who_reaches_which_page(enter, cast, issued, client):
    number, visit = issued.number, issued.visit.key
    expected = {
        reverse("certificates:list"): SEES_ALL | {"owner", "other_owner"},
        reverse("certificates:export", args=["csv"]): SEES_ALL | {"owner", "other_owner"},
        reverse("certificates:export", args=["xlsx"]): SEES_ALL | {"owner", "other_owner"},
        reverse("certificates:certificate", args=[number]): SEES_ALL | {"owner"},
        reverse("certificates:pdf", args=[number, "A4"]): SEES_ALL | {"owner"},
        reverse("certificates:pdf", args=[number, "Letter"]): SEES_ALL | {"owner"},
        reverse("certificates:issue", args=[visit]): {"certifier"},
        reverse("certificates:withdraw", args=[number]): {"certifier"},
    }
    for address, allowed in expected.items():
        client.logout()
        answer = client.get(address)
        assert (answer.status_code, "/sign-in" in answer.get("Location", "")) == (302, True), address
        for part in cast.people():
            wanted = 200 if part in allowed else 403
            assert enter(part).get(address).status_code == wanted, (address, part)


@pytest.mark.parametrize("name", ["certificate", "withdraw"])
def test_no_such_certificate(enter, db, cast, name: str):
    assert enter("certifier").get(reverse(f"certificates:{name}", args=["RM-1999-0001"])).status_code == 404


def test_no_such_paper_and_no_such_file(enter, issued):
    client = enter("certifier")
    assert client.get(reverse("certificates:pdf", args=[issued.number, "A3"])).status_code == 404
    assert client.get(reverse("certificates:export", args=["pdf"])).status_code == 404


# ---- The list ----


@pytest.fixture
def several(row):
    """Five certificates of five boats, one in each standing today."""
    first, last = today() - dt.timedelta(days=40), today() + dt.timedelta(days=40)
    spans: dict[str, dict[str, Any]] = {
        "in_force": {"valid_from": first, "valid_until": last, "in_force_before": last + dt.timedelta(days=1)},
        "not_yet": {"valid_from": last, "valid_until": last, "in_force_before": last + dt.timedelta(days=1)},
        "expired": {"valid_from": first, "valid_until": first, "in_force_before": first + dt.timedelta(days=1)},
        "replaced": {"valid_from": first, "valid_until": last, "in_force_before": today(), "ending": "replaced"},
        "withdrawn": {"valid_from": first, "valid_until": last, "in_force_before": today(), "ending": "withdrawn"},
    }
    return {
        stands: row(boat=make_boat(f"=cmd {stands}", sail_number=f"QVL {900 + index}"), **span)
        for index, (stands, span) in enumerate(spans.items())
    }


def numbers_on(answer) -> list[str]:
    return [one.number for one, _ in answer.context["rows"]]


@pytest.mark.parametrize("stands", ["in_force", "not_yet", "expired", "replaced", "withdrawn"])
def test_filtered_by_standing(enter, several, stands: str):
    answer = enter("reviewer").get(reverse("certificates:list"), {"standing": stands})
    assert numbers_on(answer) == [several[stands].number]


def test_as_it_was_on_another_day(enter, several):
    on = (today() - dt.timedelta(days=1)).isoformat()
    answer = enter("reviewer").get(reverse("certificates:list"), {"standing": "in_force", "on": on})
    assert set(numbers_on(answer)) == {several[name].number for name in ("in_force", "replaced", "withdrawn")}


def test_found_by_number_boat_and_sail_number(enter, several):
    client, one = enter("reviewer"), several["expired"]
    for text in (one.number, one.number.lower(), "=cmd exp", "qvl-902", "902"):
        assert numbers_on(client.get(reverse("certificates:list"), {"q": text})) == [one.number], text
    assert numbers_on(client.get(reverse("certificates:list"), {"q": "nothing like it"})) == []


@pytest.mark.parametrize("query", [{"on": "yesterday"}, {"standing": "perhaps"}, {"sort": "'; drop"}, {"page": "-3"}])
def test_nonsense_in_the_address_is_no_error_of_the_server(enter, several, query):
    assert enter("reviewer").get(reverse("certificates:list"), query).status_code == 200
    assert enter("reviewer").get(reverse("certificates:export", args=["csv"]), query).status_code == 200


def test_sorted_both_ways(enter, several):
    client = enter("reviewer")
    for key in ("number", "boat", "sail", "from", "until", "issued"):
        up = numbers_on(client.get(reverse("certificates:list"), {"sort": key}))
        down = numbers_on(client.get(reverse("certificates:list"), {"sort": f"-{key}"}))
        assert len(up) == 5
        assert up == down[::-1]


def test_the_number_of_queries_does_not_grow_with_the_rows(enter, several, row, django_assert_num_queries):
    client = enter("reviewer")

    def count() -> int:
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("certificates:list"))
            client.get(reverse("certificates:export", args=["csv"]))
        return len(captured)

    few = count()
    for _ in range(30):
        row()
    assert count() == few


def test_exported_whole_and_nothing_a_spreadsheet_would_run(enter, several, row):
    for _ in range(60):
        row()
    client = enter("reviewer")
    content = client.get(reverse("certificates:export", args=["csv"]), {"sort": "number"}).content.decode()
    table = list(csv.DictReader(io.StringIO(content)))
    assert len(table) == 65
    assert {line["boat"][0] for line in table if "cmd" in line["boat"]} == {"'"}
    standings = {line["certificate"]: line["standing"] for line in table}
    assert standings[several["withdrawn"].number] == "Withdrawn"
    book = openpyxl.load_workbook(io.BytesIO(client.get(reverse("certificates:export", args=["xlsx"])).content))
    sheet = book.active
    assert sheet.max_row == 66
    assert not [cell for line in sheet.iter_rows() for cell in line if cell.data_type == "f"]


def test_an_owner_sees_the_own_boats_only(enter, issued, several):
    assert numbers_on(enter("owner").get(reverse("certificates:list"))) == [issued.number]
    assert numbers_on(enter("other_owner").get(reverse("certificates:list"))) == []


def test_an_owner_of_yesterday_reads_nothing_any_more(enter, cast, issued):
    owned = issued.boat.ownerships.get()
    boat_actions.end_ownership(
        by=cast.administrator, ownership=owned, until=today() - dt.timedelta(days=1), reason="Sold."
    )
    assert enter("owner").get(reverse("certificates:certificate", args=[issued.number])).status_code == 403
    assert enter("owner").get(reverse("certificates:pdf", args=[issued.number, "A4"])).status_code == 403


# ---- One certificate and its papers ----


def test_what_the_page_shows(enter, cast, issued):
    again = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="<b>Misspelt</b>")
    client = enter("owner")
    page = client.get(reverse("certificates:certificate", args=[issued.number])).content.decode()
    assert "Replaced" in page
    assert reverse("certificates:certificate", args=[again.number]) in page
    page = client.get(reverse("certificates:certificate", args=[again.number])).content.decode()
    document = snapshot.read(again)
    for part in (
        "In force", again.snapshot_sha256, again.trail_head, document["visit"]["sign_off"]["content_sha256"],
        "&lt;b&gt;Misspelt&lt;/b&gt;", document["boat"]["name"], "Jonas Reef", "Mara Lind", "Ines Holm", "T-03",
        reverse("certificates:certificate", args=[issued.number]),
        reverse("certificates:pdf", args=[again.number, "A4"]),
        f"{reverse('trail:list')}?certificate={again.number}", reverse("racing:certificate", args=[again.number]),
    ):  # fmt: skip
        assert part in page, part
    assert "<b>Misspelt" not in page
    assert "Issue a correction" not in page
    assert ' style="' not in page


def test_the_page_says_what_it_said_though_the_boat_has_changed(enter, cast, issued):
    boat = issued.boat
    boat_actions.change_particulars(
        by=cast.administrator, boat=boat, edition=boat.edition, reason="Renamed.", name="Other Name"
    )
    answer = enter("reviewer").get(reverse("certificates:certificate", args=[issued.number]))
    assert answer.context["c"]["boat"]["name"] == "Quiet Margin"


def test_buttons_say_why_not(enter, cast, issued):
    actions.withdraw(by=cast.certifier, certificate=issued, on=today(), reason="Sold.")
    page = enter("certifier").get(reverse("certificates:certificate", args=[issued.number])).content.decode()
    assert f"{issued.number} is withdrawn already; it cannot be withdrawn." in page
    assert reverse("certificates:withdraw", args=[issued.number]) not in page
    assert enter("certifier").get(reverse("certificates:withdraw", args=[issued.number])).status_code == 409


@pytest.mark.parametrize("size", paper.SIZES)
def test_the_paper_as_it_was_issued(enter, issued, size: str):
    answer = enter("owner").get(reverse("certificates:pdf", args=[issued.number, size]))
    assert answer.content == bytes(Document.objects.get(certificate=issued, paper=size).pdf)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="{issued.number}-{size}.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_paper_that_was_altered_is_not_handed_out(enter, row):
    certificate = row()
    Document.objects.create(certificate=certificate, paper="A4", pdf=b"%PDF-x", pdf_sha256="00" * 32)
    answer = enter("reviewer").get(reverse("certificates:pdf", args=[certificate.number, "A4"]))
    assert answer.status_code == 409
    assert b"does not have its hash" in answer.content


# ---- Issue ----


def post_issue(client, visit, **changes):
    data = {"valid_from": today().isoformat(), "replacing": "", "reason": "", "confirmed": "on", **changes}
    return client.post(reverse("certificates:issue", args=[visit.key]), data)


def test_shown_first_then_issued(enter, accepted):
    client = enter("certifier")
    page = client.get(reverse("certificates:issue", args=[accepted.key]))
    text = page.content.decode()
    assert f"RM-{today().year}-0001" in text
    assert f"{today().year}-12-31" in text
    assert not Certificate.objects.exists()
    answer = post_issue(client, accepted)
    made = Certificate.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, reverse("certificates:certificate", args=[made.number]))
    assert snapshot.read(made)["dimensions"] == page.context["ready"].document["dimensions"]


def test_the_day_is_chosen_before(enter, accepted):
    client = enter("certifier")
    address = reverse("certificates:issue", args=[accepted.key])
    later = (today() + dt.timedelta(days=3)).isoformat()
    assert client.get(address, {"valid_from": later}).context["c"]["validity"]["from"] == later
    past = client.get(address, {"valid_from": "2020-01-01"})
    assert "at the earliest" in past.content.decode()
    assert "ready" not in past.context
    nonsense = client.get(address, {"valid_from": "soon"})
    assert "Expected a date as in 2026-05-04." in nonsense.content.decode()


def test_not_without_the_confirmation_and_nothing_typed_is_lost(enter, accepted):
    answer = post_issue(enter("certifier"), accepted, confirmed="", reason="A long reason, typed once.")
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "A long reason, typed once." in text
    assert "Confirm that you have read" in text
    assert not Certificate.objects.exists()


def test_a_second_click_is_said_and_shows_what_stands(enter, accepted):
    client = enter("certifier")
    post_issue(client, accepted)
    number = Certificate.objects.get().number
    answer = post_issue(client, accepted, reason="x")
    assert answer.status_code == 422
    text = answer.content.decode()
    assert f"This would now replace {number}, not none" in text
    assert f'name="replacing" value="{number}"' in text
    assert "checked" not in text
    assert Certificate.objects.count() == 1


def test_a_correction_by_its_form(enter, issued):
    client = enter("certifier")
    page = client.get(reverse("certificates:issue", args=[issued.visit.key])).content.decode()
    assert f"Correct {issued.number}" in page
    missing = post_issue(client, issued.visit, replacing=issued.number)
    assert missing.status_code == 422
    assert "A reason is needed" in missing.content.decode()
    assert post_issue(client, issued.visit, replacing=issued.number, reason="Misspelt.").status_code == 302
    assert Certificate.objects.get(replaces=issued).issue_reason == "Misspelt."


@pytest.mark.parametrize(
    "data", [{"valid_from": "2026-13-45"}, {"valid_from": ""}, {"reason": "x" * 5000}, {"replacing": "y" * 90}]
)
def test_nonsense_sent_is_said(enter, accepted, data):
    answer = post_issue(enter("certifier"), accepted, **data)
    assert answer.status_code == 422
    assert not Certificate.objects.exists()


def test_a_visit_not_accepted_is_refused_on_a_page(enter, stage):
    answer = enter("certifier").get(reverse("certificates:issue", args=[stage.visit("signed").key]))
    assert answer.status_code == 409
    assert "Only an accepted visit can be certified" in answer.content.decode()


# ---- Withdraw ----


def test_withdrawn_by_its_form(enter, issued):
    client, address = enter("certifier"), reverse("certificates:withdraw", args=[issued.number])
    assert "cannot be undone" in client.get(address).content.decode()
    missing = client.post(address, {"on": today().isoformat(), "reason": "", "confirmed": "on"})
    assert missing.status_code == 422
    assert client.post(address, {"on": today().isoformat(), "reason": "Sold."}).status_code == 422
    wrong = client.post(address, {"on": "2020-01-01", "reason": "Sold abroad.", "confirmed": "on"})
    assert wrong.status_code == 422
    assert "Sold abroad." in wrong.content.decode()
    issued.refresh_from_db()
    assert issued.ending == ""
    done = client.post(address, {"on": today().isoformat(), "reason": "Sold.", "confirmed": "on"})
    assert done.status_code == 302
    issued.refresh_from_db()
    assert (issued.ending, issued.ending_reason) == ("withdrawn", "Sold.")
    again = client.post(address, {"on": today().isoformat(), "reason": "Sold.", "confirmed": "on"})
    assert again.status_code == 409
    assert "withdrawn already" in again.content.decode()


def test_where_no_paper_can_be_made_nothing_is_issued_and_nothing_is_lost(enter, accepted, monkeypatch):
    """Missing libraries, or a name no font can print: the sentence stands in the form, with what was typed."""

    def refuse(document: dict[str, Any], *_: Any) -> dict[str, bytes]:
        raise Refusal("The fonts of this machine lack “漢” (U+6F22).")

    monkeypatch.setattr(pdf, "render_all", refuse)
    answer = post_issue(enter("certifier"), accepted, reason="Typed once.")
    assert answer.status_code == 422
    assert "lack “漢” (U+6F22)" in answer.content.decode()
    assert "Typed once." in answer.content.decode()
    assert not Certificate.objects.exists()
