"""`manage.py check_entries ENTRIES --from DATE --to DATE`: how each boat of a list stands over an event's days."""

from __future__ import annotations

import csv
import datetime as dt
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from django.core.management.base import BaseCommand

from office import marks
from office.management.log_sheets import table
from office.racing import entry_file, results
from office.racing.checking import check_entries

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from django.core.management.base import CommandParser

    from office.racing.entry_file import EntryFile
    from office.racing.results import Result


class Command(BaseCommand):
    help = "Checks an entry list (CSV or XLSX, columns sail_number and boat) against the certificates; stores nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("entries", metavar="ENTRIES", help="the entry list, CSV or XLSX")
        parser.add_argument("--from", dest="first", required=True, metavar="DATE", help="the event's first day")
        parser.add_argument("--to", dest="last", required=True, metavar="DATE", help="the event's last day")
        parser.add_argument("--format", choices=("table", "json", "csv"), default="table")

    def handle(self, *args: Any, entries: str, first: str, last: str, format: str, **options: Any) -> None:  # noqa: A002
        errors: list[str] = []
        from_day, to_day = (_day(name, text, errors) for name, text in (("--from", first), ("--to", last)))
        if from_day and to_day and to_day < from_day:
            errors.append(f"--to: found {last}, before {first}; expected the event's last day, not before its first")
        file = _read(entries, errors)
        if errors or file is None or from_day is None or to_day is None:
            self._refuse(errors)
        found = check_entries(file.entries, from_day, to_day)
        if format == "json":
            self.stdout.write(json.dumps(results.document(found, file.extra), ensure_ascii=False, indent=2))
        elif format == "csv":
            header, rows = results.table(found, file.extra)
            writer = csv.writer(self.stdout, lineterminator="\n")
            writer.writerows([header, *rows])
        else:
            self.stdout.write(_page(found))

    def _refuse(self, sentences: Iterable[str]) -> NoReturn:
        """End with status 2 and the sentences on standard error; nothing has been printed."""
        for sentence in sentences:
            self.stderr.write(sentence)
        raise SystemExit(2)


def _day(name: str, text: str, errors: list[str]) -> dt.date | None:
    try:
        return dt.datetime.strptime(text, "%Y-%m-%d").date()  # noqa: DTZ007 - a day has no zone
    except ValueError:
        errors.append(f"{name}: found “{text[:40]}”; expected a date as in 2026-05-04")
        return None


def _read(path: str, errors: list[str]) -> EntryFile | None:
    try:
        with Path(path).open("rb") as file:
            data = file.read(entry_file.LARGEST_FILE + 1)
        return entry_file.read(data, path)
    except OSError as error:
        errors.append(f"{path}: found no file that can be read ({error.strerror}); expected an entry list, CSV or XLSX")
    except entry_file.EntryFileErrors as refused:
        errors.extend(map(str, refused.errors))
    return None


def _page(found: Sequence[Result]) -> str:
    """The table, and below it how many of each."""
    rows = [
        [
            str(one.row),
            one.sail_number,
            one.boat,
            marks.STATES[one.status].word,
            one.certificate,
            one.valid_from,
            one.valid_until,
            _about(one),
        ]
        for one in found
    ]
    header = ["Row", "Sail number", "Boat", "Over the event", "Certificate", "From", "Until", ""]
    counts = ", ".join(
        f"{marks.STATES[status].word.lower()} {number}" for status, number in results.count(found).items() if number
    )
    return f"{table(header, rows, right=(0,))}\n\n{len(found)} entries: {counts}"


def _about(one: Result) -> str:
    offered = "may be " + ", ".join(map(str, one.offered)) if one.offered else ""
    other = f"is {one.matched}" if one.matched and (one.matched.name, one.matched.sail_number) != (
        one.boat, one.sail_number) else ""  # fmt: skip
    return "; ".join(text for text in (other, offered, one.why if not one.matched else "", *one.notes) if text)
