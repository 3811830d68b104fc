"""`manage.py fleet`: what all accepted visits together say about each tape and each measurer."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from computations.catalogue import READINGS
from computations.fleet.document import findings_document
from computations.fleet.findings import Findings
from computations.rounding import decimals_of_uncertainty, format_number
from office.management.log_sheets import table
from office.management.progress import Progress
from office.people.models import Person
from surveys.fleet import solve_fleet


class Command(BaseCommand):
    help = (
        "Prints the scale error of each tape, the bias of each measurer and the changes of rigs that all accepted "
        "visits together show. Changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        progress = Progress(self.stderr, "Reading visits")  # type: ignore[arg-type]
        findings = solve_fleet(progress).findings
        progress.end()
        if options["format"] == "json":
            document = findings_document(findings)
            self.stdout.write(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2))
        else:
            self.stdout.write(_page(findings, dict(Person.objects.values_list("key", "name"))))


def _page(findings: Findings, names: dict[str, str]) -> str:
    if not findings.tapes:
        return "No length has been read in more than one accepted visit yet: nothing can be said of tapes or measurers."
    biases = [
        [
            names.get(one.measurer, one.measurer),
            READINGS[one.kind].name,
            _signed(one.mm, one.expanded),
            _plain(one.expanded, one.expanded),
            str(one.readings),
            "beyond noise" if one.beyond_noise else "",
        ]
        for one in findings.biases
    ]
    changes = [
        [
            one.day.isoformat(),
            one.quantity.boat,
            " ".join(part for part in (READINGS[one.quantity.reading].name, one.quantity.position) if part),
            one.quantity.mast,
            _signed(one.mm, None),
        ]
        for one in findings.changes
    ]
    return "\n\n".join(
        (
            f"{findings.readings} readings of {findings.visits} accepted visits.",
            "\n".join(one.sentence for one in findings.tapes),
            "\n".join(findings.statements),
            table(["Measurer", "Reading", "Bias mm", "± U", "Readings", ""], biases, (2, 3, 4)),
            "Changes of rigs, each a new length from that day on:\n"
            + table(["Day", "Boat", "Reading", "Mast", "Change mm"], changes, (4,))
            if changes
            else "No change of a rig was found.",
        )
    )


def _plain(value: float | None, expanded: float | None) -> str:
    if value is None:
        return "–"
    return format_number(value, min(max((decimals_of_uncertainty(expanded) if expanded else 1) or 0, 0), 2))


def _signed(value: float | None, expanded: float | None) -> str:
    text = _plain(value, expanded)
    return f"+{text}" if value and value > 0 else text
