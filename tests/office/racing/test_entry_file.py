"""Entry lists as files: what is read, and what is refused, each with row, column and a sentence of its own."""

from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest

from office.racing import entry_file
from office.racing.entry_file import Entry, EntryFileErrors, read, read_pasted
from surveys.logsheet import xlsx_file

GOOD = b"sail_number,boat,helm\nQUA 117,Sea Lark,Petra\n\n# a remark\nske-9,,\n"


def workbook(*rows, change=None) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    if change:
        change(book.active)
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def refusals(data: bytes, name: str = "entries.csv") -> list[str]:
    with pytest.raises(EntryFileErrors) as refused:
        read(data, name)
    return [str(error) for error in refused.value.errors]


def test_a_list_keeps_rows_and_other_columns():
    found = read(GOOD, "entries.csv")
    assert found.extra == ("helm",)
    assert found.entries == (Entry(2, "QUA 117", "Sea Lark", ("Petra",)), Entry(5, "ske-9", "", ("",)))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("header", ["Sail number{0}Boat", "sail-no{0}BOAT NAME", "SailNr{0}Yacht"])
def test_what_is_pasted_may_be_apart_by_tabs_semicolons_or_commas(separator, header):
    text = header.format(separator) + f"\nQUA 117{separator}Sea Lark\n"
    assert read_pasted(text).entries == (Entry(2, "QUA 117", "Sea Lark"),)


def test_a_workbook_and_a_quoted_cell():
    assert read(workbook(["boat", "sail_number"], ["Sea Lark", 117]), "e.xlsx").entries == (
        Entry(2, "117", "Sea Lark"),
    )
    assert read(b'boat,sail_number\n"Lark, Sea",117\n', "e.csv").entries[0].boat == "Lark, Sea"


def test_one_of_the_two_columns_is_enough():
    assert read(b"boat\nSea Lark\n", "e.csv").entries == (Entry(2, "", "Sea Lark"),)


def test_right_to_left_and_combining_signs_are_texts():
    text = "sail_number,boat\nQUA 1,\u0646\u0648\u0631\u0633\nQUA 2,E\u0301te\u0301\n"
    assert [one.boat for one in read(text.encode(), "e.csv").entries] == ["\u0646\u0648\u0631\u0633", "\u00c9t\u00e9"]


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "entries.csv: found an empty file; expected a first row that names the columns"),
        (b" \n\n", "entries.csv: found an empty file"),
        (b"# nothing\n", "entries.csv: found no row that says anything"),
        (b"sail_number,boat\n", "entries.csv: found no entries below the names of the columns"),
        (b"number,name\nQUA 1,x\n", "entries.csv, row 1: found \u201cnumber, name\u201d; expected a first row"),
        (b"boat,Boat name\na,b\n", "row 1, column boat: found \u201cBoat name\u201d; expected each column once"),
        (b"boat,helm,helm\na,b,c\n", "row 1, column helm: found \u201chelm\u201d; expected each column once"),
        (b"sail_number,boat,helm\n,,Petra\n", "row 2, column sail_number or boat: found nothing; expected"),
        (b"boat,helm\nSea Lark,Petra,x\n", "row 2, column column 3: found \u201cx\u201d; expected at most 2 cells"),
        (b"boat\n=1+1\n", "row 2, column boat: found \u201c=1+1\u201d; expected the value itself, no formula"),
        (b"boat\nSea\x00Lark\n", "row 2, column boat: found character U+0000 in the text"),
        ("boat\nSea\u202eLark\n".encode(), "row 2, column boat: found RIGHT-TO-LEFT OVERRIDE in the text"),
        (b"boat\n" + b"x" * 121, "row 2, column boat: found 121 characters; expected at most 120"),
        ("boat\n" + "e\u0301" * 10 + "\u0301" * 150, "row 2, column boat: found 160 characters; expected at most 120"),
        ("boat\nFo\u00ebhn\n".encode("latin-1"), "row 2: found byte 0xEB after \u201cFo\u201d; expected text in UTF-8"),
        ("boat\nSea Lark\n".encode("utf-16"), "row 1: found text in UTF-16; expected text in UTF-8"),
        (b'boat\n"Sea" Lark\n', "row 2: found"),
        (b"%PDF-1.7\n...", "entries.csv: found a PDF; expected the list itself as CSV or XLSX"),
        (b"\xd0\xcf\x11\xe0rest", "found an old workbook or one with a password"),
        (b"PK\x03\x04rest", "found a file that is no workbook or is damaged"),
        (b"boat\n" + b"x" * entry_file.LARGEST_FILE, "found more than 2 MiB; expected at most 2 MiB"),
        (b"boat" + b",c" * 40 + b"\n", "row 1: found 41 columns; expected at most 40"),
    ],
)  # fmt: skip
def test_each_fault_has_its_own_sentence(data, sentence):
    found = refusals(data if isinstance(data, bytes) else data.encode())
    assert any(sentence in one for one in found), found


def test_every_fault_is_told_at_once():
    found = refusals(b"sail_number,boat\n,\x01\n=A1,x\n" + b"9" * 41 + b",y\n")
    assert [one.split(":")[0] for one in found] == [
        "entries.csv, row 2, column boat", "entries.csv, row 3, column sail_number",
        "entries.csv, row 4, column sail_number",
    ]  # fmt: skip


def test_fifty_thousand_rows_are_told_the_limit_once():
    found = refusals(b"sail_number,boat\n" + b"".join(b"QUA %d,Sea\n" % one for one in range(50_000)))
    assert found == ["entries.csv, row 5002: found more than 5000 entries; expected at most 5000 entries"]


def test_fifty_thousand_rows_in_a_workbook():
    rows = [
        ["sail_number", "boat", "a", "b", "c"],
        *([f"QUA {one}", "Sea Lark", "x", "y", "z"] for one in range(50_000)),
    ]
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet()
    for row in rows:
        sheet.append(row)
    packed = io.BytesIO()
    book.save(packed)
    found = refusals(packed.getvalue(), "e.xlsx")
    assert len(found) == 1
    assert "at most 5000 entries" in found[0]


def test_merged_cells_and_formulas_name_their_place():
    head, line = ["sail_number", "boat"], ["QUA 1", "Sea Lark"]
    merged = workbook(head, line, line, change=lambda sheet: sheet.merge_cells("A2:A3"))
    assert refusals(merged, "e.xlsx") == ["e.xlsx: found merged cells A2:A3; expected no merged cells"]
    formula = workbook(head, ["=A1", "Sea Lark"])
    assert refusals(formula, "e.xlsx") == [
        "e.xlsx, row 2, column sail_number: found a formula; expected the value itself"
    ]


def test_a_file_that_is_called_a_workbook_and_is_none():
    assert refusals(GOOD, "entries.xlsx") == [
        "entries.xlsx: found a file that is no .xlsx workbook; expected an .xlsx workbook"
    ]


def test_a_workbook_that_unpacks_to_too_much_is_refused(monkeypatch):
    """A bomb is refused by what it says of itself, and while it is unpacked if that was a lie."""
    packed = io.BytesIO(workbook(["sail_number", "boat"], ["QUA 1", "Gull"]))
    with zipfile.ZipFile(packed, "a", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/media/image1.png", b"\0" * (60 * 1024 * 1024))
    assert len(packed.getvalue()) < 1024 * 1024
    monkeypatch.setattr(xlsx_file, "_unpack", lambda *_: pytest.fail("unpacked a bomb"))
    assert "50 MiB" in refusals(packed.getvalue(), "entries.xlsx")[0]
