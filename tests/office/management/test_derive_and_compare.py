"""`derive` and `compare`: what they print, that they need no database, and that errors leave nothing half printed.

No test here asks for the database, so any query would fail it.
"""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings

from office.environment import ROOT
from surveys.logsheet import COLUMNS, LogSheet, read, write_csv, write_xlsx
from tests.surveys.logsheet_strategies import sheets

SAMPLES = ROOT / "tests" / "surveys" / "samples"
FIRST, SECOND = str(SAMPLES / "quiet_margin_2023.csv"), str(SAMPLES / "quiet_margin_2024.csv")


def printed(*arguments: str) -> str:
    out, err = io.StringIO(), io.StringIO()
    call_command(*arguments, stdout=out, stderr=err)
    assert err.getvalue() == ""
    return out.getvalue()


def refused(*arguments: str) -> str:
    """What a refused command says; it ends with status 2 and prints nothing else."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command(*arguments, stdout=out, stderr=err)
    assert ended.value.code == 2
    assert out.getvalue() == ""
    return err.getvalue()


def log(tmp_path: Path, name: str, *lines: str) -> str:
    path = tmp_path / name
    path.write_text("\n".join((",".join(COLUMNS), *lines)), encoding="utf-8")
    return str(path)


def by_name(rows: list[dict[str, Any]], **fields: str) -> dict[str, Any]:
    found = [row for row in rows if fields.items() <= row.items()]
    assert len(found) == 1, fields
    return found[0]


# ---- derive ----


def test_derive_prints_one_object_for_one_log():
    document = json.loads(printed("derive", FIRST, "--format", "json"))
    assert set(document) >= {"visit", "rig", "dimensions", "checks"}
    luff = by_name(document["dimensions"], name="P")
    # 12151 mm at 5.5 K below 20 degC with a tape 0.8 mm too long at 30 m.
    assert luff["value"] == pytest.approx(12151 * (1 - 11.5e-6 * 5.5 + 0.8 / 30_000), rel=1e-12)
    assert luff["value"] != round(luff["value"], 6)
    assert (luff["slug"], luff["mast"], luff["unit"]) == ("luff", "main", "mm")
    assert luff["expanded_uncertainty"] >= 2 * luff["standard_uncertainty"] > 0
    methods = [row["method"] for row in document["dimensions"] if row["name"] == "BAS"]
    assert sorted(methods) == ["adopted", "string", "two_mark"]
    assert {row["unit"] for row in document["dimensions"]} == {"mm", "kg", "m2", "kg.m", "1"}
    assert all(set(found) >= {"check", "grade", "readings", "message"} for found in document["checks"])
    assert not [found for found in document["checks"] if found["grade"] == "stop"]


def test_derive_prints_a_list_for_several_logs_and_reads_workbooks(tmp_path: Path):
    workbook = tmp_path / "log.xlsx"
    workbook.write_bytes(write_xlsx(read(Path(FIRST).read_bytes(), FIRST)))
    from_csv, from_workbook, other = json.loads(printed("derive", FIRST, str(workbook), SECOND, "--format", "json"))
    assert from_csv["dimensions"] == from_workbook["dimensions"]
    assert from_csv["dimensions"] != other["dimensions"]


def test_derive_says_what_is_missing(tmp_path: Path):
    path = log(tmp_path, "short.csv", "visit,boat,,,,Tern,,,", "reading,J,,,,3641,,,")
    document = json.loads(printed("derive", path, "--format", "json"))
    assert by_name(document["dimensions"], name="J")["value"] == pytest.approx(3641)
    assert [found for found in document["checks"] if found["grade"] == "stop"]
    assert "Base of the foretriangle" in printed("derive", path)


def test_derive_adds_budgets_and_the_next_reading_only_when_asked():
    plain, more = (
        json.loads(printed("derive", FIRST, "--format", "json", *rest)) for rest in ((), ("--budget", "--next-reading"))
    )
    assert plain.keys() == {"visit", "rig", "dimensions", "checks"}
    assert {key: more[key] for key in plain} == plain
    for one in more["budgets"]:
        row = by_name(more["dimensions"], slug=one["slug"], mast=one["mast"], method=one["method"])
        squares = sum(line["contribution"] ** 2 for line in one["sources"])
        assert squares**0.5 == pytest.approx(row["standard_uncertainty"], rel=1e-9)
        assert sum(line["share"] for line in one["sources"]) == pytest.approx(1.0)
        assert all(
            line["contribution"] == pytest.approx(abs(line["size"] * line["sensitivity"])) for line in one["sources"]
        )
    best = more["next_reading"]["options"][0]
    assert best["expanded_uncertainty"] < more["next_reading"]["expanded_uncertainty"]
    assert best["readings"]
    table = printed("derive", FIRST, "--budget", "--next-reading")
    assert more["next_reading"]["sentence"] in table
    assert "Sheer point, along the mast" in table


def test_derive_as_csv_has_a_row_for_each_dimension_of_each_log():
    rows = list(csv.DictReader(io.StringIO(printed("derive", FIRST, SECOND, "--format", "csv"))))
    lufts = [row for row in rows if row["name"] == "P"]
    assert [row["date"] for row in lufts] == ["2023-05-16", "2024-04-23"]
    document = json.loads(printed("derive", FIRST, "--format", "json"))
    assert float(lufts[0]["value"]) == by_name(document["dimensions"], name="P")["value"]


def test_derive_as_a_table_is_rounded_to_the_uncertainty():
    page = printed("derive", FIRST)
    line = next(line for line in page.splitlines() if line.startswith("Mast weight") or "MWT" in line)
    assert "114.20" in line
    assert "0.24" in line
    assert page.splitlines()[0] == "Quiet Margin, SKE 214, 2023-05-16, Skerrin Haven, north yard"


def test_every_error_of_every_log_is_said(tmp_path: Path):
    one = log(tmp_path, "one.csv", "reading,P,,,,NaN,,,", "visit,date,,,,2023-02-30,,,")
    two = log(tmp_path, "two.csv", "reading,J,,port,,3641,,,")
    said = refused("derive", one, FIRST, two, str(tmp_path / "none.csv"), str(tmp_path), "--format", "json")
    lines = said.splitlines()
    assert len(lines) == 5
    assert lines[0].startswith(f"{one}, row 2, column value: found “NaN”; expected")
    assert lines[1].startswith(f"{one}, row 3, column value: found “2023-02-30”")
    assert lines[2].startswith(f"{two}, row 2, column position")
    assert "No such file" in lines[3]
    assert "directory" in lines[4]


def test_a_log_of_any_rig_has_an_answer(tmp_path: Path):
    """Numbers that fit no rig, and rigs without numbers, are answered and not run aground on."""
    for place, lines in enumerate(
        (
            ("rig,rig_type,,,,schooner,,,", "reading,P,fore,,,8000,,,"),
            (
                "reading,band_to_sheer,,port,,1,,,",
                "reading,mark_to_sheer,,port,,9000,,,",
                "reading,mark_spacing,,,,1,,,",
            ),
            (
                "reading,GO,,,,9000,,,",
                "reading,MW,,,,1,,,",
                "reading,J,,,,10,,,",
                "reading,forestay_above_band,,,,10,,,",
            ),
            ("rig,upper_band,,,,no,,,", "reading,luff_to_sheave,,,,12000,,,", "reading,taper_length,,,,0,,,"),
            ("rig,pole_identification,,,,SH-P-1,,,",),
        )
    ):
        path = log(tmp_path, f"{place}.csv", *lines)
        assert json.loads(printed("derive", path, "--format", "json"))["dimensions"]
        assert printed("derive", path)
        assert json.loads(printed("compare", path, FIRST, "--format", "json"))["changes"]
        assert printed("compare", FIRST, path)


# ---- compare ----


def test_compare_tells_the_repainted_band_from_noise():
    document = json.loads(printed("compare", FIRST, SECOND, "--format", "json"))
    assert isinstance(document["diagnosis"], list)
    changes = {row["name"]: row for row in document["changes"] if row.get("method", "") in ("", "adopted", None)}
    luff = changes["P"]
    cold_2023, cold_2024 = 1 - 11.5e-6 * 5.5 + 0.8 / 30_000, 1 - 11.5e-6 * 110 / 9 + 0.8 / 30_000
    assert luff["previous"] == pytest.approx(12151 * cold_2023, rel=1e-12)
    assert luff["current"] == pytest.approx(36362 / 3 * cold_2024, rel=1e-12)
    assert luff["change"] == pytest.approx(luff["current"] - luff["previous"], abs=1e-9)
    assert luff["verdict"] == "changed"
    assert luff["en"] == pytest.approx(luff["change"] / luff["expanded_uncertainty"], rel=1e-9)
    # The tape's own scale was the same on both days: what is left is edges, temperatures and takes.
    alone = 2 * ((1 / 3 + 1 / 9) + 4 * 0.25 / 3 + 0.0586 + 0.0585) ** 0.5
    assert alone <= luff["expanded_uncertainty"] <= 1.2 * alone
    assert changes["IG"]["verdict"] == changes["ISP"]["verdict"] == changes["J"]["verdict"] == "within_noise"


def test_compare_says_what_probably_happened():
    """The band was repainted 30 mm higher, and a masthead light of 0.2 kg was replaced."""
    diagnosis = json.loads(printed("compare", FIRST, SECOND, "--format", "json"))["diagnosis"]
    assert [one["probability"] for one in diagnosis] == sorted((one["probability"] for one in diagnosis), reverse=True)
    parts = diagnosis[0].get("parts", diagnosis[:1])
    moved = by_name(parts, kind="lower_band_moved")
    assert moved["size"] == pytest.approx(30, abs=2)
    assert "The lower band was moved" in printed("compare", FIRST, SECOND)
    itself = json.loads(printed("compare", FIRST, FIRST, "--format", "json"))["diagnosis"]
    assert itself[0]["kind"] == "nothing_changed"


def test_what_carried_a_change_adds_up_to_it():
    document = json.loads(printed("compare", FIRST, SECOND, "--format", "json"))
    carried = [row for row in document["changes"] if row["carried_by"]]
    assert len(carried) > 20
    for row in carried:
        assert sum(part["amount"] for part in row["carried_by"]) == pytest.approx(row["change"], abs=1e-9)
        assert [part for part in row["carried_by"] if part["reading"] == "remainder"]
    hoist = next(row for row in carried if row["name"] == "ISP")
    parts = {part["reading"]: part["amount"] for part in hoist["carried_by"] if part["position"] in ("", "masthead")}
    assert parts["spinnaker_halyard_above_band"] == pytest.approx(-29.95, abs=0.01)


def test_compare_prints_a_list_for_several_pairs():
    forth, back = json.loads(printed("compare", FIRST, SECOND, SECOND, FIRST, "--format", "json"))
    there = {row["slug"]: row["change"] for row in forth["changes"] if row["name"] == "P"}
    again = {row["slug"]: row["change"] for row in back["changes"] if row["name"] == "P"}
    assert again["luff"] == pytest.approx(-there["luff"], rel=1e-12)


def test_a_log_against_itself_is_noise():
    document = json.loads(printed("compare", FIRST, FIRST, "--format", "json"))
    assert {row["verdict"] for row in document["changes"]} == {"within_noise"}
    assert {row["change"] for row in document["changes"]} == {0.0}


def test_compare_as_a_table_names_what_carried_each_change():
    page = printed("compare", FIRST, SECOND)
    assert page.startswith("Previous: Quiet Margin, SKE 214, 2023-05-16")
    assert "within measuring noise" in page
    assert any(line.startswith("Luff (P) −31.3 mm: −31.3 from Luff between the bands") for line in page.splitlines())


def test_compare_takes_pairs_only():
    assert refused("compare", FIRST) == "found 1 log sheet; expected pairs: PREVIOUS CURRENT ...\n"
    assert "found 3 log sheets" in refused("compare", FIRST, SECOND, FIRST)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(sheets(), sheets())
def test_any_two_valid_logs_are_answered_in_finite_numbers(previous: LogSheet, current: LogSheet):
    with TemporaryDirectory() as directory:
        paths = [Path(directory) / name for name in ("previous.csv", "current.csv")]
        for path, sheet in zip(paths, (previous, current), strict=True):
            path.write_bytes(write_csv(sheet))
        one, two = map(str, paths)
        assert len(json.loads(printed("derive", one, two, "--format", "json"))) == 2
        assert printed("derive", one, two)
        changes = json.loads(printed("compare", one, two, "--format", "json"))["changes"]
        assert printed("compare", one, two)
    for row in changes:
        if row["carried_by"] and row["change"] is not None:
            parts = sum(part["amount"] for part in row["carried_by"])
            assert parts == pytest.approx(row["change"], rel=1e-6, abs=1e-6)


# ---- as a user runs them ----


def _run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, with a database nobody can reach."""
    environment = {**os.environ, "DATABASE_URL": "postgres://nobody@127.0.0.1:1/nowhere"}
    environment["DJANGO_SETTINGS_MODULE"] = "office.settings"
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def test_without_any_database():
    derived = _run("derive", FIRST, "--format", "json")
    assert (derived.returncode, derived.stderr) == (0, "")
    assert json.loads(derived.stdout)["dimensions"]
    compared = _run("compare", FIRST, SECOND)
    assert (compared.returncode, compared.stderr) == (0, "")
    assert "within measuring noise" in compared.stdout


def test_errors_end_with_status_2_and_nothing_on_standard_output(tmp_path: Path):
    bad = log(tmp_path, "bad.csv", "reading,P,,,,1e400,,,")
    for arguments in (
        ("derive", FIRST, bad),
        ("compare", FIRST, bad),
        ("derive",),
        ("derive", FIRST, "--format", "xml"),
    ):
        done = _run(*arguments)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr
