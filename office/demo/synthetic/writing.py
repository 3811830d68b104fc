"""Batches of rows into the database, by what each one takes most at once: executemany on SQLite, COPY on PostgreSQL."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.color import no_style
from django.db import connection

from office.backups.moving import tables
from office.demo.synthetic.standing import Batch

CACHE_KIB = 400_000  # SQLite's own cache: keys come in no order, and each goes into several indexes


def write(batches: Iterable[Batch], progress: Callable[[int], None] = lambda rows: None) -> int:
    """How many rows were written, within the caller's transaction."""
    put = _copy if connection.vendor == "postgresql" else _many
    written = 0
    with _nothing_collected(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SET CONSTRAINTS ALL IMMEDIATE"
            )  # asked row by row: what waits for the end is kept in memory
        for batch in batches:
            written += put(cursor.cursor, batch)
            progress(written)
        for statement in connection.ops.sequence_reset_sql(no_style(), tables()):
            cursor.execute(statement)
    return written


def statement(batch: Batch) -> str:
    """What SQLite is asked for each row."""
    columns = ", ".join(connection.ops.quote_name(column) for column in batch.columns)
    places = ", ".join("?" * len(batch.columns))
    return f"INSERT INTO {connection.ops.quote_name(batch.table)} ({columns}) VALUES ({places})"  # noqa: S608


def copy_statement(batch: Batch) -> str:
    """What PostgreSQL is asked for all of them."""
    columns = ", ".join(connection.ops.quote_name(column) for column in batch.columns)
    return f"COPY {connection.ops.quote_name(batch.table)} ({columns}) FROM STDIN"


def _many(cursor: Any, batch: Batch) -> int:
    # The driver's own: Django's would keep every row until the last one is in.
    driver = connection.connection.cursor()
    driver.executemany(statement(batch), batch.rows)
    return int(driver.rowcount)


def _copy(cursor: Any, batch: Batch) -> int:
    rows = 0
    with cursor.copy(copy_statement(batch)) as copy:
        for row in batch.rows:
            copy.write_row(row)
            rows += 1
    return rows


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Rows are no cycles: looking for some among millions of them would cost a tenth of the time."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


@contextmanager
def in_one_go() -> Iterator[None]:
    """SQLite for one large load into an empty file: no second writing of every page through the log.

    Around the transaction. Cut short, the load is taken back by the journal; after a power cut the file is made anew.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        former = {
            name: cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "cache_size")
        }
        cursor.execute("PRAGMA journal_mode=DELETE")
        cursor.execute("PRAGMA synchronous=NORMAL")
        cursor.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            for name, value in former.items():
                cursor.execute(f"PRAGMA {name}={value}")
