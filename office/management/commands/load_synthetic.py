"""`manage.py load_synthetic`: a large invented office in an empty database, to measure with."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from office.demo.synthetic import loading

if TYPE_CHECKING:
    from django.core.management.base import CommandParser


class Command(BaseCommand):
    help = (
        "Fills an empty, migrated database with invented boats, visits, signatures and certificates, and a trail that "
        "fits. Only the first boats' certificates get papers and seals; verify_register says so."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--boats", type=int, required=True, metavar="N")
        parser.add_argument("--visits-per-boat", type=int, default=3, metavar="V")
        parser.add_argument("--seed", type=int, default=loading.SEED)
        parser.add_argument("--papers", type=int, default=3, metavar="N", help="boats whose certificates get papers")

    def handle(self, *, boats: int, visits_per_boat: int, seed: int, papers: int, **options: Any) -> None:
        began = time.monotonic()
        try:
            rows = loading.load(boats=boats, visits=visits_per_boat, seed=seed, papers=papers, progress=self.say)
        except loading.CannotLoad as error:
            raise CommandError(str(error)) from error
        seconds = time.monotonic() - began
        self.say(f"{boats} boats, {boats * visits_per_boat} visits, {rows} rows in {seconds:.0f} seconds.")

    def say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
