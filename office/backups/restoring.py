"""Putting a backup back: first beside the office's data, checked there, and only then in its place."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from office.backups import archive, snapshots
from office.backups.archive import BadArchive
from office.backups.making import PHOTOS


def unpack(source: Path, identity: str, directory: Path) -> dict[str, Any]:
    """Unpack and check an archive into the empty `directory`; returns its manifest. Raises BadArchive."""
    directory.mkdir(parents=True, mode=0o700)
    manifest = archive.read(source, identity, directory)
    copy = directory / snapshots.SQLITE_NAME
    if copy.is_file():
        with closing(sqlite3.connect(copy)) as database:
            verdict = database.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok":
            raise BadArchive(f"The database in {source.name} is damaged: {verdict}.")
    return manifest


def verify(root: Path, url: str | None, data: Path, *, photos: str | None = None) -> tuple[bool, str]:
    """Whether the register in the database at `url` fits together, and what `verify_register` said of it.

    Without `url`: the database that this process uses. `photos`: where they lie, as OFFICE_PHOTO_STORAGE says it, if
    not where the office keeps them; "" is the directory `data`.
    """
    return manage(root, url, data, "verify_register", photos=photos)


def manage(root: Path, url: str | None, data: Path, *command: str, photos: str | None = None) -> tuple[bool, str]:
    """Whether a command on the database at `url` ended well, in a process of its own, and what it said."""
    surroundings = os.environ | {"OFFICE_DATA": str(data)} | ({"DATABASE_URL": url} if url else {})
    if photos is not None:
        surroundings["OFFICE_PHOTO_STORAGE"] = photos
    started = [sys.executable, "manage.py", *command]
    done = subprocess.run(started, cwd=root, env=surroundings, capture_output=True, text=True, check=False)
    return done.returncode == 0, (done.stdout + done.stderr).strip()


def in_use(database: Path) -> bool:
    """Whether another process has this SQLite file open."""
    if not database.is_file():
        return False
    with closing(sqlite3.connect(database, timeout=0, isolation_level=None)) as probe:
        try:
            probe.execute("PRAGMA locking_mode=EXCLUSIVE")
            probe.execute("BEGIN EXCLUSIVE")
            probe.execute("ROLLBACK")
        except sqlite3.OperationalError:
            return True
    return False


def check_trail(copy: Path, number: int, head: str) -> None:
    """That the trail in a SQLite file holds the row that was its latest when the backup began. Raises BadArchive."""
    with closing(sqlite3.connect(copy)) as database:
        row = database.execute("SELECT hash FROM audit_entry WHERE number = ?", [number]).fetchone()
    if number and (row is None or row[0] != head):
        raise BadArchive(f"Row {number} of the trail in the backup is not the one the manifest names.")


def put_photos(unpacked: Path, aside: Path) -> int:
    """Bring the photographs of a backup into the storage they are kept in; how many were not there as they should be.

    What lay there under the same name and was another file is written to `aside` first.
    """
    photos, brought = unpacked / "data" / PHOTOS, 0
    for path in sorted(photos.rglob("*")):
        name, content = path.relative_to(photos).as_posix(), path.read_bytes() if path.is_file() else None
        if content is None:
            continue
        try:
            with default_storage.open(name) as file:
                there: bytes | None = file.read()
        except FileNotFoundError:
            there = None
        if there == content:
            continue
        if there is not None:
            (aside / PHOTOS / name).parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            (aside / PHOTOS / name).write_bytes(there)
            default_storage.delete(name)
        default_storage.save(name, ContentFile(content))
        brought += 1
    shutil.rmtree(photos, ignore_errors=True)
    return brought


def put_in_place(unpacked: Path, database: Path, data: Path, aside: Path) -> list[Path]:
    """Move what `unpacked` holds to its places: the SQLite file to `database`, the rest into `data`.

    What lay there is moved to `aside` first, never removed; returns what was moved.
    """
    moved = []
    wal = [database.with_name(database.name + suffix) for suffix in ("", "-wal", "-shm")]
    for old in wal:
        moved += _move_aside(old, aside)
    copy = unpacked / snapshots.SQLITE_NAME
    if copy.is_file():
        database.parent.mkdir(parents=True, exist_ok=True)
        _move(copy, database)
    content = unpacked / "data"
    for path in sorted(content.iterdir()) if content.is_dir() else []:
        moved += _move_aside(data / path.name, aside)
        _move(path, data / path.name)
    return moved


def _move_aside(path: Path, aside: Path) -> list[Path]:
    if not path.exists():
        return []
    aside.mkdir(parents=True, exist_ok=True, mode=0o700)
    _move(path, aside / path.name)
    return [path]


def _move(path: Path, to: Path) -> None:
    to.parent.mkdir(parents=True, exist_ok=True)
    path.rename(to)
