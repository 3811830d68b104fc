"""What the commands on log sheet files share: no database, every error on standard error, tables for people."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand

from computations.inputs import Visit
from surveys.logsheet import LogSheetError, LogSheetErrors, read, to_inputs
from surveys.logsheet.fields import LARGEST_FILE


class LogSheetCommand(BaseCommand):
    """A command that reads log sheets from files and prints what follows from them."""

    requires_system_checks = ()  # some checks ask the database, and there need not be one
    requires_migrations_checks = False

    def read_visits(self, paths: Sequence[str]) -> list[Visit]:
        """The visits in these files, in their order. Ends the command with status 2 where any file has an error."""
        visits: list[Visit] = []
        errors: list[LogSheetError] = []
        for place, path in enumerate(paths, start=1):
            try:
                # Two files are two visits, even where they say the same.
                visits.append(to_inputs(read(self._bytes_of(path), path), key=f"{place} {path}")[0])
            except LogSheetErrors as refused:
                errors.extend(refused.errors)
        if errors:
            self.refuse(str(error) for error in errors)
        return visits

    def refuse(self, sentences: Any) -> NoReturn:
        """End with status 2 and the sentences on standard error; nothing has been printed yet."""
        for sentence in sentences:
            self.stderr.write(sentence)
        raise SystemExit(2)

    def print_json(self, documents: Sequence[dict[str, Any]]) -> None:
        """One object for one document, a list for several; numbers unrounded."""
        content = documents[0] if len(documents) == 1 else documents
        self.stdout.write(json.dumps(content, ensure_ascii=False, allow_nan=False, indent=2))

    @staticmethod
    def _bytes_of(path: str) -> bytes:
        try:
            with Path(path).open("rb") as file:
                return file.read(LARGEST_FILE + 1)
        except OSError as error:
            found = f"no file that can be read ({error.strerror})"
            raise LogSheetErrors([LogSheetError(path, None, "", found, "a log sheet as CSV or XLSX")]) from None


def heading(visit: Visit) -> str:
    """The visit in one line: boat, sail number, day, place."""
    parts = (visit.boat, visit.sail_number, visit.date.isoformat() if visit.date else "", visit.place)
    return ", ".join(part for part in parts if part) or "A visit to a boat without a name"


def table(header: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> str:
    """Columns two blanks apart, those in `right` set right; blanks at the ends of lines left out."""
    lines = [header, *rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    lines.insert(1, ["-" * width for width in widths])
    return "\n".join(
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )
