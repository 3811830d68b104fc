"""Writers of one SQLite file take turns at BEGIN IMMEDIATE, and none waits much longer than the others.

SQLite's own waiting sleeps longer from time to time, up to a tenth of a second: whoever has waited for long asks
rarely, and those who come fresh go ahead of them. Here everybody who waits asks again after a moment of equal length on
average, so that each is as likely as any to be next.
"""

from __future__ import annotations

import random
import sqlite3
import time
from typing import Any

from django.db import OperationalError
from django.db.backends.sqlite3 import base

SHORTEST, LONGEST = 0.0003, 0.0015  # seconds between two askings; a durable commit takes about as long
PATIENCE = 5.0  # seconds, where the settings name none: as the driver


class DatabaseWrapper(base.DatabaseWrapper):
    def _start_transaction_under_autocommit(self) -> None:
        """Raises OperationalError, "database is locked", after `timeout` seconds of the settings."""
        if self.transaction_mode != "IMMEDIATE":  # type: ignore[attr-defined]
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
            return
        patience = float(self.settings_dict["OPTIONS"].get("timeout", PATIENCE))
        self.connection.execute("PRAGMA busy_timeout=0")
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except OperationalError as refused:
            if not _is_busy(refused.__cause__):
                raise
            with self.wrap_database_errors:
                _ask_again(self.connection, patience)
        finally:
            self.connection.execute(f"PRAGMA busy_timeout={int(patience * 1000)}")


def _ask_again(connection: Any, patience: float) -> None:
    until = time.monotonic() + patience
    while True:
        time.sleep(random.uniform(SHORTEST, LONGEST))  # noqa: S311  (nothing to guess here)
        try:
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as refused:
            if not _is_busy(refused) or time.monotonic() > until:
                raise
        else:
            return


def _is_busy(problem: BaseException | None) -> bool:
    code = getattr(problem, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == sqlite3.SQLITE_BUSY
