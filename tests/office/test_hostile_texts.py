"""Texts that a page or a spreadsheet would run: whatever people can be called and can write is shown, and no more.

Every text of every table is one: TYPED names the columns that people fill; a new column must be in one of the lists.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models, transaction
from django.test import Client

from boats import actions as boat_actions
from boats.models import Boat, Design
from office import papers, spreadsheets
from office.audit import triggers
from office.certificates import amending, paper, pdf, snapshot
from office.people.models import Person
from office.racing.models import Check, EntryList
from surveys import actions
from surveys.models import Visit
from tests.cast import Cast, make_cast
from tests.office import test_urls_by_role as by_role
from tests.office.test_urls_by_role import TABLE, World
from tests.surveys.makers import Stage, register_boat, sheet

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def entering(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


SCRIPT = "=1+<img src=x onerror=alert(1)>\"'&{{ 7|add:7 }}"
TRACE = "<img src=x"


def hostile_boat(cast: Cast) -> Boat:
    """Every text a person can give her is a piece of a page."""
    Person.objects.update(name=SCRIPT)
    for one in cast.people().values():
        one.refresh_from_db()
    boat = register_boat(cast, name=SCRIPT)
    Boat.objects.filter(pk=boat.pk).update(builder=SCRIPT, harbour=SCRIPT, design=Design.objects.create(
        name=SCRIPT, designer=SCRIPT, remark=SCRIPT
    ))  # fmt: skip
    mast = {"name": "main", "material": "aluminium", "spreader_pairs": 2, "upper_band": True}
    boat_actions.describe_rig(
        by=cast.administrator, boat=boat, since=dt.date(2020, 4, 2), rig_type="sloop", spinnaker=True, pole=True,
        masts=[{**mast, "mast_identification": SCRIPT, "boom_identification": SCRIPT}],
        pole_identification=SCRIPT, reason=SCRIPT,
    )  # fmt: skip
    boat.refresh_from_db()
    return boat


def fill_with_hostile_texts(stage: Stage, visit: Visit) -> None:
    actions.take_log_sheet(
        by=stage.cast.measurer, visit=visit, sheet=stage.of_this_boat(sheet()), filename=f"{SCRIPT}.csv"
    )
    Visit.objects.filter(pk=visit.pk).update(place=SCRIPT, remark=SCRIPT, request=SCRIPT)
    visit.refresh_from_db()
    reading = {"slug": "spinnaker_halyard_above_band", "mast": "main", "text": "12238", "unit": "mm"}
    position = SCRIPT[:40]
    actions.record_reading(
        by=stage.cast.measurer, visit=visit, position=position, take=1, instrument=stage.kit["T-03"], remark=SCRIPT,
        **reading,
    )  # fmt: skip


# The columns that people fill, by the name they have in every table.
TYPED = {
    "name", "designer", "remark", "source", "builder", "harbour", "text", "settlement", "reason", "request", "place",
    "pole_identification", "mast_identification", "boom_identification", "maker", "serial_number", "out_of_use_reason",
    "laboratory", "reference", "question", "answer", "acceptance_reason", "removed_reason", "settled_reason",
    "issue_reason", "ending_reason", "lift_reason", "refusal", "equipment_rules_by", "filename", "signatory", "title",
    "firmware", "accreditation", "what", "done_by", "evidence", "withdrawal_reason",
    "findings", "measures", "told_how", "complainant_name", "complainant_contact",
    "revocation", "office_name", "office_place", "rules_text", "subject_label", "written", "email", "device",
}  # fmt: skip
# What the office makes itself, or takes in one form only: keys, hashes, numbers, words of its own lists.
NOT_TYPED = {
    "at", "actor", "role", "verb", "subject_kind", "subject", "boat", "visit", "certificate", "before", "after",
    "previous_hash", "hash", "password", "key", "token_sha256", "kind", "leads_to", "once", "content_type",
    "made_by_key", "number_prefix", "reminder_days", "dimension", "mast", "name_normal", "name_from_2", "name_from_3",
    "name_from_4", "sail_number", "sail_number_normal", "sail_digits", "near_number", "near_name", "hin",
    "changed_by_key", "consequence", "rig_type", "material", "rigging_material", "token", "outcome", "slug", "position",
    "unit_written", "choice", "sha256", "identifier", "accuracy_class", "interest", "item", "check_key", "meaning",
    "content", "content_sha256", "number", "snapshot", "snapshot_sha256", "trail_head", "paper", "pdf_sha256",
    "public", "private", "signature", "code", "instrument", "file_sha256", "results", "settled_how", "asker",
    "about", "sealed", "trouble", "taken_by", "method", "became",
}  # fmt: skip
# Under a signature, where a change would be found: hostile before it was signed, by the boat and the filled visit. Or
# the office's own words in a column of that name, or an address that letters are sent to.
KEPT = {
    "surveys.Visit.harbour", "surveys.Visit.place", "surveys.Visit.remark", "surveys.Reading", "boats.Mast.name",
    "surveys.PreparationAnswer.answer", "surveys.Photo.name", "surveys.ReadingConflict.written", "work.Worker.name",
    "racing.SpotReading.written", "people.Person.email", "people.Invitation.email", "boats.BoatInvitation.email",
    "work.WorkFile.name", "audit.Entry.reason",
}  # fmt: skip


def texts_of(model: type[models.Model]) -> Iterator[models.Field[Any, Any]]:
    for field in model._meta.concrete_fields:
        if isinstance(field, models.CharField | models.TextField) and not (field.choices or field.generated):
            yield field


def ours() -> list[type[models.Model]]:
    return [one for one in apps.get_models() if one.__module__.startswith(("boats.", "surveys.", "office."))]


def make_every_text_hostile() -> None:
    """Behind the back of the office, as some table might be filled by a way that checks nothing."""
    connection.check_constraints()
    with triggers.set_aside(connection), connection.cursor() as cursor:
        for model in ours():
            for field in texts_of(model):
                label = model._meta.label
                if field.name in TYPED and not {label, f"{label}.{field.name}"} & KEPT and not field.unique:
                    longest = field.max_length or len(SCRIPT)
                    column = connection.ops.quote_name(field.column or "")
                    table = connection.ops.quote_name(model._meta.db_table)
                    cursor.execute(f"UPDATE {table} SET {column} = %s", [SCRIPT[:longest]])
        for stored, name in ((EntryList, "content"), (Check, "results")):
            for row in stored._base_manager.all():
                text = getattr(row, name).replace('"Nobody"', json.dumps(SCRIPT))
                stored._base_manager.filter(pk=row.pk).update(**{name: text})
        connection.check_constraints()


PRINTED: list[str] = []  # what was to become a PDF since the last look


def printed(html: str, **_: object) -> bytes:
    PRINTED.append(html)
    return by_role.AN_EMPTY_PAGE


@pytest.fixture(scope="module")
def hostile(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    amend = amending.amend
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
        patch.setattr(papers, "write_pdf", printed)
        patch.setattr(amending, "amend", lambda **given: amend(**{**given, "text": SCRIPT, "reason": SCRIPT}))
        patch.setattr(by_role, "register_boat", hostile_boat)
        patch.setattr(Stage, "fill", fill_with_hostile_texts)
        world = World(make_cast())
        assert [html.count(TRACE) for html in PRINTED] == [0] * len(paper.SIZES)  # of the amendment
        assert all("&lt;img src=x" in html for html in PRINTED)
        PRINTED.clear()
        make_every_text_hostile()
        yield world
        transaction.set_rollback(True)


def test_every_column_of_texts_is_in_one_of_the_lists() -> None:
    names = {field.name for model in ours() for field in texts_of(model)}
    assert names == TYPED | NOT_TYPED
    assert not TYPED & NOT_TYPED


@pytest.mark.parametrize("name", [name for name, access in TABLE.items() if access.get])
def test_no_text_becomes_part_of_the_page(hostile: World, name: str) -> None:
    allowed = TABLE[name].get
    assert allowed
    for part in ("administrator", min(allowed)):
        client = entering(hostile.cast.people()[part])
        with transaction.atomic():
            answer = client.get(hostile.address(name))
            content = b"".join(answer) if answer.streaming else answer.content
            transaction.set_rollback(True)
        if answer.headers.get("Content-Type", "").startswith(("text/html", "image/svg", "text/javascript")):
            assert TRACE not in content.decode(), part
        for html in PRINTED:
            assert TRACE not in html, part
            assert "&lt;img src=x" in html, part
        PRINTED.clear()


def test_the_hostile_texts_were_there(hostile: World) -> None:
    """The test above would pass on pages without them."""
    shown = 0
    names = (
        "desk:boat", "surveys:visit", "desk:review", "trail:list", "racing:certificate", "certificates:list",
        "events:list", "events:event", "events:entry", "events:statements", "events:spot_check", "events:spot_checks",
        "access_keys:list", "certificates:certificate", "instruments:instrument", "boats:design", "policy:editions",
        "surveys:photos", "people:list", "certificates:settle", "racing:check", "home",
    )  # fmt: skip
    for name in names:
        page = entering(hostile.cast.administrator).get(hostile.address(name)).content.decode()
        assert "&lt;img src=x" in page, name
        shown += 1
    assert shown == len(names)


def test_no_text_becomes_part_of_the_paper(hostile: World) -> None:
    document = snapshot.read(hostile.certificate)
    assert SCRIPT in (document["boat"]["name"], document["people"]["measurer"]["name"])
    for size in paper.SIZES:
        html = paper.html_of(document, size)
        assert TRACE not in html
        assert "&lt;img src=x" in html


# ---- Spreadsheets ----

WITH_A_KIND = {name for name, one in by_role.ADDRESSES.items() if "kind" in one.pattern.converters}
EXPORTS = [*sorted(WITH_A_KIND - {"boats:end_interest"}), "surveys:export"]


def cells_of(answer: Any) -> list[str]:
    content = b"".join(answer) if answer.streaming else answer.content
    return [cell for row in csv.reader(io.StringIO(content.decode("utf-8-sig"))) for cell in row]


def is_formula(cell: str) -> bool:
    """What a spreadsheet works out when it opens the file; a number with its sign is none."""
    if not cell or cell[0] not in "=+-@\t\r":
        return False
    try:
        float(cell)
    except ValueError:
        return True
    return False


def test_the_exports() -> None:
    assert EXPORTS == [
        "boats:designs_export", "boats:export", "certificates:export", "certificates:recall_export",
        "complaints:export", "events:report", "instruments:export", "people:export",
        "surveys:export_list", "trail:export", "surveys:export",
    ]  # fmt: skip


@pytest.mark.parametrize("name", EXPORTS)
def test_nothing_in_an_export_is_a_formula(hostile: World, name: str) -> None:
    allowed = TABLE[name].get
    assert allowed
    part = "administrator" if "administrator" in allowed else min(allowed)
    with transaction.atomic():
        answer = entering(hostile.cast.people()[part]).get(hostile.address(name))
        cells = cells_of(answer)
        transaction.set_rollback(True)
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in answer.headers["Content-Disposition"]
    assert [cell for cell in cells if is_formula(cell)] == []
    assert any(TRACE in cell for cell in cells)  # they were there


@pytest.mark.parametrize("before", ["", " ", "\n", "\x0b", "\x00", "\x1f", "\x85", "\ufffe", " \x0c\n"])
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\uff1d", "\uff0b", "\uff20"])
def test_what_is_left_of_a_cell_is_no_formula(before: str, sign: str) -> None:
    """Signs that are taken out do not hide what stands after them; the wide forms are read as the plain ones."""
    kept = str(spreadsheets.safe(f"{before}{sign}cmd|' /C calc'!A0"))
    assert kept.startswith("'")
    assert sign in kept
