"""`manage.py recompute`: every stored visit derived again, against what was signed and certified."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from computations.catalogue import DIMENSIONS
from office.certificates.recomputing import Difference, Recomputed, difference_document, recompute
from office.management.log_sheets import table
from office.management.progress import Progress

MOST_SHOWN = 200  # rows of the table; the JSON has more


class Command(BaseCommand):
    help = (
        "Derives every stored visit again with the present code and reports each figure that differs from what was "
        "signed or certified. Stores nothing. Ends with 0 where nothing differs, else with 1."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        progress = Progress(self.stderr, "Deriving visits")  # type: ignore[arg-type]
        found = recompute(progress)
        progress.end()
        if options["format"] == "json":
            document = {
                "visits": found.visits,
                "signatures": found.signatures,
                "certificates": found.certificates,
                "differing": found.differing,
                "differences": [difference_document(one) for one in found.differences],
            }
            self.stdout.write(json.dumps(document, ensure_ascii=False, indent=2))
        else:
            self.stdout.write(_page(found))
        if found.differing:
            raise SystemExit(1)


def _page(found: Recomputed) -> str:
    looked = (
        f"{found.visits} visits derived; held against {found.signatures} signatures "
        f"and {found.certificates} certificates."
    )
    if not found.differences:
        return f"{looked}\nEvery figure is what was signed and certified."
    header = ["Boat", "Visit", "Stated in", "Dimension", "Mast", "Of it", "Stated", "Now"]
    rows = [_row(one) for one in found.differences[:MOST_SHOWN]]
    more = found.differing - MOST_SHOWN
    parts = [looked, table(header, rows, (6, 7)), f"{found.differing} figures differ."]
    if more > 0:
        parts.append(f"{more} of them are not shown here; --format json has more.")
    return "\n\n".join(parts)


def _row(one: Difference) -> list[str]:
    method = f" ({one.method.replace('_', ' ')})" if one.method else ""
    return [
        one.boat,
        one.visit,
        one.where,
        DIMENSIONS[one.dimension].name + method if one.dimension in DIMENSIONS else one.dimension,
        one.mast,
        one.what.replace("_", " "),
        one.stated or "–",
        one.now or "–",
    ]
