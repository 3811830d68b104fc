"""`manage.py derive LOG [LOG ...]`: dimensions, uncertainties and checks of log sheets, without any database."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING, Any, NamedTuple

from computations.catalogue import DIMENSIONS
from computations.checks import check
from computations.derivation import Derivation, derive
from computations.documents import budgets_document, derivation_document, next_reading_document
from computations.inputs import Assumptions, Visit
from computations.next_reading import USUAL_LIMITS, next_readings
from computations.results import CheckResult, DimensionResult
from computations.rounding import format_number, quote, written
from office.management.log_sheets import LogSheetCommand, heading, table
from surveys.logsheet.errors import shown
from surveys.logsheet.table import guarded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.core.management.base import CommandParser

CSV_COLUMNS = (
    "log", "boat", "sail_number", "date", "name", "slug", "mast", "value", "unit",
    "standard_uncertainty", "expanded_uncertainty", "method",
)  # fmt: skip


class Derived(NamedTuple):
    """One log with what follows from it."""

    log: str
    visit: Visit
    derivation: Derivation
    checks: tuple[CheckResult, ...]


class Command(LogSheetCommand):
    help = "Prints the dimensions, uncertainties and checks that follow from log sheets. Needs no database."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("logs", nargs="+", metavar="LOG", help="a log sheet, as CSV or XLSX")
        parser.add_argument("--format", choices=("table", "json", "csv"), default="table")
        parser.add_argument("--budget", action="store_true", help="also every source of each uncertainty (not in CSV)")
        parser.add_argument(
            "--next-reading", action="store_true", help="also which reading would make the weakest figure surer"
        )

    def handle(self, *args: Any, logs: Sequence[str], format: str, **options: Any) -> None:  # noqa: A002
        assumptions = Assumptions()
        derived = []
        for log, visit in zip(logs, self.read_visits(logs), strict=True):
            derivation = derive(visit, assumptions)
            derived.append(Derived(log, visit, derivation, check(visit, derivation, assumptions)))
        if format == "json":
            self.print_json([_document(one, options) for one in derived])
        elif format == "csv":
            self._print_csv(derived)
        else:
            self.stdout.write("\n\n\n".join(_page(one, options) for one in derived))

    def _print_csv(self, derived: Sequence[Derived]) -> None:
        """One row for each dimension of each log; numbers unrounded, empty where a reading is missing."""
        lines = csv.writer(self.stdout, lineterminator="\n")
        lines.writerow(CSV_COLUMNS)
        for one in derived:
            for row in derivation_document(one.visit, one.derivation, one.checks)["dimensions"]:
                words = {"log": shown(one.log, 4096), "boat": one.visit.boat, "sail_number": one.visit.sail_number}
                told = {**row, "date": one.visit.date, **{name: guarded(word) for name, word in words.items()}}
                lines.writerow(told[column] for column in CSV_COLUMNS)


def _document(one: Derived, options: Mapping[str, Any]) -> dict[str, Any]:
    """The plain document; what was asked for besides stands under keys of its own."""
    document = derivation_document(one.visit, one.derivation, one.checks)
    if options["budget"]:
        document["budgets"] = budgets_document(one.derivation)
    if options["next_reading"]:
        document["next_reading"] = next_reading_document(next_readings(one.derivation, USUAL_LIMITS))
    return document


def _page(one: Derived, options: Mapping[str, Any]) -> str:
    """What people read: plain names first, values to the last digit of their uncertainty, what is open, the checks."""
    several = len(one.visit.rig.masts) > 1
    header = ["Dimension", "", *(["Mast"] if several else []), "Value", "± U", "Unit"]
    known = [row for row in one.derivation.dimensions if row.value is not None]
    rows = [
        [_name(row), DIMENSIONS[row.slug].symbol, *([row.mast] if several else []), *_figures(row)] for row in known
    ]
    figures = table(header, rows, right=(3, 4) if several else (2, 3))
    still_open = [
        f"{_name(row)}{f', {row.mast} mast' if several else ''}: {row.reason}"
        for row in one.derivation.dimensions
        if row.value is None
    ]
    findings = [f"{found.grade.upper()}: {found.message} {found.advice}".rstrip() for found in one.checks]
    parts = [heading(one.visit), figures, "\n".join(still_open), "\n".join(findings)]
    if options["next_reading"] and (found := next_readings(one.derivation, USUAL_LIMITS)):
        parts += [found.sentence, "\n".join(f"Or: {option.sentence}" for option in found.options[1:])]
    if options["budget"]:
        parts += [_budget(one.derivation, row) for row in known if row.standard_uncertainty]
    return "\n\n".join(part for part in parts if part)


def _budget(derivation: Derivation, row: DimensionResult) -> str:
    """Every source of one dimension, the greatest first."""
    lines = [
        [
            line.source,
            f"{line.size:.3g} {line.unit}",
            f"{line.sensitivity:.3g}",
            f"{line.contribution:.3g}",
            f"{100 * line.share:.1f} %",
        ]
        for line in derivation.budget(row.name, row.mast, row.method or None)
    ]
    return f"{_name(row)}, {row.mast}:\n" + table(
        ["Source", "u", "Sensitivity", "Contribution", "Share"], lines, (1, 2, 3, 4)
    )


def _name(row: DimensionResult) -> str:
    """The plain name, with the method where there are several."""
    return DIMENSIONS[row.slug].name + (f" ({row.method.replace('_', ' ')})" if row.method else "")


def _figures(row: DimensionResult) -> list[str]:
    """Value, U and unit."""
    assert row.value is not None  # noqa: S101 - the caller has sorted these out
    unit = "" if row.unit == "1" else row.unit
    if not row.expanded_uncertainty:
        return [format_number(row.value, DIMENSIONS[row.slug].decimals), "", unit]
    value, uncertainty = quote(row.value, row.expanded_uncertainty)
    return [written(value), written(uncertainty), unit]
