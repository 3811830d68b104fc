"""A stored visit as a log sheet: the same writer that the commands use."""

from __future__ import annotations

from surveys.inputs import visit_inputs
from surveys.logsheet import LogSheet, write_csv, write_xlsx
from surveys.logsheet.outputs import from_inputs
from surveys.models import Visit

KINDS = {
    "csv": ("text/csv; charset=utf-8", write_csv),
    "xlsx": ("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", write_xlsx),
}


def log_sheet_of(visit: Visit) -> LogSheet:
    return from_inputs(visit_inputs(visit))


def file_name(visit: Visit, kind: str) -> str:
    """`GBR1234-2026-05-04.csv`: the boat and the day."""
    day = visit.date.isoformat() if visit.date else "undated"
    return f"{visit.boat.sail_number_normal}-{day}.{kind}"
