"""Log sheets as UTF-8 CSV: bytes to a table of cells and back.

A log sheet has no line breaks within cells, so each line is read on its own: a quotation mark left open spoils its
line and not the rest of the file, and a row's number is the line's.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Iterator

from surveys.logsheet.errors import Findings, shown
from surveys.logsheet.table import RawRow

MOST_LINES_NAMED = 1_000  # lines that are not UTF-8: a file with more is no text file at all
_OTHER_ENCODINGS = {codecs.BOM_UTF16_LE: "UTF-16", codecs.BOM_UTF16_BE: "UTF-16"}


def read_table(data: bytes, findings: Findings) -> Iterator[RawRow]:
    """The lines that are neither blank nor comments, each with its number and its cells as written."""
    for number, line in enumerate(lines_of(data, findings), start=1):
        if not line or line[0] == "#" or line.isspace():
            continue
        try:
            plain = '"' not in line  # then a comma is all there is to it, and splitting is twice as quick
            yield number, line.split(",") if plain else next(csv.reader((line,), strict=True, skipinitialspace=True))
        except csv.Error:
            findings.add(number, "", line, "cells separated by commas, a quotation mark within a quoted cell doubled")
            if findings.full:
                return


def lines_of(data: bytes, findings: Findings) -> list[str]:
    """The file's lines; those that are not UTF-8 are noted, and read on with a sign for what could not be read."""
    if (encoding := _OTHER_ENCODINGS.get(data[:2])) is not None:
        findings.add(1, "", f"text in {encoding}", "text in UTF-8", quoted=False)
        return []
    data = data.removeprefix(codecs.BOM_UTF8).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    try:
        return data.decode("utf-8").split("\n")
    except UnicodeDecodeError:
        return [_line(number, line, findings) for number, line in enumerate(data.split(b"\n"), start=1)]


def _line(number: int, line: bytes, findings: Findings) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError as error:
        if len(findings) >= MOST_LINES_NAMED:
            return line.decode("utf-8", errors="replace")
        before = shown(line[: error.start].decode("utf-8")[-20:])
        found = f"byte 0x{line[error.start]:02X} after “{before}”"
        findings.add(number, "", found, "text in UTF-8", quoted=False)
        return line.decode("utf-8", errors="replace")


def write_table(table: Iterable[Iterable[str]]) -> bytes:
    """The table as CSV: commas, line feeds, quotation marks only where a cell needs them."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(table)
    return text.getvalue().encode("utf-8")
