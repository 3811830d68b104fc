"""`manage.py bench [NAME …]`: ratios against peers, each from one interleaved run."""

from __future__ import annotations

import json
from contextlib import nullcontext
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from office.management import benchmarks

if TYPE_CHECKING:
    from django.core.management.base import CommandParser


class Command(BaseCommand):
    help = "Measures ours against peers, side by side, and prints the ratios."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("names", nargs="*", metavar="NAME", help="all if none is named")
        parser.add_argument("--format", choices=["table", "json"], default="json", dest="layout")

    def handle(self, *, names: list[str], layout: str, **options: Any) -> None:
        known = benchmarks.gather()
        unknown = [name for name in names if name not in known]
        if unknown:
            raise CommandError(f"No benchmark is called {', '.join(unknown)}. There are: {', '.join(known)}.")
        chosen = [known[name] for name in names or known]
        with benchmarks.scratch_database() if any(one.database for one in chosen) else nullcontext():
            outcomes = [benchmarks.measure(one) for one in chosen]
        if layout == "json":
            self.stdout.write(json.dumps([asdict(outcome) for outcome in outcomes], indent=1))
            return
        for outcome in outcomes:
            word = "holds" if outcome.holds else "DOES NOT HOLD"
            self.stdout.write(f"{outcome.name}: {outcome.ratio:g} ({outcome.bar}: {word}). {outcome.means}.")
            self.stdout.write(f"    ours: {outcome.ours}\n    peer: {outcome.peer}")
