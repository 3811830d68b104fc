"""atheris on the reader of log sheets: any bytes are a log sheet, or refused with all that is wrong with them."""

from __future__ import annotations

import datetime as dt
import sys

import atheris  # type: ignore[import-untyped]

with atheris.instrument_imports(include=["surveys.logsheet"]):
    from surveys.logsheet import LogSheetErrors, read

TODAY = dt.date(2026, 5, 11)


def read_it(data: bytes) -> None:
    for name in ("sheet.csv", "sheet.xlsx"):
        try:
            read(data, name, today=TODAY)
        except LogSheetErrors:
            continue


if __name__ == "__main__":
    atheris.Setup(sys.argv, read_it)
    atheris.Fuzz()
