"""The trail's pages: who reads what, filters, paging by number, exports and the walk."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import openpyxl
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from boats.models import Boat, Ownership
from office.audit import trail, triggers
from office.desk import trail_rows
from office.people.models import Person, Role
from tests.cast import Cast, make_person

LIST = "/trail/"


def make_boat(name: str, owner: Person | None = None) -> Boat:
    boat = Boat.objects.create(name=name, name_normal=name.lower(), sail_number="QQ 1", sail_number_normal="QQ1")
    if owner:
        Ownership.objects.create(boat=boat, person=owner, since=timezone.localdate())
    return boat


def tell(boat: Boat | None = None, **stated: Any) -> int:
    about: dict[str, Any] = {"by": None, "verb": "change particulars", "subject": boat or trail.Subject("kit", "T-07")}
    return trail.record(**{**about, "boat": boat.key if boat else "", **stated})[0]


def reader(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def numbers(client: Client, **asked: str | int) -> list[int]:
    return [row.entry.number for row in client.get(LIST, asked).context["rows"]]


class TestReaders:
    @pytest.fixture
    def boats(self, cast: Cast) -> tuple[Boat, Boat]:
        own, other = make_boat("Grey Plover", cast.owner), make_boat("Dunlin", cast.other_owner)
        for boat in (own, other, None):
            tell(boat)
        return own, other

    def test_the_office_reads_everything(self, cast: Cast, boats: tuple[Boat, Boat]):
        for person in (cast.reviewer, cast.certifier, cast.administrator):
            assert numbers(reader(person)) == [3, 2, 1]

    def test_an_owner_reads_what_concerns_their_boats(self, cast: Cast, boats: tuple[Boat, Boat]):
        assert numbers(reader(cast.owner)) == [1]
        assert numbers(reader(cast.owner), boat=boats[1].key) == []
        assert numbers(reader(cast.other_owner)) == [2]

    def test_an_owner_who_also_measures_reads_no_more(self, cast: Cast, boats: tuple[Boat, Boat]):
        both = make_person("Both", Role.OWNER, Role.MEASURER)
        assert numbers(reader(both)) == []
        Ownership.objects.create(boat=boats[1], person=both, since=timezone.localdate())
        assert numbers(reader(both)) == [2]

    def test_a_former_owner_reads_nothing_more(self, cast: Cast, boats: tuple[Boat, Boat]):
        day = timezone.localdate() - dt.timedelta(days=1)
        Ownership.objects.filter(person=cast.owner).update(since=day, until=day)
        assert numbers(reader(cast.owner)) == []

    def test_others_read_nothing(self, cast: Cast, boats: tuple[Boat, Boat]):
        for person in (cast.measurer, cast.race_committee, cast.stranger):
            assert reader(person).get(LIST).status_code == 403
            assert reader(person).get(reverse("trail:export", args=["csv"])).status_code == 403
        assert Client().get(LIST).status_code == 302

    def test_an_owners_export_holds_their_boats_only(self, cast: Cast, boats: tuple[Boat, Boat]):
        rows = exported(reader(cast.owner))
        assert [row["number"] for row in rows] == ["1"]

    def test_an_owner_gets_no_list_of_people(self, cast: Cast, boats: tuple[Boat, Boat]):
        assert cast.administrator.name not in reader(cast.owner).get(LIST).content.decode()

    def test_only_the_office_walks(self, cast: Cast, boats: tuple[Boat, Boat]):
        assert reader(cast.owner).get(reverse("trail:walk")).status_code == 403
        assert b"Is the trail whole" not in reader(cast.owner).get(LIST).content
        assert b"Is the trail whole" in reader(cast.reviewer).get(LIST).content


class TestFilters:
    @pytest.fixture
    def office(self, cast: Cast) -> Client:
        return reader(cast.administrator)

    def test_by_boat_visit_and_certificate(self, office: Client):
        boat = make_boat("Grey Plover")
        tell(boat)
        tell(boat, visit="visit-key")
        tell(certificate="RM-2026-1")
        assert numbers(office, boat=boat.key) == [2, 1]
        assert numbers(office, visit="visit-key") == [2]
        assert numbers(office, certificate="RM-2026-1") == [3]
        assert numbers(office, boat=boat.key, certificate="RM-2026-1") == []

    def test_by_person_who_acted_or_whom_it_is_about(self, office: Client, cast: Cast):
        tell(by=cast.reviewer)
        tell(subject=cast.reviewer)
        tell()
        assert numbers(office, person=cast.reviewer.key) == [2, 1]

    def test_by_verb_and_by_how_the_subject_begins(self, office: Client):
        tell(subject=trail.Subject("boat", "a", "Grey Plover (QQ 1)"))
        tell(subject=trail.Subject("boat", "b", "Green 100% Boat"), verb="register boat")
        assert numbers(office, verb="register boat") == [2]
        assert numbers(office, label="gre") == [2, 1]
        assert numbers(office, label="Grey P") == [1]
        assert numbers(office, label="%") == []
        assert numbers(office, label="Plover") == []

    def test_by_days_of_the_office(self, office: Client, monkeypatch: pytest.MonkeyPatch):
        for moment in ("2026-05-01T23:59:59.999999", "2026-05-02T00:00:00", "2026-05-03T12:00:00"):
            instant = dt.datetime.fromisoformat(moment).replace(tzinfo=dt.UTC)
            with monkeypatch.context() as patch:
                patch.setattr(timezone, "now", lambda instant=instant: instant)
                tell()
        assert numbers(office, since="2026-05-02") == [3, 2]
        assert numbers(office, until="2026-05-02") == [2, 1]
        assert numbers(office, since="2026-05-02", until="2026-05-02") == [2]
        assert numbers(office, until="9999-12-31") == [3, 2, 1]
        with timezone.override(dt.timezone(dt.timedelta(hours=2))):
            assert numbers(office, until="2026-05-01") in ([], [1])

    @pytest.mark.parametrize(
        "asked",
        [
            {"since": "yesterday"},
            {"until": "2026-02-30"},
            {"verb": "no such verb"},
            {"person": "nobody"},
            {"label": "\x00"},
            {"boat": "x" * 500},
        ],
    )
    def test_a_filter_that_means_nothing_is_said(self, office: Client, asked: dict[str, str]):
        tell()
        for address in (LIST, reverse("trail:export", args=["csv"])):
            answer = office.get(address, asked)
            assert answer.status_code == 422
            assert answer.context["form"].errors.keys() == asked.keys()


class TestPaging:
    @pytest.fixture
    def office(self, cast: Cast) -> Client:
        for number in range(1, 121):
            tell(verb="even" if number % 2 == 0 else "odd")
        return reader(cast.administrator)

    def test_back_and_forth_shows_every_row_once(self, office: Client):
        seen: list[list[int]] = []
        asked: dict[str, int] = {}
        while True:
            page = office.get(LIST, asked).context["page"]
            seen.append([entry.number for entry in page.entries])
            if page.older is None:
                break
            asked = {"before": page.older}
        assert [number for one in seen for number in one] == list(range(120, 0, -1))
        assert [len(one) for one in seen] == [50, 50, 20]
        back = office.get(LIST, {"after": page.newer}).context["page"]
        assert [entry.number for entry in back.entries] == seen[1]
        first = office.get(LIST, {"after": back.newer}).context["page"]
        assert [entry.number for entry in first.entries] == seen[0]
        assert first.newer is None

    @pytest.mark.parametrize("asked", [{"before": "x"}, {"before": "9" * 40}, {"before": "0"}, {"after": "-1"}])
    def test_a_place_that_is_none_is_not_found(self, office: Client, asked: dict[str, str]):
        assert office.get(LIST, asked).status_code == 404

    def test_a_changed_filter_begins_with_the_newest_rows(self, office: Client):
        form = office.get(LIST, {"verb": "even", "before": "22"}).context["form"]
        assert "before" not in str(form)

    def test_pages_keep_the_filter(self, office: Client):
        content = office.get(LIST, {"verb": "even"}).content.decode()
        assert "verb=even&amp;before=22" in content
        assert numbers(office, verb="even", before=22) == list(range(20, 0, -2))

    def test_the_number_of_queries_does_not_grow_with_the_rows(self, office: Client, cast: Cast):
        def count(**asked: str | int) -> int:
            with CaptureQueriesContext(connection) as queries:
                office.get(LIST, asked)
            return len(queries)

        for person in cast.people().values():
            tell(make_boat(person.name, person), by=person, after={"owner": person.key})
        assert count() == count(after=127) <= 10  # fifty rows and two


class TestRows:
    def test_names_are_looked_up_when_shown(self, cast: Cast):
        tell(by=cast.reviewer, subject=cast.owner, after={"owners": [cast.owner.key], "by": {"who": cast.measurer.key}})
        client = reader(cast.administrator)
        row = client.get(LIST).context["rows"][0]
        assert (row.who, row.subject) == (cast.reviewer.name, cast.owner.name)
        assert [field.after for field in row.fields] == [f"who: {cast.measurer.name}", cast.owner.name]
        Person.objects.filter(pk=cast.reviewer.pk).update(name="Ines Renamed")
        assert client.get(LIST).context["rows"][0].who == "Ines Renamed"

    def test_what_changed_is_shown_field_by_field(self, cast: Cast):
        tell(
            before={"harbour": "Inner", "hin": ""}, after={"harbour": "Outer", "year": 1987, "fits": True, "none": None}
        )
        fields = reader(cast.administrator).get(LIST).context["rows"][0].fields
        assert {(field.name, field.before, field.after) for field in fields} == {
            ("harbour", "Inner", "Outer"), ("hin", "", None), ("year", None, "1987"), ("fits", None, "yes"),
            ("none", None, "none"),
        }  # fmt: skip

    def test_the_machine_has_a_name(self, cast: Cast):
        tell()
        assert reader(cast.administrator).get(LIST).context["rows"][0].who == trail_rows.MACHINE

    def test_a_row_spoilt_behind_the_offices_back_is_still_shown(self, cast: Cast):
        tell()
        with triggers.set_aside(connection), connection.cursor() as cursor:
            cursor.execute("UPDATE audit_entry SET before = '{oops', after = '[1]', boat = 'a/b', visit = '../x'")
        answer = reader(cast.administrator).get(LIST)
        assert answer.status_code == 200
        assert b"{oops" in answer.content

    def test_what_people_typed_is_never_markup(self, cast: Cast):
        tell(reason="<script>alert(1)</script>", after={"<b>": "<i>"})
        content = reader(cast.administrator).get(LIST).content.decode()
        assert "<script>alert" not in content
        assert "<i>" not in content


def exported(client: Client, **asked: str | int) -> list[dict[str, str]]:
    answer = client.get(reverse("trail:export", args=["csv"]), asked)
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode(), newline="")))


class TestExports:
    @pytest.fixture
    def office(self, cast: Cast) -> Client:
        for number in range(60):
            tell(by=cast.reviewer, verb="even" if number % 2 else "odd", reason='=HYPERLINK("http://x")')
        return reader(cast.administrator)

    def test_csv_holds_the_whole_filter_not_only_the_page(self, office: Client, cast: Cast):
        rows = exported(office, verb="even", before="10")
        assert [row["number"] for row in rows] == [str(number) for number in range(60, 0, -2)]
        assert {row["who"] for row in rows} == {cast.reviewer.name}
        # A key can begin with a minus, which a spreadsheet would read as a formula.
        assert {row["actor"].removeprefix("'") for row in rows} == {cast.reviewer.key}
        assert rows[0]["hash"] == trail.head()[1]

    def test_csv_comes_row_by_row(self, office: Client):
        answer = office.get(reverse("trail:export", args=["csv"]))
        assert answer.streaming
        assert sum(1 for _ in answer) == 61

    def test_nothing_in_it_runs_as_a_formula(self, office: Client):
        assert {row["reason"] for row in exported(office)} == {'\'=HYPERLINK("http://x")'}
        sheet = self.sheet(office)
        reasons = [cell for row in sheet.iter_rows(min_row=2) for cell in row if "HYPERLINK" in str(cell.value)]
        assert len(reasons) == 60
        assert {cell.data_type for cell in reasons} == {"s"}

    def test_xlsx_holds_the_same_rows(self, office: Client):
        sheet = self.sheet(office, verb="odd")
        header, *rows = sheet.iter_rows(values_only=True)
        assert header == trail_rows.HEADER
        assert [row[0] for row in rows] == list(range(59, 0, -2))

    def test_a_text_longer_than_a_cell_is_cut_in_xlsx_only(self, office: Client):
        tell(reason="x" * 40_000)
        assert len(exported(office)[0]["reason"]) == 40_000
        assert len(str(self.sheet(office).cell(2, trail_rows.HEADER.index("reason") + 1).value)) == 32_001

    def test_a_spreadsheet_too_long_is_refused_in_a_sentence(self, office: Client, monkeypatch: pytest.MonkeyPatch):
        monkeypatch.setattr("office.desk.trail.MOST_SHEET_ROWS", 59)
        answer = office.get(reverse("trail:export", args=["xlsx"]))
        assert answer.status_code == 409
        assert b"more than a spreadsheet holds" in answer.content

    def test_other_kinds_are_not_found(self, office: Client):
        assert office.get("/trail/trail.pdf").status_code == 404

    def sheet(self, client: Client, **asked: str | int) -> Any:
        answer = client.get(reverse("trail:export", args=["xlsx"]), asked)
        return openpyxl.load_workbook(io.BytesIO(answer.getvalue())).active


class TestWalk:
    def test_a_whole_trail(self, cast: Cast):
        tell()
        client = reader(cast.certifier)
        before = client.get(reverse("trail:walk")).content.decode()
        assert trail.head()[1] in before
        assert "Every row says what was hashed" not in before
        assert "Every row says what was hashed" in client.post(reverse("trail:walk")).content.decode()

    def test_a_forged_row_is_named(self, cast: Cast):
        for _ in range(3):
            tell()
        with triggers.set_aside(connection), connection.cursor() as cursor:
            cursor.execute("UPDATE audit_entry SET reason = 'forged' WHERE number = 2")
        content = reader(cast.certifier).post(reverse("trail:walk")).content.decode()
        assert "Row 2 was altered" in content
        assert "1 thing does not fit" in content
