"""Reading and writing log sheet files: which kind of file it is, and the way from bytes to a log sheet and back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import replace

from surveys.logsheet import csv_file, xlsx_file
from surveys.logsheet.document import LogSheet
from surveys.logsheet.errors import Findings
from surveys.logsheet.fields import LARGEST_FILE
from surveys.logsheet.rows import NumberedRow, RowReader
from surveys.logsheet.table import RawRow, rows_of, table_of
from surveys.logsheet.whole import check_instruments, check_positions, check_repeats, with_masts

_ZIP = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # the container of .xls and of workbooks with a password


def read(
    data: bytes, filename: str, *, known_instruments: Collection[str] = (), today: dt.date | None = None
) -> LogSheet:
    """The log sheet in a CSV or XLSX file.

    `known_instruments` are the identifiers the office holds records of: readings may name these and the file's
    own. `today` is the last day a visit can have been on. Raises LogSheetErrors with every error of the file.
    """
    findings = Findings(filename)
    rows: list[NumberedRow] = []
    declared: set[str] = set()
    rig_type_refused = False
    reader = RowReader(findings, today or dt.date.today())  # noqa: DTZ011 - the office's own day
    for number, cells in rows_of(_raw_rows(data, filename, findings), findings):
        row = reader.read(number, cells)
        if row is not None:
            rows.append(row)
        elif cells["item"].casefold() == "rig_type":
            rig_type_refused = True
        if cells["record"].casefold() == "instrument":
            declared.add(cells["instrument"])
    rows = with_masts(rows, findings, rig_type_refused=rig_type_refused)
    check_repeats(rows, findings)
    check_positions(rows, findings)
    check_instruments(rows, declared, known_instruments, findings)
    findings.raise_if_any()
    return LogSheet.of(replace(one.row, line=one.number) for one in rows)


def _raw_rows(data: bytes, filename: str, findings: Findings) -> Iterable[RawRow]:
    """The file's table of cells; raises LogSheetErrors where there is none to be had."""
    workbook = data.startswith(_ZIP)
    if len(data) > LARGEST_FILE:
        findings.add(None, "", "more than 2 MiB", "at most 2 MiB (2097152 bytes)", quoted=False)
    elif not data:
        findings.add(None, "", "an empty file", "a log sheet as CSV or XLSX", quoted=False)
    elif data.startswith(_OLD_WORKBOOK):
        findings.add(
            None, "", "an old workbook or one with a password", "an .xlsx workbook or a CSV file", quoted=False
        )
    elif not workbook and filename.lower().endswith((".xlsx", ".xlsm", ".xls")):
        findings.add(None, "", "a file that is no .xlsx workbook", "an .xlsx workbook", quoted=False)
    findings.raise_if_any()
    if not workbook:
        return csv_file.read_table(data, findings)
    table = xlsx_file.read_table(data, findings)
    if not table:
        findings.raise_if_any()
    return table


def write_csv(sheet: LogSheet) -> bytes:
    """The log sheet as UTF-8 CSV, in canonical order and form."""
    return csv_file.write_table(table_of(sheet))


def write_xlsx(sheet: LogSheet) -> bytes:
    """The same table as the only sheet of an .xlsx."""
    return xlsx_file.write_table(table_of(sheet))
