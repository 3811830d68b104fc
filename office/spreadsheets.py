"""A table as CSV or XLSX for a spreadsheet, with nothing in it that the spreadsheet would run.

A text that a spreadsheet would take for a formula gets an apostrophe before it (OWASP, CSV injection; from memory).
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import unicodedata
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

Cell = str | int | float | bool | dt.date | None
Row = Sequence[Cell]

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
KINDS = {"csv": "text/csv; charset=utf-8", "xlsx": XLSX}
_STARTS_FORMULA = "=+-@\t\r"


def answer(kind: str, name: str, header: Sequence[str], rows: Iterable[Row]) -> HttpResponse:
    """The file to be saved as `name` with its ending; `kind` is csv or xlsx."""
    content = as_csv(header, rows) if kind == "csv" else as_xlsx(header, rows)
    return HttpResponse(
        content,
        content_type=KINDS[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}.{kind}"', "Cache-Control": "no-store"},
    )


def safe(cell: Cell) -> Cell:
    """Text without control characters, and never the beginning of a formula; other values as they are."""
    if isinstance(cell, dt.date):
        return cell.isoformat()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if not isinstance(cell, str):
        return cell
    text = "".join(sign for sign in cell if sign in "\n\t" or unicodedata.category(sign) not in {"Cc", "Cs"})
    text = text.replace("\ufffe", "").replace("\uffff", "")  # no signs of XML, hence of no spreadsheet
    starts = unicodedata.normalize("NFKC", text).lstrip(" \n")[:1]  # of what is left: a control before it is gone
    return f"'{text}" if starts and starts in _STARTS_FORMULA else text


def as_csv(header: Sequence[str], rows: Iterable[Row]) -> bytes:
    """UTF-8, RFC 4180."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([safe(cell) for cell in row] for row in rows)
    return out.getvalue().encode()


def as_xlsx(header: Sequence[str], rows: Iterable[Row]) -> bytes:
    """One sheet; every text is a text cell, whatever it begins with."""
    from openpyxl import Workbook  # noqa: PLC0415  (takes a quarter of a second: only for spreadsheets)

    book = Workbook(write_only=True)
    sheet = book.create_sheet()
    sheet.append(list(header))
    for row in rows:
        sheet.append([safe(cell) for cell in row])
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()
