"""Eight processes that write to one SQLite file without a pause: how long the slowest of a hundred writes takes."""

from __future__ import annotations

import atexit
import contextlib
import os
import sqlite3
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connection, transaction

from boats.models import Boat
from boats.particulars import as_columns
from office.audit import trail
from office.management import hands
from office.management.benchmarks import Benchmark, Taken

if TYPE_CHECKING:
    from collections.abc import Callable

WRITERS = 8
WRITES = int(os.environ.get("BENCH_WRITES", "40"))  # of each writer in a round
MOST_S = 0.150
HARBOURS = ("North quay", "South quay")
BARE = (
    "UPDATE boats_boat SET harbour = ? WHERE id = ?",
    "INSERT INTO bare_entry (number, boat, hash) SELECT coalesce(max(number), 0) + 1, ?, ? FROM bare_entry",
)


def write(kind: str, count: str) -> str:
    """So many writes of one kind, each its own durable transaction; microseconds of each."""
    one = {"audited": audited, "bare": bare, "single": audited}[kind]()
    taken = []
    for _ in range(int(count)):
        begin = time.perf_counter()
        one()
        taken.append(time.perf_counter() - begin)
    return " ".join(str(round(seconds * 1e6)) for seconds in taken)


def audited() -> Callable[[], None]:
    """A boat saved with its row of the trail."""
    boat = _boat()

    def one() -> None:
        before, boat.harbour = boat.harbour, HARBOURS[boat.harbour == HARBOURS[0]]
        with transaction.atomic():
            boat.save()
            old, new = {"harbour": before}, {"harbour": boat.harbour}
            trail.record(by=None, verb="change_particulars", subject=boat, boat=boat.key, before=old, after=new)

    return one


def bare() -> Callable[[], None]:
    """A row changed and another added through the driver alone, as durably, waiting as SQLite itself waits."""
    boat = _boat()
    driver = sqlite3.connect(str(connection.settings_dict["NAME"]), timeout=20, isolation_level=None)
    driver.execute("PRAGMA synchronous=FULL")
    driver.execute("CREATE TABLE IF NOT EXISTS bare_entry (number INTEGER PRIMARY KEY, boat TEXT, hash TEXT)")

    def one() -> None:
        driver.execute("BEGIN IMMEDIATE")
        driver.execute(BARE[0], (HARBOURS[0], boat.pk))
        driver.execute(BARE[1], (boat.key, "0f" * 32))
        driver.execute("COMMIT")

    return one


def _boat() -> Boat:
    """One for each process."""
    return Boat.objects.get_or_create(sail_number=f"QUA {os.getpid()}", defaults=_particulars())[0]


def _particulars() -> dict[str, object]:
    return as_columns({"name": f"Bench {os.getpid()}", "sail_number": f"QUA {os.getpid()}"})


def slowest(answers: list[str]) -> Taken:
    """The 99th of a hundred, of all that the writers did together."""
    taken = sorted(int(text) / 1e6 for answer in answers for text in answer.split())
    return Taken(taken[min(len(taken) - 1, int(0.99 * len(taken)))])


def eight() -> list[hands.Hand]:
    """Eight writers on an empty office, warm."""
    stack = contextlib.ExitStack()
    atexit.register(stack.close)
    directory = stack.enter_context(tempfile.TemporaryDirectory(prefix="office-bench-"))
    url = f"sqlite:///{Path(directory) / 'writers.sqlite3'}"
    hands.office_at(url, boats=0)
    writers = stack.enter_context(hands.hands(WRITERS, url, __name__, "write"))
    for one in writers:
        one.do("audited 2")
        one.do("bare 2")
    return writers


def _against_the_clock() -> tuple[Callable[[], object], Callable[[], object]]:
    writers = eight()
    return lambda: slowest(hands.together(writers, f"audited {WRITES}")), lambda: Taken(MOST_S)


def _against_the_driver() -> tuple[Callable[[], object], Callable[[], object]]:
    writers = eight()
    return (
        lambda: slowest(hands.together(writers, f"audited {WRITES}")),
        lambda: slowest(hands.together(writers, f"bare {WRITES}")),
    )


BENCHMARKS = [
    Benchmark(
        name="eight_writers",
        ours=f"the slowest of a hundred audited writes, {WRITERS} processes writing to one SQLite file without a pause",
        peer="150 milliseconds by the clock",
        prepare=_against_the_clock,
        at_most=1.0,
        calls=1,
        rounds=11,
    ),
    Benchmark(
        name="eight_writers_bare",
        ours=f"the slowest of a hundred audited writes, {WRITERS} processes writing to one SQLite file without a pause",
        peer="the same with the bare driver, as durable, and SQLite's own waiting",
        prepare=_against_the_driver,
        at_most=1.5,
        calls=1,
        rounds=11,
    ),
]
