"""A backup against a plain copy of the same files."""

from __future__ import annotations

import atexit
import os
import random
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from office.backups import archive, snapshots
from office.backups.archive import Member, Source

if TYPE_CHECKING:
    from collections.abc import Callable

from office.management.benchmarks import Benchmark

ROWS, OF_BYTES = 6_000, 16_000  # the database, some 100 MB
PHOTOS, PHOTO_BYTES = 40, 1_000_000


def _backup() -> tuple[Callable[[], object], Callable[[], object]]:
    root = Path(tempfile.mkdtemp(prefix="office-bench-backup-"))
    atexit.register(shutil.rmtree, root, ignore_errors=True)
    database, photos = _office_in(root)
    recipient = archive.new_identity()[1]
    settings = {"ENGINE": "django.db.backends.sqlite3", "NAME": str(database)}

    def ours() -> None:
        with (
            tempfile.TemporaryDirectory(dir=root) as scratch,
            snapshots.being_copied(settings, Path(scratch) / "copy") as copied,
        ):
            members = [*(Member.of(one.name, one) for one in photos), Member("database", lambda: _opened(copied()))]
            archive.write(root / "archive", members, {}, recipient)

    def plain() -> None:
        with tempfile.TemporaryDirectory(dir=root) as to:
            for one in (database, *photos):
                shutil.copyfile(one, Path(to) / one.name)
                with (Path(to) / one.name).open("rb") as file:
                    os.fsync(file.fileno())

    return ours, plain


def _opened(copy: Path) -> Source:
    return copy.open("rb", buffering=0)


def _office_in(root: Path) -> tuple[Path, list[Path]]:
    dice = random.Random(7)  # noqa: S311 - nothing secret
    database = root / "office.sqlite3"
    with closing(sqlite3.connect(database)) as made:
        made.execute("CREATE TABLE papers (number INTEGER PRIMARY KEY, content BLOB)")
        made.executemany("INSERT INTO papers (content) VALUES (?)", ((dice.randbytes(OF_BYTES),) for _ in range(ROWS)))
        made.commit()
    photos = [root / f"{number}.jpg" for number in range(PHOTOS)]
    for one in photos:
        one.write_bytes(dice.randbytes(PHOTO_BYTES))
    return database, photos


BENCHMARKS = [
    Benchmark(
        name="backup",
        ours="database and photographs copied while in use, hashed, encrypted, on the disk",
        peer="the same files copied, on the disk",
        prepare=_backup,
        at_least=0.5,
        calls=1,
        rounds=9,
    ),
]
