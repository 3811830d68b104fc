"""The table behind both kinds of file: header, blank and comment lines, cells made safe and put under their columns."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from surveys.logsheet.cells import nearest
from surveys.logsheet.document import LogSheet, Row
from surveys.logsheet.errors import Findings
from surveys.logsheet.fields import COLUMNS, MOST_COLUMNS, MOST_ROWS, OPTIONAL_COLUMNS

RawRow = tuple[int, Sequence[str]]
Cells = dict[str, str]

# Controls, line separators, writing-direction overrides, lone surrogates and noncharacters: none can be seen on paper,
# some cannot be stored in XML, and all can make a text read as something else.
UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufdd0-\ufdef\ufeff\ufffe\uffff\ud800-\udfff]"
)
# A spreadsheet takes a text that begins like this for a formula; an apostrophe before it keeps it a text
# (OWASP ASVS 5.0.0, 1.2.10, from memory).
_FORMULA_STARTS = ("=", "+", "-", "@")
_SIGNED_NUMBER = re.compile(r"[+-]\d+(?:[.,]\d+)?", re.ASCII)


def rows_of(table: Iterable[RawRow], findings: Findings) -> list[tuple[int, Cells]]:
    """The rows that say something, each as a mapping from column to cleaned text.

    The first row that is neither blank nor a comment is the header. Too many rows end the reading, since
    whatever follows would be as many errors again.
    """
    lines = (line for line in table if not _says_nothing(line[1]))
    header_line = next(lines, None)
    if header_line is None:
        if not findings:
            findings.add(None, "", "no header", f"a first row with the columns {','.join(COLUMNS)}", quoted=False)
        return []
    header = _header(*header_line, findings)
    if header is None:
        return []
    rows: list[tuple[int, Cells]] = []
    for number, raw in lines:
        if len(rows) == MOST_ROWS:
            findings.add(number, "", f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS} rows", quoted=False)
            break
        rows.append((number, _cells(number, raw, header, findings)))
    if not rows and not findings:
        findings.add(None, "", "no rows below the header", "at least one row", quoted=False)
    return rows


def _says_nothing(raw: Sequence[str]) -> bool:
    filled = [cell for cell in raw if cell and not cell.isspace()]
    return not filled or (len(filled) == 1 and raw[0].startswith("#"))


def _header(number: int, raw: Sequence[str], findings: Findings) -> list[str] | None:
    """Names of the columns in the file's order ("" for an unknown one), or None where rows cannot be understood."""
    names = [name.strip().casefold() for name in raw]
    while names and not names[-1]:
        names.pop()
    if len(names) > MOST_COLUMNS:
        findings.add(number, "", f"{len(names)} columns", f"the columns {', '.join(COLUMNS)}", quoted=False)
        return None
    if len(names) == 1 and (separator := re.search("[;\t|]", names[0])):
        found = {";": "semicolons", "\t": "tabs"}.get(separator[0], "bars")
        findings.add(number, "", f"columns separated by {found}", "columns separated by commas", quoted=False)
        return None
    for index, name in enumerate(names):
        if name not in COLUMNS:
            expected = f"one of the columns {', '.join(COLUMNS)}{nearest(name, COLUMNS)}"
            findings.add(number, "", raw[index].strip(), expected)
        elif name in names[:index]:
            findings.add(number, name, name, "each column once")
    missing = [column for column in COLUMNS if column not in names]
    for column in missing:
        findings.add(number, column, "no such column", f"a column named {column}", quoted=False)
    if not OPTIONAL_COLUMNS.issuperset(missing):
        return None
    return [name if name in COLUMNS and name not in names[:index] else "" for index, name in enumerate(names)]


def _cells(number: int, raw: Sequence[str], header: list[str], findings: Findings) -> Cells:
    cells = dict.fromkeys(COLUMNS, "")
    unseen = UNSEEN.search("".join(raw)) is not None
    for index, cell in enumerate(raw):
        text = cell.strip()
        if not text:
            continue
        if index >= len(header):
            findings.add(number, "", text, f"at most {len(header)} cells in the row")
            break
        if not (column := header[index]):
            continue
        if unseen and (character := UNSEEN.search(text)):
            name = unicodedata.name(character[0], f"character U+{ord(character[0]):04X}")
            findings.add(number, column, f"{name} in the text", "text without control characters", quoted=False)
            text = UNSEEN.sub("", text).strip()
        cells[column] = _unguarded(unicodedata.normalize("NFC", text))
    return cells


def _unguarded(text: str) -> str:
    if text.startswith("'") and text[1:].startswith((*_FORMULA_STARTS, "'")):
        return text[1:].lstrip()
    return text


def guarded(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would take it for a formula."""
    if not text.startswith((*_FORMULA_STARTS, "'")) or _SIGNED_NUMBER.fullmatch(text):
        return text
    if text.startswith("'") and not text[1:].startswith((*_FORMULA_STARTS, "'")):
        return text
    return f"'{text}"


def table_of(sheet: LogSheet) -> list[list[str]]:
    """The log sheet as a table, header first, in canonical order and form."""
    return [list(COLUMNS), *(_written(row) for row in sheet.rows)]


def _written(row: Row) -> list[str]:
    reading = row.record == "reading"
    return [
        row.record,
        row.item,
        row.mast,
        guarded(row.position),
        str(row.take) if reading else "",
        # A reading's value has been read as a number: it can be no formula, and stays as the measurer wrote it.
        row.value if reading else guarded(row.value),
        row.unit,
        guarded(row.instrument),
        guarded(row.remark),
    ]
