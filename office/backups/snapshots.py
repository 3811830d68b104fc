"""One consistent copy of the database while the office goes on working, and putting such a copy back."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from office import environment

SQLITE_NAME = "database.sqlite3"
POSTGRESQL_NAME = "database.pgdump"


class CannotCopy(Exception):
    """The database could not be copied or put back: one sentence."""


def name_of(database: dict[str, Any]) -> str:
    """Under which name a copy of this database lies in an archive; `database` is an entry of settings.DATABASES."""
    return SQLITE_NAME if _is_sqlite(database) else POSTGRESQL_NAME


def copy_out(database: dict[str, Any], target: Path) -> None:
    """Write one consistent copy of `database` to `target`. Writers are not kept waiting. Raises CannotCopy."""
    if _is_sqlite(database):
        _copy_sqlite(Path(str(database["NAME"])), target)
    else:
        _postgresql(database, "pg_dump", "--format=custom", "--compress=0", "--no-owner", "--file", str(target))


@contextmanager
def being_copied(database: dict[str, Any], target: Path) -> Iterator[Callable[[], Path]]:
    """The same beside what is done meanwhile: what it yields waits for the copy and says where it lies, or raises."""
    with ThreadPoolExecutor(1) as beside:
        copied = beside.submit(copy_out, database, target)

        def wait() -> Path:
            copied.result()
            return target

        yield wait


def copy_in(database: dict[str, Any], source: Path) -> None:
    """Put the copy `source` into an empty PostgreSQL database. Raises CannotCopy."""
    name = str(database["NAME"])
    _postgresql(
        database, "pg_restore", "--no-owner", "--exit-on-error", "--single-transaction", "-d", name, str(source)
    )


def _is_sqlite(database: dict[str, Any]) -> bool:
    return str(database["ENGINE"]).endswith("sqlite3")


def _copy_sqlite(source: Path, target: Path) -> None:
    """By SQLite's own online copy, in one step: what is committed before it is in, what comes later is not."""
    if not source.is_file():
        raise CannotCopy(f"There is no database at {source}.")
    try:
        with (
            closing(sqlite3.connect(f"file:{source}?mode=ro", uri=True, timeout=60)) as ours,
            closing(sqlite3.connect(target)) as copy,
        ):
            copy.execute("PRAGMA synchronous=OFF")  # a copy that a power cut spoils is made again
            ours.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")  # away from WAL, so that the copy is one file
    except sqlite3.Error as error:
        raise CannotCopy(f"The database {source} could not be copied: {error}.") from error


def _postgresql(database: dict[str, Any], program: str, *arguments: str) -> None:
    directory = environment.postgresql_programs()
    found = str(directory / program) if directory and (directory / program).exists() else shutil.which(program)
    if not found:
        raise CannotCopy(f"{program} is not installed; it comes with PostgreSQL's client programs.")
    variables = {
        "PGHOST": database.get("HOST"),
        "PGPORT": database.get("PORT"),
        "PGUSER": database.get("USER"),
        "PGPASSWORD": database.get("PASSWORD"),
        "PGDATABASE": database["NAME"],
    }
    surroundings = os.environ | {name: str(value) for name, value in variables.items() if value}
    done = subprocess.run([found, *arguments], env=surroundings, capture_output=True, text=True, check=False)
    if done.returncode:
        raise CannotCopy(f"{program} ended with: {done.stderr.strip() or done.returncode}")
