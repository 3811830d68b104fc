"""A tape found wrong: which certificates rest on it, by how much they would move, and what is done with them."""

from __future__ import annotations

import csv
import datetime as dt
import io

import openpyxl
import pytest
from django.urls import reverse
from django.utils import timezone

from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions, recalling
from office.certificates.models import Certificate, Suspension
from surveys.actions import record_instrument
from tests.surveys.makers import VISIT_DAY

pytestmark = pytest.mark.usefixtures("quick_papers")
ALWAYS = (dt.date.min, dt.date.max)
REASON = "Stretched by a fall; compared with the reference."


@pytest.fixture
def tape(stage):
    return stage.kit["T-03"]


def test_what_rests_on_it(cast, issued, tape):
    correction = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="A misprint.")
    assert set(recalling.resting_on(tape, *ALWAYS)) == {issued, correction}
    assert not recalling.resting_on(tape, dt.date.min, VISIT_DAY - dt.timedelta(days=1)).exists()
    assert not recalling.resting_on(tape, VISIT_DAY + dt.timedelta(days=1), dt.date.max).exists()
    unused = record_instrument(by=cast.administrator, identifier="T-99", kind="steel_tape")
    assert not recalling.resting_on(unused, *ALWAYS).exists()
    issued.refresh_from_db()
    assert [one.standing for one in recalling.weigh([issued, correction], tape, None)] == ["replaced", "in_force"]


def test_by_how_much(issued, tape):
    """The luff by the tape's error in proportion to its length, what the tape did not touch not at all."""
    applied, found = 0.8, 6.8
    (row,) = recalling.weigh([issued], tape, found)
    moved = {(one.result.slug, one.result.mast): one for one in row.effects}
    luff = moved["luff", "main"]
    assert luff.result.value is not None
    assert luff.shift == pytest.approx(luff.result.value * (found - applied) / 30000.0, rel=1e-3)
    assert ("section_fore_aft_lower", "main") not in moved  # by the calliper
    assert [one.weight for one in row.effects] == sorted((one.weight for one in row.effects), reverse=True)
    assert luff.beyond_limit == (abs(luff.shift) > luff.limit)
    (same,) = recalling.weigh([issued], tape, applied)
    assert same.effects == ()
    (unknown,) = recalling.weigh([issued], tape, None)
    assert unknown.effects is None
    (gross,) = recalling.weigh([issued], tape, 60.0)
    assert gross.matters
    assert not row.may_be_ticked or row.standing == "in_force"


@pytest.mark.parametrize(("verb", "stands"), [("suspend", "suspended"), ("withdraw", "withdrawn")])
def test_the_ticked_ones(cast, issued, tape, verb: str, stands: str):
    outcomes = recalling.recall(
        by=cast.certifier, instrument=tape, numbers=[issued.number, issued.number, "no-such"], verb=verb, reason=REASON
    )
    assert [(one.number, bool(one.refusal)) for one in outcomes] == [(issued.number, False), ("no-such", True)]
    again = Certificate.objects.get()
    (row,) = recalling.weigh([again], tape, None)
    assert row.standing == stands
    entry = Entry.objects.order_by("-number").first()
    assert (entry.verb, entry.subject_label or entry.subject) == ("recall_certificates", "T-03")
    rows = Entry.objects.count()
    second = recalling.recall(by=cast.certifier, instrument=tape, numbers=[issued.number], verb=verb, reason=REASON)
    assert "already" in second[0].refusal
    assert Entry.objects.count() == rows


@pytest.mark.parametrize("part", ["measurer", "reviewer", "owner", "race_committee", "administrator", "stranger"])
def test_only_a_certifier(cast, issued, tape, part: str):
    with pytest.raises(NotAllowed):
        recalling.recall(
            by=cast.people()[part], instrument=tape, numbers=[issued.number], verb="suspend", reason=REASON
        )
    assert not Suspension.objects.exists()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [({"numbers": []}, "Tick"), ({"reason": " "}, "reason"), ({"verb": "burn"}, "suspends or withdraws")],
)
def test_never_half_asked(cast, issued, tape, typed, sentence: str):
    given = {"numbers": [issued.number], "verb": "suspend", "reason": REASON, **typed}
    with pytest.raises(WrongState, match=sentence):
        recalling.recall(by=cast.certifier, instrument=tape, **given)


def test_pages_and_files(client, cast, issued, tape):
    client.force_login(cast.certifier)
    assert (
        reverse("certificates:recall", args=["T-03"])
        in client.get(reverse("instruments:instrument", args=["T-03"])).content.decode()
    )
    query = {"first": "2023-01-01", "last": "2023-12-31", "error": "60"}
    page = reverse("certificates:recall", args=["T-03"])
    text = client.get(page, query).content.decode()
    assert issued.number in text
    assert "beyond U and the limit" in text
    wrong = client.get(page, {**query, "last": "2022-01-01"})
    assert "lies before the first" in wrong.content.decode()
    files = {kind: reverse("certificates:recall_export", args=["T-03", kind]) for kind in ("csv", "xlsx", "pdf", "doc")}
    rows = list(csv.DictReader(io.StringIO(client.get(files["csv"], query).content.decode())))
    assert {one["certificate"] for one in rows} == {issued.number}
    assert any(one["dimension"] == "luff" and float(one["would_move_by"]) > 10 for one in rows)
    book = openpyxl.load_workbook(io.BytesIO(client.get(files["xlsx"], query).content))
    assert book.active.max_row == len(rows) + 1
    assert client.get(files["pdf"], query).content.startswith(b"%PDF-")
    assert client.get(files["doc"], query).status_code == 404
    typed = {"number": [issued.number], "verb": "suspend", "reason": ""}
    where = f"{page}?first=2023-01-01&last=2023-12-31&error="
    assert (client.post(where, typed).status_code, Suspension.objects.count()) == (422, 0)
    done = client.post(where, {**typed, "reason": REASON})
    assert (done.status_code, Suspension.objects.count()) == (200, 1)
    assert f"{issued.number} done" in done.content.decode()
    assert timezone.localdate() == Suspension.objects.get().since
