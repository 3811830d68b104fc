"""Making a backup: what belongs in it, where it goes, how many are kept, and the trail's row about it."""

from __future__ import annotations

import datetime as dt
import fcntl
import io
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.utils import timezone

from office.audit import trail
from office.audit.models import Entry
from office.backups import archive, snapshots
from office.backups.archive import Member, Source
from office.storage import files

VERB = "back_up"
SUBJECT = trail.Subject("office", "office", "The office's data")
SUFFIX = ".backup.age"
# Beside photos and keys, the office's directory holds what is made anew or lies in the archive in another form.
LEFT_OUT = frozenset({"static", "screenshots", "setup.log", "setup.lock", "backups", "put-aside", "metrics"})
PHOTOS = "media"  # where they lie in the office's directory
TRIALS = (PHOTOS, files.TRIALS)
DATABASE_SUFFIXES = (".sqlite3", ".sqlite3-wal", ".sqlite3-shm", ".sqlite3-journal", ".part")


class NoRecipient(Exception):
    """Nobody has said yet for whom backups are made: one sentence."""


class Busy(Exception):
    """Another backup is being written into the same directory: one sentence."""


class Made(NamedTuple):
    path: Path
    manifest: dict[str, Any]


def recipient() -> str:
    """The public key that backups are made for. Raises NoRecipient."""
    if settings.BACKUP_RECIPIENT:
        return archive.check_recipient(settings.BACKUP_RECIPIENT)
    file = recipient_file()
    if not file.is_file():
        raise NoRecipient("No key for backups has been made yet. Run: python3 manage.py backup_key FILE")
    return archive.check_recipient(file.read_text(encoding="utf-8"))


def recipient_file() -> Path:
    return Path(settings.DATA_DIR) / "backup_recipient"


def make(directory: Path, *, keep: int | None = None) -> Made:
    """Back everything up into a new archive in `directory`; of the archives there, the newest `keep` stay.

    Raises NoRecipient, Busy, snapshots.CannotCopy and OSError; then nothing is left behind and no older archive is
    removed.
    """
    to = recipient()
    directory.mkdir(parents=True, exist_ok=True, mode=0o700)
    with _alone_in(directory):
        return _make(directory, to, keep)


def _make(directory: Path, to: str, keep: int | None) -> Made:
    now = timezone.now()
    target = directory / f"{now.astimezone(dt.UTC):%Y-%m-%dT%H%M%SZ}{SUFFIX}"
    with tempfile.TemporaryDirectory(dir=directory, prefix=".copying-") as scratch:
        database = settings.DATABASES["default"] | {"NAME": connection.settings_dict["NAME"]}
        copy = Path(scratch) / snapshots.name_of(database)
        number, head = trail.head()  # before the copy, which then surely holds that row
        facts = {"made_at": trail.instant(now), "database": copy.name, "trail_number": number, "trail_head": head}
        photos = _photos()
        with snapshots.being_copied(database, copy) as copied:
            manifest = archive.write(target, _members(photos, copied), facts, to)
    with transaction.atomic():
        size = target.stat().st_size
        trail.record(by=None, verb=VERB, subject=SUBJECT, after={"archive": target.name, "bytes": str(size)})
    if keep:
        for old in sorted(directory.glob(f"*{SUFFIX}"))[:-keep]:
            old.unlink()
    return Made(target, manifest)


@contextmanager
def _alone_in(directory: Path) -> Iterator[None]:
    """One backup at a time; what another one that was killed has left behind is removed. Raises Busy."""
    lock = os.open(directory, os.O_RDONLY)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Busy(f"A backup is being written into {directory} already.") from None
        for left in [*directory.glob(".copying-*"), *directory.glob(f"*{SUFFIX}.part")]:
            if left.is_dir():
                shutil.rmtree(left)
            else:
                left.unlink()
        yield
    finally:
        os.close(lock)


def last_good() -> Entry | None:
    """The trail's latest row about a backup that was written whole."""
    return Entry.objects.filter(verb=VERB).order_by("-number").first()


def _members(photos: list[str], copied: Callable[[], Path]) -> Iterator[Member]:
    """Photographs while the database is being copied, then its copy, then what has come meanwhile.

    The copy may know it already; what it does not know does no harm. Raises CannotCopy.
    """
    yield from map(_photo, photos)
    copy = copied()
    yield Member.of(copy.name, copy)
    yield from map(_photo, sorted(set(_photos()) - set(photos)))
    data = Path(settings.DATA_DIR)
    for path in sorted(data.rglob("*")):
        name = path.relative_to(data)
        left_out = name.parts[0] in LEFT_OUT or name.parts[0] == PHOTOS
        if path.is_file() and not left_out and not name.parts[0].endswith(DATABASE_SUFFIXES):
            yield Member.of(f"data/{name.as_posix()}", path)


def _photo(name: str) -> Member:
    return Member(name, partial(_opened, name.removeprefix(f"data/{PHOTOS}/")))


def _opened(name: str) -> Source:
    try:
        if settings.PHOTO_STORAGE:
            with default_storage.open(name) as file:
                return io.BytesIO(file.read())
        return (Path(settings.DATA_DIR) / PHOTOS / name).open("rb", buffering=0)
    except FileNotFoundError as error:  # the copy of the database may still know it
        raise snapshots.CannotCopy(
            "A photograph was removed while the backup was made; it has to be made again."
        ) from error


def _photos() -> list[str]:
    """What they are called in the archive: as if they lay in the office's directory, wherever they do."""
    if settings.PHOTO_STORAGE:
        return [f"data/{PHOTOS}/{name}" for name in files.names(default_storage)]
    data = Path(settings.DATA_DIR)
    every = [path.relative_to(data) for path in sorted((data / PHOTOS).rglob("*")) if path.is_file()]
    return [f"data/{name.as_posix()}" for name in every if name.parts[:2] != TRIALS]
