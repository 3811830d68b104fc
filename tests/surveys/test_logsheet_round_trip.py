"""A log sheet written, read and written again is the same bytes; nothing a file can hold breaks the reader."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from computations.catalogue import READINGS
from surveys.logsheet import (
    COLUMNS,
    LogSheet,
    LogSheetErrors,
    Row,
    from_inputs,
    read,
    to_inputs,
    write_csv,
    write_xlsx,
)
from surveys.logsheet.fields import RIG_FIELDS, VISIT_FIELDS
from tests.surveys.logsheet_strategies import sheets

SAMPLES = sorted((Path(__file__).parent / "samples").glob("*.csv"))
MODERATE = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@MODERATE
@given(sheets(), st.randoms(use_true_random=False))
def test_any_valid_sheet_comes_back_byte_for_byte(sheet: LogSheet, shuffler: random.Random):
    data = write_csv(sheet)
    assert read(data, "log.csv") == sheet
    assert write_csv(read(data, "log.csv")) == data
    header, *lines = data.decode().split("\n")[:-1]
    shuffler.shuffle(lines)
    assert write_csv(read("\r\n".join((header, "# shuffled", *lines)).encode("utf-8-sig"), "log.csv")) == data


@settings(MODERATE, max_examples=25)
@given(sheets())
def test_any_valid_sheet_comes_back_from_a_workbook(sheet: LogSheet):
    assert read(write_xlsx(sheet), "log.xlsx") == sheet


@MODERATE
@given(sheets())
def test_export_upload_export_gives_the_same_bytes(sheet: LogSheet):
    """What the office keeps of a sheet is its inputs: written from these, the file is stable from the first time on."""
    visit, differences = to_inputs(sheet)
    assert differences == []
    exported = write_csv(from_inputs(visit))
    uploaded, _ = to_inputs(read(exported, "log.csv"))
    assert write_csv(from_inputs(uploaded)) == exported
    assert uploaded.readings == visit.readings
    assert uploaded.preparation == visit.preparation
    assert [(row.value, row.unit) for row in sheet.record("reading")] == [
        (one.written, one.unit_written) for one in visit.readings
    ]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_the_samples_come_back_byte_for_byte(path: Path):
    sheet = read(path.read_bytes(), path.name)
    data = write_csv(sheet)
    assert len(sheet.rows) > 50
    assert write_csv(read(data, path.name)) == data
    assert read(write_xlsx(sheet), "log.xlsx") == sheet
    exported = write_csv(from_inputs(to_inputs(sheet)[0]))
    assert write_csv(from_inputs(to_inputs(read(exported, path.name))[0])) == exported


def _reads_or_says(data: bytes, name: str) -> None:
    try:
        sheet = read(data, name)
    except LogSheetErrors as refused:
        errors = refused.errors
    else:
        written = write_csv(sheet)
        assert write_csv(read(written, "log.csv")) == written
        to_inputs(sheet)
        return
    assert errors
    assert all(error.expected and str(error).isprintable() for error in errors)


@settings(MODERATE, max_examples=150)
@given(st.binary(max_size=400), st.sampled_from(["log.csv", "log.xlsx", "", "\x00/../x"]))
@example(b"PK\x03\x04", "log.xlsx")
@example(b"\xef\xbb\xbf", "log.csv")
@example(b"\xff\xfe", "log.csv")
def test_any_bytes_are_read_or_refused(data: bytes, name: str):
    _reads_or_says(data, name)


@settings(MODERATE, max_examples=150)
@given(
    st.lists(
        st.tuples(*[st.text(max_size=12) | st.sampled_from([*READINGS, *VISIT_FIELDS, *RIG_FIELDS])] * 9), max_size=6
    )
)
def test_any_cells_are_read_or_refused(rows: list[tuple[str, ...]]):
    records = ("visit", "rig", "instrument", "reading")
    lines = [
        ",".join(('"' + cell.replace('"', '""') + '"') for cell in (records[n % 4], *row[1:]))
        for n, row in enumerate(rows)
    ]
    _reads_or_says("\n".join((",".join(COLUMNS), *lines)).encode("utf-8", "surrogatepass"), "log.csv")


VALUES = st.text(st.sampled_from("0123456789.,/'\" -+eEmftin°½kgNa(){}*^"), max_size=20)


@settings(MODERATE, max_examples=300)
@given(st.sampled_from(sorted(READINGS)), VALUES, st.text(max_size=12) | VALUES)
def test_any_value_and_unit_are_read_or_refused(slug: str, value: str, unit: str):
    position = (READINGS[slug].sides or ("",))[0]
    _reads_or_says(write_csv(LogSheet((Row("reading", slug, value, unit, "main", position),))), "log.csv")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_file_with_damaged_bytes_is_read_or_refused(kind: str):
    sheet = read(SAMPLES[0].read_bytes(), "log.csv")
    whole = write_csv(sheet) if kind == "csv" else write_xlsx(sheet)
    dice = random.Random(20240423)
    for _ in range(150):
        damaged = bytearray(whole)
        for _ in range(dice.randint(1, 6)):
            damaged[dice.randrange(len(damaged))] = dice.randrange(256)
        if dice.random() < 0.3:
            del damaged[dice.randrange(len(damaged)) :]
        _reads_or_says(bytes(damaged), f"log.{kind}")


def test_order_and_duplicates_of_positions_are_stable():
    rows = [
        Row("reading", "string_to_sheer", "1121", "", "main", "starboard"),
        Row("reading", "string_to_sheer", "1118", "", "main", "port"),
        Row("reading", "luff_between_bands", "12150", "", "main", take=2),
        Row("reading", "luff_between_bands", "12150", "", "main", take=1),
    ]
    assert [(row.item, row.position, row.take) for row in LogSheet.of(rows).rows] == [
        ("luff_between_bands", "", 1),
        ("luff_between_bands", "", 2),
        ("string_to_sheer", "port", 1),
        ("string_to_sheer", "starboard", 1),
    ]
