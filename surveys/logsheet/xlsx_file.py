"""Log sheets as the first sheet of an .xlsx: bytes to a table of cells and back.

An .xlsx is a zip of XML, made by strangers: its sizes are checked as declared and again while unpacking, and
what could run, fetch or hide something is refused before any of it is interpreted.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from surveys.logsheet.errors import Findings
from surveys.logsheet.fields import COLUMNS, MOST_COLUMNS
from surveys.logsheet.table import RawRow

LARGEST_UNPACKED = 50 * 1024 * 1024
LARGEST_PART = 1024 * 1024  # of parts other than sheets and their texts: styles, themes, relations
MOST_PARTS = 500
MOST_TAGS = 350_000  # a full sheet of 5,000 rows has 280,000, with every cell a text of its own
CHUNK = 256 * 1024

_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml", re.IGNORECASE)
_MACRO = re.compile(r"vbaProject|\.bin$|macrosheets/|activeX/|ctrlProps/|embeddings/|dialogsheets/", re.IGNORECASE)
_EXTERNAL = re.compile(r"externalLinks/|connections\.xml$|queryTables/", re.IGNORECASE)
_TAG = rb"<(?:[\w.-]+:)?"
_FORMULA = re.compile(_TAG + rb"f[\s/>]")
_MERGED = re.compile(_TAG + rb"mergeCell[\s/>][^>]*?ref\s*=\s*[\"']([A-Za-z0-9:]{1,40})")


@dataclass(frozen=True, slots=True)
class Kind:
    """What a workbook is to hold, in words; its most cells, as tags of XML, and columns; and what is asked of it."""

    what: str = "log sheet"
    most_tags: int = MOST_TAGS
    most_columns: int = MOST_COLUMNS
    expected_columns: str = f"the {len(COLUMNS)} columns of a log sheet"
    expected_size: str = "a workbook with the log sheet only"


LOG_SHEET = Kind()


class _RefusedError(Exception):
    """The workbook as a whole is refused: what was found, what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(found)
        self.found = found
        self.expected = expected


def read_table(data: bytes, findings: Findings, kind: Kind = LOG_SHEET) -> list[RawRow]:
    """The rows of the first sheet, each with its number and its cells as text."""
    try:
        formulas = _inspect(data, kind)
        before = len(findings)
        rows = _cells(data, findings, kind)
        if formulas and len(findings) == before:
            raise _RefusedError("a formula in another sheet", "a workbook without formulas")
    except _RefusedError as refused:
        findings.add(None, "", refused.found, refused.expected, quoted=False)
        return []
    return rows


def _inspect(data: bytes, kind: Kind) -> bool:
    """Refuse what is no plain workbook, before anything in it is interpreted; tell whether any sheet has a formula."""
    formulas = False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            if len(parts) > MOST_PARTS:
                raise _RefusedError(f"{len(parts)} parts in the workbook", f"at most {MOST_PARTS}")
            _check_size(sum(part.file_size for part in parts))
            tags = unpacked = 0
            for part in parts:
                _check_part(part)
                content = _unpack(archive, part, unpacked)
                unpacked += len(content)
                tags += content.count(b"<")
                if tags > kind.most_tags:
                    raise _RefusedError(f"far more cells than the {kind.what} may have", kind.expected_size)
                _check_content(part.filename, content)
                formulas = formulas or (bool(_SHEET.fullmatch(part.filename)) and bool(_FORMULA.search(content)))
    # The zip library's own: NotImplementedError for a way of packing it does not know, RuntimeError for a password.
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError):
        raise _RefusedError(
            "a file that is no workbook or is damaged", "an .xlsx workbook without a password"
        ) from None
    return formulas


def _check_size(unpacked: int) -> None:
    if unpacked > LARGEST_UNPACKED:
        raise _RefusedError("a workbook that unpacks to over 50 MiB", "at most 50 MiB unpacked")


def _check_part(part: zipfile.ZipInfo) -> None:
    name = part.filename
    if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or part.flag_bits & 0x1:
        raise _RefusedError("a workbook packed in an unusual way", "an .xlsx workbook without a password")
    if _MACRO.search(name):
        raise _RefusedError(f"a macro or an embedded object ({name[:60]})", "a workbook without macros and objects")
    if _EXTERNAL.search(name):
        raise _RefusedError(f"a link to another file ({name[:60]})", "a workbook without external links")
    plain = (
        name.lower().endswith((".xml", ".rels")) and not _SHEET.fullmatch(name) and "sharedstrings" not in name.lower()
    )
    if plain and part.file_size > LARGEST_PART:
        raise _RefusedError(f"a part of over 1 MiB ({name[:60]})", "a workbook with one plain table only")


def _unpack(archive: zipfile.ZipFile, part: zipfile.ZipInfo, already: int) -> bytes:
    """One part, counted while it is unpacked: what a zip declares need not be true."""
    pieces = []
    with archive.open(part) as stream:
        while piece := stream.read(CHUNK):
            already += len(piece)
            _check_size(already)
            pieces.append(piece)
    return b"".join(pieces)


def _check_content(name: str, content: bytes) -> None:
    small = name.lower()
    if not small.endswith((".xml", ".rels", ".vml")):
        return
    if b"\0" in content or b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise _RefusedError(f"XML with its own definitions or not in UTF-8 ({name[:60]})", "an ordinary .xlsx workbook")
    if b"macroEnabled" in content and small == "[content_types].xml":
        raise _RefusedError("a workbook made for macros", "an .xlsx workbook without macros")
    if small.endswith(".rels") and re.search(rb"TargetMode\s*=\s*[\"']External", content, re.IGNORECASE):
        raise _RefusedError("a link to something outside the workbook", "a workbook without external links")
    if re.search(_TAG + rb"ddeLink|" + _TAG + rb"oleLink", content):
        raise _RefusedError("a link to another program", "a workbook without external links")
    if _SHEET.fullmatch(name) and (merged := _MERGED.search(content)):
        raise _RefusedError(f"merged cells {merged[1].decode()}", "no merged cells")


def _cells(data: bytes, findings: Findings, kind: Kind) -> list[RawRow]:
    """The first sheet's rows as text."""
    import openpyxl  # noqa: PLC0415  (takes a quarter of a second: only for spreadsheets)

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False, keep_links=False)
            sheet = book.worksheets[0]
            sheet.reset_dimensions()  # what the sheet says of its own size need not be true
            return list(_rows(sheet.iter_rows(), findings, kind))
    except _RefusedError:
        raise
    except Exception:  # noqa: BLE001 - a damaged workbook can fail anywhere within the library
        raise _RefusedError("a workbook that cannot be read", f"an .xlsx workbook with the {kind.what} first") from None


def _rows(sheet_rows: Iterable[Sequence[Any]], findings: Findings, kind: Kind) -> Iterator[RawRow]:
    """Each filled row with its number. Cells that hold no plain text or number are noted under their column's name."""
    header: list[str] = []
    for number, cells in enumerate(sheet_rows, start=1):
        if len(cells) > kind.most_columns:
            raise _RefusedError(f"{len(cells)} columns in row {number}", kind.expected_columns)
        if findings.full:
            return
        raw: list[str] = []
        for index, cell in enumerate(cells):
            text, refused = _text(cell)
            raw.append(text)
            if refused:
                column = header[index] if index < len(header) and header[index] else _letter(index)
                findings.add(number, column, text, refused, quoted=False)
        if any(raw) and not raw[0].startswith("#"):
            header = header or [name.strip().casefold() for name in raw]
            yield number, raw


def _letter(index: int) -> str:
    """The letter a spreadsheet gives the column, up to ZZ."""
    first, second = divmod(index, 26)
    return (chr(64 + first) if first else "") + chr(65 + second)


def _text(cell: Any) -> tuple[str, str]:
    """The cell as text, and what was expected instead where the cell is refused."""
    value, expected = cell.value, ""
    if cell.data_type == "f":
        text, expected = "a formula", "the value itself"
    elif cell.data_type == "e":
        text, expected = f"the error {str(value)[:20]}", "a value"
    elif value is None:
        text = ""
    elif isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, float):
        # A spreadsheet keeps 15 digits; what follows them is the binary form's and nobody wrote it.
        text = f"{Decimal(f'{value:.15g}'):f}"
    elif isinstance(value, str | int):
        text = str(value)
    elif isinstance(value, dt.datetime) and value.time() == dt.time():
        text = value.date().isoformat()
    else:
        text, expected = f"the time {str(value)[:40]}", "a date, a number or a text"
    return text, expected


def write_table(table: Sequence[Sequence[str]]) -> bytes:
    """The table as a workbook of one sheet, every cell a text, so that no spreadsheet rewrites what was measured."""
    import pandas as pd  # noqa: PLC0415  (takes a second: only for spreadsheets)

    header, *rows = table
    packed = io.BytesIO()
    with pd.ExcelWriter(packed, engine="openpyxl") as writer:
        pd.DataFrame(rows, columns=pd.Index(header), dtype=str).to_excel(writer, sheet_name="log sheet", index=False)
        sheet = writer.sheets["log sheet"]
        sheet.freeze_panes = "A2"
        for column in sheet.columns:
            widest = max(len(str(cell.value or "")) for cell in column)
            sheet.column_dimensions[column[0].column_letter].width = min(max(widest + 2, 8), 40)
            for cell in column:
                cell.number_format = "@"
    return _without_clock(packed.getvalue())


# A workbook tells when it was written, in its properties and on each part of the zip; ours tell the earliest day a
# zip knows, so that the same log sheet is the same bytes.
_NO_DAY = (1980, 1, 1, 0, 0, 0)
_WRITTEN_AT = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def _without_clock(workbook: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as given, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
        for part in given.infolist():
            content = given.read(part)
            if part.filename == "docProps/core.xml":
                content = _WRITTEN_AT.sub(rb"\g<1>1980-01-01T00:00:00Z", content)
            made.writestr(zipfile.ZipInfo(part.filename, _NO_DAY), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
