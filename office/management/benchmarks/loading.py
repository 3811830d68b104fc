"""A large invented office written into an empty database, against the same rows by nothing but the driver.

The small office it is written after takes the same time for any size and is made beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

from django.db import connection, connections, transaction

from office.demo.synthetic import loading, pattern, writing
from office.demo.synthetic.cast import Cast
from office.demo.synthetic.standing import Batch
from office.management.benchmarks import Benchmark
from office.management.benchmarks.scale import Office, directory, manage
from office.people.models import Person

BOATS, VISITS = 1_200, 3


def _load() -> tuple[Callable[[], object], Callable[[], object]]:
    with _empty_office():
        drawn = pattern.draw(visits=VISITS, seed=loading.SEED)
        kept = [one._replace(rows=[*one.rows]) for one in loading.batches(_cast(drawn), papers=0)]
    return _taken_back(lambda: writing.write(loading.batches(_cast(drawn), papers=0))), _taken_back(lambda: _raw(kept))


def _cast(drawn: pattern.Pattern) -> Cast:
    return Cast(drawn, BOATS, loading.SEED)


def _raw(batches: Iterable[Batch]) -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for batch in batches:
            if connection.vendor == "postgresql":
                with cursor.cursor.copy(writing.copy_statement(batch)) as copy:
                    for row in batch.rows:
                        copy.write_row(row)
            else:
                connection.connection.executemany(writing.statement(batch), batch.rows)


def _taken_back(write: Callable[[], object]) -> Callable[[], object]:
    """Each time into the same empty tables."""

    def once() -> None:
        with _empty_office(), transaction.atomic():
            write()
            transaction.set_rollback(True)

    return once


OWN: list[Office] = []  # the one file they share


def _empty_office() -> AbstractContextManager[None]:
    """On SQLite a file of its own; on PostgreSQL the run's database, in which nothing else may have been measured."""
    if connection.vendor != "sqlite":
        if Person.objects.exists():
            raise RuntimeError("Run this one alone: it needs an empty database.")
        return nullcontext()
    if not OWN:
        file = Path(directory()) / "empty.sqlite3"
        manage(file, "migrate", "--verbosity=0")
        own = connections.create_connection("default")
        own.settings_dict = {**own.settings_dict, "NAME": str(file)}
        OWN.append(Office(own))
    return OWN[0].open()


BENCHMARKS = [
    Benchmark(
        name="load_synthetic",
        ours=f"{BOATS} boats with {VISITS} visits each, their rows made and written",
        peer="the same rows, held ready, by executemany or COPY",
        prepare=_load,
        at_most=1.3,
        calls=1,
        rounds=7,
        database=True,
    ),
]
