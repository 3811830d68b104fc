"""Log sheets as workbooks: cells as people fill them, and everything a workbook must not bring along."""

from __future__ import annotations

import datetime as dt
import io
import re
import struct
import zipfile
from collections.abc import Callable, Sequence

import openpyxl
import pytest
from openpyxl.comments import Comment

from surveys.logsheet import COLUMNS, LogSheetError, LogSheetErrors, read, write_csv, write_xlsx, xlsx_file

TODAY = dt.date(2024, 6, 1)
PLAIN = ["reading", "P", None, None, 1, 12150.5, "mm", None, None]


def workbook(*rows: Sequence[object], change: Callable[[openpyxl.Workbook], None] | None = None) -> bytes:
    """A workbook with the header in row 1 and the given rows below."""
    book = openpyxl.Workbook()
    book.active.append(list(COLUMNS))
    for row in rows:
        book.active.append(row)
    if change:
        change(book)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def repacked(data: bytes, edit: Callable[[dict[str, bytes]], None], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """The workbook with its parts edited as bytes."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    edit(parts)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return packed.getvalue()


def errors(data: bytes, name: str = "log.xlsx") -> list[LogSheetError]:
    with pytest.raises(LogSheetErrors) as caught:
        read(data, name, today=TODAY)
    return caught.value.errors


def only(data: bytes) -> LogSheetError:
    found = errors(data)
    assert len(found) == 1, [str(error) for error in found]
    return found[0]


def test_cells_as_people_fill_them():
    sheet = read(
        workbook(
            ["# comment", "more", None, None, None, None, None, None, None],
            [],
            ["visit", "date", None, None, None, dt.date(2024, 5, 16), None, None, None],
            ["visit", "air_temperature", None, None, None, 14.5, "degC", None, None],
            ["visit", "sail_number", None, None, None, 214, None, None, None],
            ["rig", "upper_band", None, None, None, True, None, None, None],
            ["rig", "spreader_pairs", None, None, None, 2.0, None, None, None],
            ["reading", "P", "main", None, 1, 12150, None, None, "first"],
            ["reading", "P", "main", None, 2.0, 0.1 + 12150.2, None, None, None],
            ["reading", "J", "main", None, None, "11 ft 11 5/16 in", None, None, None],
        ),
        "log.xlsx",
        today=TODAY,
    )
    assert [(row.item, row.take, row.value) for row in sheet.rows] == [
        ("sail_number", 1, "214"),
        ("date", 1, "2024-05-16"),
        ("air_temperature", 1, "14.5"),
        ("spreader_pairs", 1, "2"),
        ("upper_band", 1, "yes"),
        ("luff_between_bands", 1, "12150"),
        ("luff_between_bands", 2, "12150.3"),
        ("foretriangle_base", 1, "11 ft 11 5/16 in"),
    ]


def test_the_content_decides_not_the_name():
    assert read(workbook(PLAIN), "log.csv").rows[0].value == "12150.5"


def test_only_the_first_sheet_is_read():
    def second(book: openpyxl.Workbook) -> None:
        book.create_sheet("notes")["A1"] = "anything at all"

    assert len(read(workbook(PLAIN, change=second), "log.xlsx").rows) == 1


CELL_FAULTS = [
    ("=6075*2", "value", "a formula", "the value itself"),
    (
        dt.datetime.fromisoformat("2024-05-16T09:30"),
        "value",
        "the time 2024-05-16 09:30:00",
        "a date, a number or a text",
    ),
    (dt.time(9, 30), "value", "the time 09:30:00", "a date, a number or a text"),
    ("#N/A", "value", "the error #N/A", "a value"),
]


@pytest.mark.parametrize(("value", "column", "found", "expected"), CELL_FAULTS)
def test_a_cell_that_is_no_plain_value_is_named(value: object, column: str, found: str, expected: str):
    error = errors(workbook(["visit", "place", None, None, None, value, None, None, None]))[0]
    assert (error.row, error.column, error.found, error.expected) == (2, column, found, expected)


def test_a_date_where_a_number_belongs_shows_what_the_spreadsheet_made_of_it():
    row = [*PLAIN[:5], dt.date(2024, 2, 1), *PLAIN[6:]]
    error = only(workbook(row))
    assert error.found == "“2024-02-01”"
    assert "a length such as" in error.expected


def test_a_formula_in_another_sheet_is_refused():
    def second(book: openpyxl.Workbook) -> None:
        book.create_sheet("sums")["A1"] = "=1+1"

    assert only(workbook(PLAIN, change=second)).found == "a formula in another sheet"


def test_merged_cells_are_refused_and_named():
    error = only(workbook(PLAIN, change=lambda book: book.active.merge_cells("A3:C4")))
    assert error.found == "merged cells A3:C4"


def test_a_comment_on_a_cell_is_no_harm():
    def remark(book: openpyxl.Workbook) -> None:
        book.active["A2"].comment = Comment("taken twice", "O. V.")

    assert read(workbook(PLAIN, change=remark), "log.xlsx").rows


def _link(book: openpyxl.Workbook) -> None:
    book.active["I2"].value = "see here"
    book.active["I2"].hyperlink = "https://example.invalid/"


def _add(name: str, content: bytes = b"<x/>") -> Callable[[dict[str, bytes]], None]:
    return lambda parts: parts.update({name: content})


def _macro_type(parts: dict[str, bytes]) -> None:
    name = "[Content_Types].xml"
    parts[name] = parts[name].replace(
        b"vnd.openxmlformats-officedocument.spreadsheetml.sheet.main", b"vnd.ms-excel.sheet.macroEnabled.main"
    )


def _entities(parts: dict[str, bytes]) -> None:
    name = "xl/worksheets/sheet1.xml"
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]>'
    parts[name] = bomb + re.sub(rb"<\?xml.*?\?>", b"", parts[name])


def _utf16(parts: dict[str, bytes]) -> None:
    name = "xl/worksheets/sheet1.xml"
    parts[name] = parts[name].decode().encode("utf-16")


REFUSED_WHOLE = {
    "a macro": (_add("xl/vbaProject.bin"), "a macro"),
    "a macro sheet": (_add("xl/macrosheets/sheet1.xml"), "a macro"),
    "a macro by its type": (_macro_type, "made for macros"),
    "an embedded object": (_add("xl/embeddings/object1.ole"), "embedded object"),
    "an external workbook": (_add("xl/externalLinks/externalLink1.xml"), "a link to another file"),
    "a data connection": (_add("xl/connections.xml"), "a link to another file"),
    "a program link": (_add("xl/x.xml", b"<a><ddeLink/></a>"), "a link to another program"),
    "entities": (_entities, "XML with its own definitions"),
    "UTF-16 parts": (_utf16, "XML with its own definitions"),
    "huge styles": (_add("xl/styles.xml", b"<x>" + b" " * 1024 * 1024 + b"</x>"), "a part of over 1 MiB"),
    "too many tags": (_add("xl/worksheets/sheet9.xml", b"<c/>" * 500_001), "far more cells"),
    "too many parts": (lambda parts: parts.update({f"x{n}": b"" for n in range(500)}), "parts in the workbook"),
    "no workbook": (lambda parts: parts.pop("xl/workbook.xml"), "cannot be read"),
    "a broken sheet": (_add("xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row>"), "cannot be read"),
}


@pytest.mark.parametrize("case", REFUSED_WHOLE)
def test_what_a_workbook_must_not_bring(case: str):
    edit, found = REFUSED_WHOLE[case]
    error = only(repacked(workbook(PLAIN), edit))
    assert error.row is None
    assert found in error.found


def test_a_hyperlink_is_an_external_link():
    assert only(workbook(PLAIN, change=_link)).found == "a link to something outside the workbook"


def test_over_50_mib_unpacked_is_refused_before_unpacking(monkeypatch: pytest.MonkeyPatch):
    bomb = repacked(workbook(PLAIN), _add("xl/media/image1.png", b"\0" * (50 * 1024 * 1024)))
    assert len(bomb) < 1024 * 1024
    monkeypatch.setattr(xlsx_file, "_unpack", lambda *_: pytest.fail("unpacked a bomb"))
    assert only(bomb).found == "a workbook that unpacks to over 50 MiB"


def test_a_part_larger_than_it_declares_is_refused_while_unpacking():
    """The zip's directory says 10 bytes; the packed stream holds 60 MiB."""
    name = b"xl/media/image1.png"
    bomb = bytearray(repacked(workbook(PLAIN), _add(name.decode(), b"\0" * (60 * 1024 * 1024))))
    entry = bomb.rindex(name) - 46
    assert bomb[entry : entry + 4] == b"PK\x01\x02"
    bomb[entry + 24 : entry + 28] = struct.pack("<I", 10)
    assert errors(bytes(bomb))[0].row is None


def test_unusual_packing_is_refused():
    assert "unusual" in only(repacked(workbook(PLAIN), lambda _: None, method=zipfile.ZIP_LZMA)).found


def test_a_password_is_refused():
    data = bytearray(workbook(PLAIN))
    for mark, offset in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        place = data.index(mark)
        data[place + offset] |= 1
    assert "unusual" in only(bytes(data)).found


@pytest.mark.parametrize("length", [4, 30, 200, 2000, -30])
def test_a_cut_file_is_damaged(length: int):
    assert errors(workbook(PLAIN)[:length])[0].row is None


def test_a_sheet_that_lies_about_its_size_is_read_whole():
    def lie(parts: dict[str, bytes]) -> None:
        name = "xl/worksheets/sheet1.xml"
        parts[name] = re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B1"', parts[name])

    assert len(read(repacked(workbook(PLAIN), lie), "log.xlsx").rows) == 1


def test_cells_far_to_the_right_are_refused():
    error = only(workbook(PLAIN, change=lambda book: book.active.__setitem__("XFD2", "hidden")))
    assert "16384 columns in row 2" in error.found


def test_a_cell_in_the_last_row_of_all_is_read():
    def last(book: openpyxl.Workbook) -> None:
        for column, value in zip("ABF", ("reading", "J", "NaN"), strict=True):
            book.active[f"{column}1048576"] = value

    error = only(workbook(PLAIN, change=last))
    assert (error.row, error.column) == (1048576, "value")


def test_rows_below_the_five_thousandth_are_refused():
    rows = [["reading", "foot_distance", None, None, 1, 12000, None, None, None] for n in range(5001)]
    assert [error.found for error in errors(workbook(*rows)) if error.row == 5002] == ["more than 5000 rows"]


def test_written_cells_are_texts_and_read_back_the_same():
    sheet = read(
        b"\n".join(
            (
                ",".join(COLUMNS).encode(),
                b'visit,boat,,,,"\'=HYPERLINK(""http://example.invalid"")",,,',
                b"visit,place,,,,-2+3+cmd,,,+ windex @ truck",
                b"visit,sail_number,,,,0042,,,",
                b'reading,string_to_band,,,,"-0 ft 7 5/8""",,,',
                b"reading,P,,,,12150.0,mm,,",
            )
        ),
        "log.csv",
    )
    data = write_xlsx(sheet)
    cells = [cell for row in openpyxl.load_workbook(io.BytesIO(data)).active for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s"}
    assert {cell.number_format for cell in cells} == {"@"}
    assert not [cell.value for cell in cells if re.match(r"[=+@]|-\D", cell.value)]
    assert {"'-2+3+cmd", "'+ windex @ truck", '-0 ft 7 5/8"'} <= {cell.value for cell in cells}
    assert read(data, "log.xlsx") == sheet
    assert [row.value for row in sheet.rows if row.item == "boat"] == ['=HYPERLINK("http://example.invalid")']
    assert b"\"'=HYPERLINK" in write_csv(sheet)
