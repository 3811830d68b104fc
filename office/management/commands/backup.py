"""`manage.py backup`: everything the office keeps, in one encrypted archive, while it goes on working."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import Error as DatabaseError

from office.backups import making, snapshots


class Command(BaseCommand):
    help = "Writes database, photos and keys into one encrypted archive with a manifest; the office may be in use."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", type=Path, default=settings.BACKUP_DIR, metavar="DIRECTORY")
        parser.add_argument("--keep", type=int, metavar="N", help="remove all but the newest N archives there")

    def handle(self, *, to: Path, keep: int | None, **options: Any) -> None:
        if keep is not None and keep < 1:
            raise CommandError("--keep needs a number of archives, 1 or more.")
        try:
            made = making.make(to, keep=keep)
        except (making.NoRecipient, making.Busy, snapshots.CannotCopy, ValueError) as error:
            raise CommandError(str(error)) from error
        except (OSError, DatabaseError) as error:
            raise CommandError(f"No backup was made: {error}") from error
        count = len(made.manifest["members"])
        self.stdout.write(f"{made.path}: {count} files, {made.path.stat().st_size:,} bytes.")
