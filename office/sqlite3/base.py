"""Writers of one SQLite file take turns at BEGIN IMMEDIATE, and none waits much longer than the others.

SQLite's own waiting sleeps longer from time to time, up to a tenth of a second: whoever has waited for long asks
rarely, and those who come fresh go ahead of them. Here everybody who waits asks again after a moment of equal length on
average, so that each is as likely as any to be next. A process that is busy otherwise asks more rarely all the same:
whoever has waited for IMPATIENT seconds therefore says so, by a lock on the directory of the file, and the others let
them go first.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import random
import sqlite3
import time
from pathlib import Path
from typing import Any

from django.db import OperationalError
from django.db.backends.sqlite3 import base

SHORTEST, LONGEST = 0.0003, 0.0015  # seconds between two askings; a durable commit takes about as long
IMPATIENT = 1.0  # seconds
PATIENCE = 5.0  # seconds, where the settings name none: as the driver


class Courtesy:
    """Of one connection: whether somebody has waited for long, and that oneself has.

    The lock goes with the process, however that ends. It is taken on the directory because closing any other
    descriptor of the file itself would set free what SQLite has locked there.
    """

    def __init__(self, directory: Path) -> None:
        self._descriptor = os.open(directory, os.O_RDONLY | os.O_CLOEXEC)

    def __del__(self) -> None:
        with contextlib.suppress(AttributeError, OSError):
            os.close(self._descriptor)

    def is_due(self) -> bool:
        """Whether another one is to go first."""
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        self.over()
        return False

    def ask(self) -> bool:
        """From now on the others let one go first; False where somebody else has asked for that already."""
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def over(self) -> None:
        fcntl.flock(self._descriptor, fcntl.LOCK_UN)


class DatabaseWrapper(base.DatabaseWrapper):
    courtesy: Courtesy | None = None
    opening: object = None  # another one for each time the file was opened

    def get_new_connection(self, conn_params: Any) -> Any:
        made = super().get_new_connection(conn_params)
        self.opening = object()
        file = Path(str(self.settings_dict["NAME"]))
        self.courtesy = Courtesy(file.parent) if file.is_file() else None  # none for a database in memory
        return made

    def moment(self) -> tuple[object, int, int] | None:
        """The same again while nobody has written to the file in between, through whichever connection; in a
        transaction, which may be undone, none. (SQLite, PRAGMA data_version: other connections' commits alone, so
        what this one has changed is counted with it.)
        """
        if self.in_atomic_block:
            return None
        self.ensure_connection()
        (version,) = self.connection.execute("PRAGMA data_version").fetchone()
        return self.opening, version, self.connection.total_changes

    def _start_transaction_under_autocommit(self) -> None:
        """Raises OperationalError, "database is locked", after `timeout` seconds of the settings."""
        if self.transaction_mode != "IMMEDIATE":  # type: ignore[attr-defined]
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
            return
        patience = float(self.settings_dict["OPTIONS"].get("timeout", PATIENCE))
        self.connection.execute("PRAGMA busy_timeout=0")
        try:
            if not self._begins():
                with self.wrap_database_errors:
                    _ask_again(self.connection, self.courtesy, patience)
        finally:
            self.connection.execute(f"PRAGMA busy_timeout={int(patience * 1000)}")

    def _begins(self) -> bool:
        if self.courtesy is not None and self.courtesy.is_due():
            return False
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except OperationalError as refused:
            if not _is_busy(refused.__cause__):
                raise
            return False
        return True


def _begins(connection: Any, courtesy: Courtesy | None) -> bool:
    """Whether it was one's turn."""
    if courtesy is not None and courtesy.is_due():
        return False
    try:
        connection.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as refused:
        if not _is_busy(refused):
            raise
        return False
    return True


def _ask_again(connection: Any, courtesy: Courtesy | None, patience: float) -> None:
    began, has_asked = time.monotonic(), False
    try:
        while not _begins(connection, None if has_asked else courtesy):
            waited = time.monotonic() - began
            if waited > patience:
                connection.execute("BEGIN IMMEDIATE")  # the last time: it says itself that it cannot
                return
            if courtesy is not None and waited > IMPATIENT and not has_asked:
                has_asked = courtesy.ask()
            time.sleep(random.uniform(SHORTEST, LONGEST))  # noqa: S311  (nothing to guess here)
    finally:
        if courtesy is not None and has_asked:
            courtesy.over()


def _is_busy(problem: BaseException | None) -> bool:
    code = getattr(problem, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == sqlite3.SQLITE_BUSY
