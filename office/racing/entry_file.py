"""An entry list as a race committee has it, CSV, XLSX or pasted: read whole, or refused with every error at once.

The first row names the columns. Two are known, `sail_number` and `boat`, one of them is enough; all others are carried
through as they are.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from surveys.logsheet import LogSheetError, LogSheetErrors, csv_file, xlsx_file
from surveys.logsheet.errors import Findings
from surveys.logsheet.table import UNSEEN, RawRow

MOST_ENTRIES = 5_000
MOST_COLUMNS = 40
LARGEST_FILE = 2 * 1024 * 1024  # bytes
LONGEST = {"sail_number": 40, "boat": 120}
LONGEST_OTHER = 200
SHORT = min(LONGEST.values())  # a line of so few characters can have no cell that is too long
COLUMNS = ("sail_number", "boat")
PASTED = "the pasted list"
EXPECTED_COLUMNS = "a first row that names the columns, sail_number or boat among them"
_SIZE = f"at most {MOST_ENTRIES} entries"

# What a committee may call the two columns, without blanks, case and signs.
_NAMES = {
    **dict.fromkeys(("sailnumber", "sailno", "sailnr", "sail"), "sail_number"),
    **dict.fromkeys(("boat", "boatname", "boatsname", "yacht", "yachtname"), "boat"),
}
_SEPARATORS = ("\t", ";", ",")
_ZIP = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
_WORKBOOK = xlsx_file.Kind(
    what="entry list",
    most_tags=MOST_ENTRIES * 2 + MOST_ENTRIES * 20 * 6,  # a full list of twenty columns, every cell a text of its own
    most_columns=MOST_COLUMNS,
    expected_columns=f"at most {MOST_COLUMNS} columns",
    expected_size=f"a workbook with the entry list only, {_SIZE}",
)

EntryFileErrors = LogSheetErrors
EntryFileError = LogSheetError


class Entry(NamedTuple):
    """One line as it was written; `row` is its number in the file. One of the two texts may be empty."""

    row: int
    sail_number: str
    boat: str
    extra: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EntryFile:
    """`extra`: the names of the columns that are carried through, in the file's order."""

    extra: tuple[str, ...]
    entries: tuple[Entry, ...]


def read(data: bytes, filename: str) -> EntryFile:
    """The entries of a file. EntryFileErrors with every error, each with row and column where it has them."""
    findings = Findings(filename)
    lines = (line for line in _table(data, filename, findings) if _says_something(line[1]))
    first = next(lines, None)
    if first is None:
        if not findings:
            findings.add(None, "", "no row that says anything", EXPECTED_COLUMNS, quoted=False)
        findings.raise_if_any()
        return EntryFile((), ())
    header = _header(*first, findings)
    if header is None:
        findings.raise_if_any()
    names = header or []
    entries = tuple(_entries(names, lines, findings))
    if not entries and not findings:
        findings.add(None, "", "no entries below the names of the columns", "at least one entry", quoted=False)
    findings.raise_if_any()
    return EntryFile(tuple(name for name in names if name not in COLUMNS), entries)


def read_pasted(text: str) -> EntryFile:
    """The same of what was copied out of a spreadsheet or typed: columns apart by tabs, semicolons or commas."""
    return read(text.encode("utf-8", errors="replace"), PASTED)


# ---- Rows of cells ----


def _table(data: bytes, filename: str, findings: Findings) -> Iterable[RawRow]:
    found = expected = ""
    if len(data) > LARGEST_FILE:
        found, expected = "more than 2 MiB", f"at most 2 MiB, which is far more than {MOST_ENTRIES} entries need"
    elif not data.strip():
        found, expected = "an empty file" if filename != PASTED else "nothing", EXPECTED_COLUMNS
    elif data.startswith(_OLD_WORKBOOK):
        found, expected = "an old workbook or one with a password", "an .xlsx workbook or a CSV file"
    elif not data.startswith(_ZIP) and filename.lower().endswith((".xlsx", ".xlsm", ".xls")):
        found, expected = "a file that is no .xlsx workbook", "an .xlsx workbook"
    elif data.startswith(b"%PDF"):
        found, expected = "a PDF", "the list itself as CSV or XLSX"
    if found:
        findings.add(None, "", found, expected, quoted=False)
        return []
    if data.startswith(_ZIP):
        return xlsx_file.read_table(data, findings, _WORKBOOK)
    return _split(csv_file.lines_of(data, findings), findings)


def _split(lines: list[str], findings: Findings) -> Iterator[RawRow]:
    separator = ""
    for number, line in enumerate(lines, start=1):
        if not line or line[0] == "#" or line.isspace():
            continue
        separator = separator or max(_SEPARATORS, key=line.count)
        try:
            plain = '"' not in line
            cells = line.split(separator) if plain else next(csv.reader((line,), delimiter=separator, strict=True))
        except csv.Error:
            findings.add(number, "", line, "cells apart by one sign, a quotation mark within a quoted cell doubled")
            continue
        yield number, cells


def _says_something(cells: Sequence[str]) -> bool:
    return bool("".join(cells).strip()) and not cells[0].startswith("#")


# ---- The names of the columns ----


def _header(number: int, raw: Sequence[str], findings: Findings) -> list[str] | None:
    """The name of each column, the two known ones under their own; None where there is no reading on."""
    given = [_tidy(name) for name in raw]
    while given and not given[-1]:
        given.pop()
    if len(given) > MOST_COLUMNS:
        findings.add(number, "", f"{len(given)} columns", f"at most {MOST_COLUMNS}", quoted=False)
        return None
    names = [_NAMES.get(re.sub(r"[\W_]", "", name.casefold()), name or f"column {place}") for place, name in
             enumerate(given, start=1)]  # fmt: skip
    for place, name in enumerate(names):
        if UNSEEN.search(name):
            findings.add(number, f"column {place + 1}", name, "a name without control characters")
        elif len(name) > LONGEST_OTHER:
            findings.add(
                number, name[:20], f"a name of {len(name)} characters", f"at most {LONGEST_OTHER}", quoted=False
            )
        elif name in names[:place]:
            findings.add(number, name, given[place], "each column once")
    if not set(names).intersection(COLUMNS):
        shown = ", ".join(given[:6])
        findings.add(number, "", shown, EXPECTED_COLUMNS)
        return None
    return names


# ---- The entries ----


def _entries(names: list[str], lines: Iterable[RawRow], findings: Findings) -> Iterator[Entry]:
    places = [names.index(name) if name in names else -1 for name in COLUMNS]
    others = [place for place, name in enumerate(names) if name not in COLUMNS]
    width = len(names)
    for count, (number, raw) in enumerate(lines):
        if count == MOST_ENTRIES:
            findings.add(number, "", f"more than {MOST_ENTRIES} entries", _SIZE, quoted=False)
            return
        whole = "".join(raw)
        plain = whole.isascii() and "'" not in whole
        cells = [cell.strip() for cell in raw] if plain else [_tidy(cell) for cell in raw]
        whole = "".join(cells)
        if len(cells) > width or len(whole) > SHORT or "=" in whole or not whole.isprintable():
            _check_cells(number, names, cells, findings)
        if len(cells) < width:
            cells += [""] * (width - len(cells))
        sail_number, boat = (cells[place] if place >= 0 else "" for place in places)
        if not sail_number and not boat:
            findings.add(number, " or ".join(name for name in COLUMNS if name in names), "", "a sail number or a boat")
        yield Entry(number, sail_number, boat, tuple([cells[place] for place in others]))


def _check_cells(number: int, names: list[str], cells: list[str], findings: Findings) -> None:
    for place, text in enumerate(cells):
        if not text:
            continue
        if place >= len(names):
            findings.add(number, f"column {place + 1}", text, f"at most {len(names)} cells, as in the first row")
            return
        name = names[place]
        if not text.isprintable() and (sign := UNSEEN.search(text)):
            called = unicodedata.name(sign[0], f"character U+{ord(sign[0]):04X}")
            findings.add(number, name, f"{called} in the text", "text without control characters", quoted=False)
        elif text[0] == "=":
            findings.add(number, name, text, "the value itself, no formula")
        elif len(text) > (longest := LONGEST.get(name, LONGEST_OTHER)):
            findings.add(number, name, f"{len(text)} characters", f"at most {longest}", quoted=False)


def _tidy(text: str) -> str:
    """Without blanks round it, composed (NFC); the apostrophe that keeps a formula a text is gone."""
    line = text.strip()
    if not line.isascii():
        line = unicodedata.normalize("NFC", line)
    return line[1:] if line[:1] == "'" and line[1:2] in {"=", "+", "-", "@"} else line
