"""`manage.py restore ARCHIVE --key FILE`: checks a backup beside the office, then puts it in its place."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from office import environment
from office.backups import restoring, snapshots
from office.backups.archive import BadArchive
from office.backups.making import recipient_file
from office.storage.address import StorageAway


class Command(BaseCommand):
    help = (
        "Opens a backup, checks every file against its manifest and the whole register, and only then puts it in the "
        "office's place. What lay there is moved aside, not removed. Stop the server first."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("archive", type=Path)
        parser.add_argument("--key", type=Path, required=True, metavar="FILE", help="what `backup_key` wrote")
        parser.add_argument("--check-only", action="store_true", help="check the backup, replace nothing")

    def handle(self, *, archive: Path, key: Path, check_only: bool, **options: Any) -> None:
        data = Path(settings.DATA_DIR)
        unpacked = data / f".restoring-{timezone.now():%Y%m%dT%H%M%S}"
        try:
            manifest = restoring.unpack(archive, _identity(key), unpacked)
            self.stdout.write(
                f"Opened: made {manifest['made_at']}, {len(manifest['members'])} files, all as they were."
            )
            if manifest["database"] == snapshots.SQLITE_NAME:
                self._restore_sqlite(manifest, unpacked, data, check_only=check_only)
            else:
                self._restore_postgresql(unpacked, data, check_only=check_only)
        except (BadArchive, StorageAway, snapshots.CannotCopy) as error:
            raise CommandError(f"{error} Nothing was replaced.") from error
        finally:
            shutil.rmtree(unpacked, ignore_errors=True)

    def _restore_sqlite(self, manifest: dict[str, Any], unpacked: Path, data: Path, *, check_only: bool) -> None:
        copy = unpacked / snapshots.SQLITE_NAME
        restoring.check_trail(copy, manifest["trail_number"], manifest["trail_head"])
        self._verify(f"sqlite:///{copy}", unpacked / "data")
        if check_only:
            self.stdout.write("The backup is sound. Nothing was replaced.")
            return
        if connection.vendor != "sqlite":
            raise BadArchive("The backup holds a SQLite database, and DATABASE_URL names another kind.")
        database = Path(str(connection.settings_dict["NAME"]))
        connection.close()
        if restoring.in_use(database):
            raise BadArchive(f"{database} is in use. Stop the server and its workers first.")
        self._put_in_place(unpacked, database, data)

    def _restore_postgresql(self, unpacked: Path, data: Path, *, check_only: bool) -> None:
        if check_only:
            self.stdout.write("Every file is as it was; the register is checked when it is restored to PostgreSQL.")
            return
        if connection.vendor != "postgresql":
            raise BadArchive("The backup holds a PostgreSQL database; name an empty one in DATABASE_URL.")
        if connection.introspection.table_names():
            raise BadArchive("The database in DATABASE_URL holds tables already; name an empty one.")
        connection.close()
        snapshots.copy_in(
            settings.DATABASES["default"] | connection.settings_dict, unpacked / snapshots.POSTGRESQL_NAME
        )
        self._verify(None, unpacked / "data")
        self._put_in_place(unpacked, data / "no.sqlite3", data)

    def _verify(self, url: str | None, data: Path) -> None:
        sound, said = restoring.verify(environment.ROOT, url, data, photos="")
        if not sound:
            raise BadArchive(f"The register in the backup does not fit together:\n{said}\n")
        self.stdout.write(said)

    def _put_in_place(self, unpacked: Path, database: Path, data: Path) -> None:
        aside = data / "put-aside" / f"{timezone.now():%Y-%m-%dT%H%M%S}"
        if settings.PHOTO_STORAGE:
            brought = restoring.put_photos(unpacked, aside)
            self.stdout.write(f"{brought} files were brought into the storage of photographs; the others lay there.")
        moved = restoring.put_in_place(unpacked, database, data, aside)
        self.stdout.write("The backup is in place." + (f" What lay there is in {aside}." if moved else ""))
        if not recipient_file().is_file():
            self.stdout.write("No key for further backups came with it: run backup_key.")


def _identity(key: Path) -> str:
    try:
        lines = key.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(f"{key} cannot be read as a key file.") from error
    return next((line for line in lines if line and not line.startswith("#")), "")
