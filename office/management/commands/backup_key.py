"""`manage.py backup_key FILE`: the pair of keys that backups are encrypted to and opened with."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from office.backups import archive, making


class Command(BaseCommand):
    help = (
        "Makes the secret key that opens backups, in FILE, and keeps the public one it belongs to for `backup`. "
        "Keep FILE away from this machine, twice: without it no backup can be opened."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")

    def handle(self, *, file: Path, **options: Any) -> None:
        identity, recipient = archive.new_identity()
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError as error:
            raise CommandError(f"{file} exists already; choose another name, nothing was written.") from error
        except OSError as error:
            raise CommandError(f"{file} could not be written: {error.strerror}.") from error
        with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
            stream.write(f"# Opens this office's backups. Public key: {recipient}\n{identity}\n")
        kept = making.recipient_file()
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(recipient + "\n", encoding="utf-8")
        self.stdout.write(f"Backups are made for {recipient} from now on.")
        self.stdout.write(f"{file} opens them. Move it off this machine and keep two copies: nothing else opens them.")
