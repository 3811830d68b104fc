"""`manage.py check_entries`: rows for machines, and status 2 with every error on standard error only."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from boats.models import Boat
from boats.particulars import as_columns
from tests.cast import cast
from tests.office.certificates.conftest import row

__all__ = ["cast", "row"]
pytestmark = pytest.mark.django_db

DAYS = ("--from", "2026-06-05", "--to", "2026-06-07")
LIST = "sail_number,boat,helm,status\nske-1,SEA LARK,Petra,paid\nSKE 2,Grey Plover,Olaf,\nSKE 33,Heron,,\nWES 9,,,\n"


@pytest.fixture
def fleet(row: Any) -> None:
    for number, name in (("SKE 1", "Sea Lark"), ("SKE 2", "Grey Plover"), ("SKE 3", "Heron")):
        Boat.objects.create(**as_columns({"name": name, "sail_number": number}))
    row(boat=Boat.objects.get(name="Sea Lark"), number="AV-2026-0001")
    day = dt.date(2026, 6, 6)
    row(boat=Boat.objects.get(name="Grey Plover"), valid_until=day, in_force_before=day + dt.timedelta(days=1))


@pytest.fixture
def entries(tmp_path: Path) -> str:
    path = tmp_path / "entries.csv"
    path.write_text(LIST)
    return str(path)


def run(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("check_entries", *arguments, stdout=out, stderr=err)
    except SystemExit as end:
        return int(str(end.code)), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def test_json_has_every_field_and_the_entrys_own_columns(fleet: None, entries: str) -> None:
    status, out, err = run(entries, *DAYS, "--format", "json")
    rows = json.loads(out)
    assert (status, err) == (0, "")
    assert [one["status"] for one in rows] == ["in_force", "ends_during_event", "unsure", "none"]
    lark, _, heron, nobody = rows
    assert (lark["sail_number"], lark["boat"], lark["helm"]) == ("ske-1", "SEA LARK", "Petra")
    assert (lark["certificate"], lark["valid_from"], lark["valid_until"]) == (
        "AV-2026-0001", "2026-05-04", "2026-12-31"
    )  # fmt: skip
    assert lark["matched_boat"]["name"] == "Sea Lark"
    assert lark["status (entry)"] == "paid"
    assert (heron["matched_boat"], heron["candidates"][0]["name"]) == (None, "Heron")
    assert (nobody["certificate"], nobody["candidates"]) == (None, [])


def test_csv_and_table_say_the_same(fleet: None, entries: str) -> None:
    _, out, _ = run(entries, *DAYS, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [one["status"] for one in rows] == ["in_force", "ends_during_event", "unsure", "none"]
    assert rows[2]["candidates"] == "Heron (SKE 3)"
    _, page, _ = run(entries, *DAYS)
    assert "Last day in force 2026-06-06, then expired." in page
    assert page.rstrip().endswith("4 entries: in force 1, ends during the event 1, none 1, not sure which boat 1")


@pytest.mark.parametrize(
    ("content", "days", "sentences"),
    [
        (LIST, ("--from", "2026-06-07", "--to", "2026-06-05"), ["--to: found 2026-06-05, before 2026-06-07"]),
        (LIST, ("--from", "05.06.2026", "--to", "soon"), ["--from: found “05.06.2026”", "--to: found “soon”"]),
        ("a,b\n1,2\n", DAYS, ["row 1: found “a, b”; expected a first row that names the columns"]),
        ("boat\n=x\n\x01\n", DAYS, ["row 2, column boat", "row 3, column boat"]),
        ("", ("--from", "x", "--to", "2026-06-05"), ["--from: found “x”", "found an empty file"]),
    ],
)  # fmt: skip
def test_every_error_on_standard_error_and_nothing_else(
    tmp_path: Path, content: str, days: tuple[str, ...], sentences: list[str]
) -> None:
    path = tmp_path / "entries.csv"
    path.write_text(content)
    status, out, err = run(str(path), *days, "--format", "json")
    lines = err.splitlines()
    assert (status, out, len(lines)) == (2, "", len(sentences))
    assert all(sentence in line for sentence, line in zip(sentences, lines, strict=True)), lines


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    status, out, err = run(str(tmp_path / "none.csv"), *DAYS)
    assert (status, out) == (2, "")
    assert "found no file that can be read" in err
