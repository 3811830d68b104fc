"""Whatever a person can upload, type or put into an address: never a 500, and never half-stored.

The forms are found on the pages themselves: each page's own fields are sent back with one of them hostile and the
others as good as they can be, and with all of them hostile. Where the answer is a refusal (4xx), no table has a row
more or less than before.
"""

from __future__ import annotations

import io
import zipfile
from collections import Counter
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surveys.models import Reading, SignOff, Visit
from tests.cast import PASSWORD
from tests.office.test_urls_by_role import ADDRESSES, TABLE, World, world
from tests.surveys.makers import SHEET

__all__ = ["world"]

pytestmark = pytest.mark.django_db

# What one database takes and the other does not: it is asked on both.
UNSTORABLE = ("", "\0", "NaN", "1e400", "9" * 400, "2999-01-01", "99999-99-99", "x" * 5000)
# What says the same on either: it is asked on SQLite.
UNWELCOME = (
    "-inf",
    "-1",
    "0001-01-01",
    "٣٤",
    "=1+1",
    "<script>alert(1)</script>",
    "'; DROP TABLE visits; --",
    "{{ 7|add:7 }}{% now %}",
    "\u202egnp.exe\u0007",
    "⛵\U0001f9e8" * 30,
)
HOSTILE = (*UNSTORABLE, *UNWELCOME)
WORST = ("\0", "1e400", "9" * 400, "2999-01-01")  # where there is time for a few only
AT_ONCE = 4  # of the texts above, for a page with all of its fields or parameters; the next page gets the next ones
GOOD = {
    "reason": "Because it is so.", "name": "Tern", "email": "some@office.example", "roles": "owner", "role": "owner",
    "question": "From the track?", "answer": "From the track.", "request": "", "place": "The quay", "harbour": "Haven",
    "since": "2026-01-01", "until": "2026-02-01", "date": "2024-04-23", "planned_on": "2026-06-01", "on": "2026-06-01",
    "valid_from": "2026-06-01", "air_temperature": "12.5", "source": "the drawing", "least": "9000", "greatest": "9100",
    "text": "4120", "remark": "", "identifier": "T-44", "calibrated_on": "2026-01-01", "due_on": "2027-01-01",
    "error": "0.1", "password": PASSWORD, "username": "mara.lind@office.example", "sail_number": "SKE 99",
}  # fmt: skip
MOST_FIELDS = 14  # of one form; the readings page alone has over a hundred of a few kinds


class Fields(HTMLParser):
    """The fields of a page's posting forms with the values they came with."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str]]] = []
        self._inside = False
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = given.get("method", "").lower() == "post" and "sign-out" not in given.get("action", "")
            if self._inside:
                self.forms.append((given.get("action", ""), {}))
        if not self._inside:
            return
        fields, name = self.forms[-1][1], given.get("name", "")
        if tag in {"input", "textarea"} and name and name != "csrfmiddlewaretoken":
            fields.setdefault(name, given.get("value", ""))
        if tag == "select":
            self._select = name
            fields.setdefault(name, "")
        if tag == "option" and self._select and ("selected" in given or not fields[self._select]):
            fields[self._select] = given.get("value", fields[self._select])

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        if tag == "select":
            self._select = ""


def counts() -> dict[str, int]:
    """The rows of every table but the sessions' and what only counts requests."""
    beside = ("session", "interface_minute")
    known = [one._meta.db_table for one in apps.get_models()]
    tables = sorted(name for name in known if not any(word in name for word in beside))
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(f"SELECT '{one}', COUNT(*) FROM {one}" for one in tables))
        return dict(cursor.fetchall())


def entering(world: World, name: str) -> Client:
    """A client of somebody who may send this page's form."""
    allowed = TABLE[name].post
    assert allowed
    client = Client()
    if not TABLE[name].public:
        client.force_login(world.cast.people()["reviewer" if "reviewer" in allowed else min(allowed)])
    return client


def sent(client: Client, address: str, data: dict[str, Any]) -> Any:
    """The answer to a form; a refusal has stored nothing, and everything is taken back for the next one."""
    with transaction.atomic():
        before = counts()
        answer = client.post(address, data)
        after = counts()
        transaction.set_rollback(True)
    assert answer.status_code < 500
    if answer.status_code >= 400:
        assert after == before, {one: (before[one], after[one]) for one in after if after[one] != before[one]}
    return answer


def forms_of(world: World, name: str) -> tuple[Client, str, list[tuple[str, dict[str, str]]]]:
    client, address = entering(world, name), world.address(name)
    answer = client.get(address)
    parser = Fields()
    if answer.headers["Content-Type"].startswith("text/html"):
        parser.feed(answer.content.decode())
    return client, address, [(action or address, fields) for action, fields in parser.forms]


# The pages that show a form and are answered by it; what only takes a click has nothing to be filled in wrongly.
PAGES = [
    name for name, access in TABLE.items()
    if access.get is not None and access.post and not name.endswith(("export", "list", "pdf")) and name != "boats:boat"
]  # fmt: skip


def few(fields: dict[str, str]) -> Iterator[str]:
    """The fields to try, of each kind one: the readings page has a value, a unit, an instrument … for each reading."""
    kinds: dict[str, str] = {}
    for name in fields:
        kinds.setdefault(name.rpartition("-")[2], name)
    return iter(list(kinds.values())[:MOST_FIELDS])


def in_turn(texts: tuple[str, ...], place: int, many: int) -> list[str]:
    """So many of the texts for the page or field at this place, each text as often as any other over all of them."""
    return [texts[(place * many + one) % len(texts)] for one in range(many)]


@pytest.mark.parametrize("name", PAGES)
def test_a_hostile_text_in_one_field(world: World, name: str) -> None:
    client, _, forms = forms_of(world, name)
    for action, fields in forms:
        good = {one: value or GOOD.get(one, "") for one, value in fields.items()}
        for place, field in enumerate(few(fields), PAGES.index(name)):
            for text in in_turn(WORST, place, 2):
                sent(client, action, {**good, field: text})


def texts() -> tuple[str, ...]:
    return UNSTORABLE if connection.vendor == "postgresql" else UNWELCOME + WORST[:2]


@pytest.mark.parametrize("name", PAGES)
def test_hostile_texts_everywhere(world: World, name: str) -> None:
    client, _, forms = forms_of(world, name)
    for action, fields in forms:
        for text in in_turn(texts(), PAGES.index(name), AT_ONCE):
            sent(client, action, dict.fromkeys(fields, text))


def test_each_text_has_its_turn() -> None:
    for asked, many in ((WORST, 2), (UNSTORABLE, AT_ONCE), (UNWELCOME + WORST[:2], AT_ONCE)):
        turns = Counter(text for place in range(len(PAGES)) for text in in_turn(asked, place, many))
        assert set(turns) == set(asked)
        assert min(turns.values()) >= 20


def test_the_forms_were_found(world: World) -> None:
    """The two tests above would pass on pages without forms."""
    found = {name: sum(len(fields) for _, fields in forms_of(world, name)[2]) for name in PAGES}
    assert found["surveys:readings"] > 100
    assert found["desk:review"] >= 4
    assert sum(1 for fields in found.values() if fields) >= 30


# What stands in addresses besides keys; every page is asked with all of it at once, the lists with each alone as well.
ASKED = (
    "q", "sort", "page", "state", "since", "until", "standing", "on", "valid_from", "check", "position", "person",
    "kind", "due", "format", "before", "after", "verb", "boat", "visit", "certificate", "mark", "tape", "measurer",
    "name", "role", "design", "label",
)  # fmt: skip
PRINTED = {"surveys:paper", "surveys:budget_paper"}
LISTS = {
    "boats:list", "boats:spars", "surveys:list", "surveys:choose_boat", "certificates:list", "instruments:list",
    "people:list", "trail:list", "desk:fleet", "racing:check",
}  # fmt: skip


@pytest.mark.parametrize("name", [name for name, access in TABLE.items() if access.get])
def test_a_hostile_address(world: World, name: str) -> None:
    allowed = TABLE[name].get
    assert allowed
    client = Client()
    if not TABLE[name].public:
        client.force_login(world.cast.people()[min(allowed)])
    address = world.address(name).partition("?")[0]
    place = list(TABLE).index(name)
    asked = [dict.fromkeys(ASKED, text) for text in in_turn(WORST if name in PRINTED else texts(), place, AT_ONCE)]
    if name in LISTS:
        asked += [{one: text} for at, one in enumerate(ASKED, place) for text in in_turn(WORST, at, 2)]
    before = counts()
    for data in asked:
        answer = client.get(address, data)
        assert answer.status_code < 500, (data, answer.status_code)
        if hasattr(answer, "streaming_content"):
            b"".join(answer.streaming_content)
    assert counts() == before


@pytest.mark.parametrize("name", [name for name, one in ADDRESSES.items() if one.pattern.converters])
def test_hostile_keys(world: World, name: str) -> None:
    client = Client()
    client.force_login(world.cast.administrator)
    address = world.address(name).partition("?")[0]
    keys = {str(world.value(name, one)) for one in ADDRESSES[name].pattern.converters}
    parts = {part for part in address.split("/") if any(key in part for key in keys)}
    assert parts
    for text in ("%00", "%F0%9F%A7%A8", "x" * 3000, "99999999999999999999999", "%ff", "'%22<b>"):
        for part in parts:
            for method in ("get", "post"):
                answer = getattr(client, method)(address.replace(f"/{part}/", f"/{text}/"))
                assert answer.status_code < 500, (address, text)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(st.characters(exclude_categories=["Cs"]), max_size=60))
def test_any_text_as_a_reading(world: World, text: str) -> None:
    """A reading is taken as it was written, or the page says what it expects."""
    client = Client()
    client.force_login(world.cast.measurer)
    address = reverse("surveys:store_one", args=[world.returned.key, "foot_distance-main-one"])
    data = {"value": text, "unit": "mm", "instrument": "T-03", "take": "2"}
    answer = sent(client, address, {f"foot_distance-main-one-{one}": value for one, value in data.items()})
    assert answer.status_code in {200, 422}


# ---- Uploads ----


def zipped(**files: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, content in files.items():
            archive.writestr(path.replace("__", "/").replace("_xml", ".xml"), content)
    return target.getvalue()


def workbook(sheet: bytes, prologue: bytes = b"", **more: bytes) -> bytes:
    """A small .xlsx made by hand, with whatever else is put into it."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    book = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    target = io.BytesIO()
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"><Default Extension="rels" ContentType="'
        'application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="'
        f'{book}.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="{book}.worksheet+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="rId1" Type="{office}/'
        'officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet name="Log" sheetId="1" '
        'r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="rId1" '
        f'Type="{office}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
    }
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, content in parts.items():
            archive.writestr(path, content)
        archive.writestr(
            "xl/worksheets/sheet1.xml",
            b'%s<worksheet xmlns="%s"><sheetData>%s</sheetData></worksheet>' % (prologue, main.encode(), sheet),
        )
        for name, extra in more.items():
            archive.writestr(name.replace("__", "/").replace("_dot_", "."), extra)
    return target.getvalue()


def row(*cells: str) -> bytes:
    return b"<row>%s</row>" % b"".join(b'<c t="inlineStr"><is><t>%s</t></is></c>' % one.encode() for one in cells)


BOAT = row("visit", "boat", "", "", "", "Quiet Margin", "", "", "")
HEADER = row("record", "item", "mast", "position", "take", "value", "unit", "instrument", "remark")
TEXT = SHEET.read_bytes()
FILES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "sheet.csv"),
    "Latin-1": (TEXT.replace(b"Quiet", b"Qui\xe9t"), "sheet.csv"),
    "UTF-16": (TEXT.decode().encode("utf-16"), "sheet.csv"),
    "binary": (bytes(range(256)) * 40, "sheet.csv"),
    "other columns": (TEXT.replace(b"record,item", b"record,thing"), "sheet.csv"),
    "a column twice": (TEXT.replace(b"item,mast", b"item,item"), "sheet.csv"),
    "a row too long": (TEXT + b"reading,BD,main,,2,141,mm,C-02,,more\n", "sheet.csv"),
    "an open quotation": (TEXT + b'reading,BD,main,,2,"141,mm,C-02,\n', "sheet.csv"),
    "2 MiB and a byte": (TEXT + b"#" * (2 * 1024 * 1024 + 1 - len(TEXT)), "sheet.csv"),
    "5,001 rows": (TEXT + b"reading,BD,main,,2,141,mm,C-02,\n" * 5001, "sheet.csv"),
    "NaN": (TEXT.replace(b",4123,", b",NaN,"), "sheet.csv"),
    "1e400": (TEXT.replace(b",4123,", b",1e400,"), "sheet.csv"),
    "a thousands separator": (TEXT.replace(b",4123,", b',"4,123.0",'), "sheet.csv"),
    "negative": (TEXT.replace(b",4123,", b",-4123,"), "sheet.csv"),
    "a future date": (TEXT.replace(b"2023-05-16", b"2999-05-16"), "sheet.csv"),
    "no date": (TEXT.replace(b"2023-05-16", b"2023-13-45"), "sheet.csv"),
    "an unknown instrument": (TEXT.replace(b"4123,mm,T-03", b"4123,mm,T-99"), "sheet.csv"),
    "the same take twice": (TEXT + b"reading,foot_distance,main,,1,4123,mm,T-03,\n", "sheet.csv"),
    "an unknown reading": (TEXT + b"reading,keel_depth,main,,1,4123,mm,T-03,\n", "sheet.csv"),
    "a mast she has not": (TEXT + b"reading,foot_distance,mizzen,,1,2123,mm,T-03,\n", "sheet.csv"),
    "another boat's": (TEXT.replace(b"SKE 214", b"SKE 215"), "sheet.csv"),
    "a zip bomb": (workbook(HEADER + b" " * (60 * 1024 * 1024)), "sheet.xlsx"),
    "macros": (workbook(HEADER, xl__vbaProject_dot_bin=b"\xd0\xcf\x11\xe0" * 20), "sheet.xlsx"),
    "an external link": (workbook(HEADER, xl__externalLinks__externalLink1_dot_xml=b"<x/>"), "sheet.xlsx"),
    "a formula": (workbook(HEADER + b"<row><c><f>1+1</f><v>2</v></c></row>"), "sheet.xlsx"),
    "entities": (workbook(HEADER + row("&a;"), b'<!DOCTYPE x [<!ENTITY a "aaaa">]>'), "sheet.xlsx"),
    "a zip of nothing": (zipped(readme_xml=b"hello"), "sheet.xlsx"),
    "half a zip": (workbook(HEADER)[:200], "sheet.xlsx"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + b"\0" * 100, "sheet.xlsx"),
}  # fmt: skip


SAID = {
    "2 MiB and a byte": "2 MiB", "a zip bomb": "50 MiB", "macros": "a macro", "a formula": "a formula", "NaN": "NaN",
    "an external link": "a link to another file", "an unknown instrument": "T-99", "a future date": "2999-05-16",
    "1e400": "1e400", "negative": "-4123", "other columns": "thing", "an unknown reading": "keel_depth",
    "5,001 rows": "at most 5000 rows",
}  # fmt: skip


@pytest.mark.parametrize("what", list(FILES))
def test_a_bad_file_stores_nothing_and_says_why(world: World, what: str) -> None:
    content, name = FILES[what]
    client = Client()
    client.force_login(world.cast.measurer)
    address = reverse("surveys:upload", args=[world.returned.key])
    answer = sent(client, address, {"file": SimpleUploadedFile(name, content)})
    assert answer.status_code == 422, what
    text = answer.content.decode()
    assert "nothing has been stored" in text or 'aria-invalid="true"' in text, what
    assert SAID.get(what, "") in text


def test_the_workbook_made_by_hand_is_readable(world: World) -> None:
    """Or else each bad one above would be refused for nothing but its form: here only its content is missing."""
    client = Client()
    client.force_login(world.cast.measurer)
    address = reverse("surveys:upload", args=[world.returned.key])
    answer = sent(client, address, {"file": SimpleUploadedFile("sheet.xlsx", workbook(HEADER + BOAT))})
    assert answer.status_code == 422
    assert "sail_number" in answer.content.decode()


# ---- Twice, and too late ----


def test_a_second_signature(world: World) -> None:
    with transaction.atomic():
        visit = world.stage.visit("signed")
        client = Client()
        client.force_login(world.cast.measurer)
        before = SignOff.objects.count()
        data = {"edition": visit.edition, "password": PASSWORD}
        answer = client.post(reverse("surveys:sign", args=[visit.key]), data)
        assert answer.status_code == 422
        assert "signed" in answer.content.decode()
        assert SignOff.objects.count() == before
        transaction.set_rollback(True)


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("surveys:conditions", {"place": "The far quay", "date": "2024-04-23"}),
        ("boats:particulars", {"name": "Quieter Margin", "reason": "Renamed by her owner."}),
        ("boats:rig", {"since": "2026-01-01", "reason": "Seen again by the yard."}),
        ("instruments:out_of_use", {"reason": "Its hook is bent."}),
        ("policy:show", {"office_place": "Farther Haven", "reason": "The office moves."}),
    ],
)
def test_a_stale_form_is_said_and_nothing_typed_is_lost(world: World, name: str, typed: dict[str, str]) -> None:
    client, _, forms = forms_of(world, name)
    edition = "number" if name == "boats:rig" else "edition"
    action, fields = next((action, fields) for action, fields in forms if edition in fields)
    data = {one: value or GOOD.get(one, "") for one, value in fields.items()} | typed
    answer = sent(client, action, {**data, edition: str(int(fields[edition] or 0) + 7)})
    assert answer.status_code in {409, 422}, name
    text = answer.content.decode()
    for words in typed.values():
        assert words in text, (name, words)


def test_a_stale_decision(world: World) -> None:
    """The visit was asked about since the reviewer's page was made: the decision is said to be too late, and kept."""
    visit = world.under_review
    client = Client()
    client.force_login(world.cast.reviewer)
    data = {"edition": visit.edition - 1, "reason": "All figures agree."}
    answer = sent(client, reverse("desk:accept_visit", args=[visit.key]), data)
    assert answer.status_code == 409
    assert "All figures agree." in answer.content.decode()


def test_a_take_sent_twice_is_one_reading(world: World) -> None:
    client = Client()
    client.force_login(world.cast.measurer)
    key = "foot_distance-main-one"
    data = {f"{key}-value": "4124", f"{key}-unit": "mm", f"{key}-instrument": "T-03", f"{key}-take": "2"}
    with transaction.atomic():
        address = reverse("surveys:store_one", args=[world.returned.key, key])
        before = Reading.objects.filter(visit=world.returned).count()
        assert client.post(address, data).status_code == 200
        client.post(address, data)
        assert Reading.objects.filter(visit=world.returned).count() == before + 1
        assert Visit.objects.get(pk=world.returned.pk).state == "returned"
        transaction.set_rollback(True)
