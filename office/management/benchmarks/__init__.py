"""Benchmarks: each measures something of ours side by side with a peer, in one interleaved run, as a ratio.

A module of this package holds one or a few of them and lists them in `BENCHMARKS`; `gather` finds them all.
Times of one machine and one minute mean nothing elsewhere, so only the ratio is printed.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import pkgutil
import statistics
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connection

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


class Taken(float):
    """Seconds that a function has found out itself, such as the slowest of many it timed; they count in its place."""


@dataclass(frozen=True, slots=True)
class Benchmark:
    """`prepare` returns the two things to time. One of the two bars is set.

    at_most: ours may take that many times as long as the peer. at_least: ours must be that many times faster.
    calls: how often each is called in one timing; per_call: how many units of work either does in one call, where
    they differ and the ratio is of one unit. database: it needs one (a scratch file, migrated, as in the office).
    percentile: each call is timed alone, ours and the peer's in turn, and the ratio is that of these percentiles.
    warmed: `prepare` has brought both to where they are timed, so neither is called beforehand.
    """

    name: str
    ours: str
    peer: str
    prepare: Callable[[], tuple[Callable[[], object], Callable[[], object]]]
    at_most: float | None = None
    at_least: float | None = None
    calls: int = 20
    per_call: tuple[int, int] = (1, 1)
    rounds: int = 15
    database: bool = False
    percentile: int | None = None
    warmed: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """`ratio` is what the bar speaks of: ours/peer for at_most, peer/ours for at_least; the median over the rounds."""

    name: str
    ours: str
    peer: str
    ratio: float
    means: str
    bar: str
    holds: bool
    lowest: float
    highest: float
    rounds: int


def gather() -> dict[str, Benchmark]:
    """Every benchmark of this package's modules, by name."""
    found: dict[str, Benchmark] = {}
    for module in pkgutil.iter_modules(__path__):
        for benchmark in importlib.import_module(f"{__name__}.{module.name}").BENCHMARKS:
            if benchmark.name in found:
                raise ValueError(f"two benchmarks are called {benchmark.name}")
            found[benchmark.name] = benchmark
    return found


def measure(benchmark: Benchmark) -> Outcome:
    """Run both in turn, round by round, so that whatever else the machine does falls on both."""
    ours, peer = benchmark.prepare()
    if not benchmark.warmed:
        ours(), peer()
    ratios = []
    for number in range(benchmark.rounds):
        first, second = (ours, peer) if number % 2 == 0 else (peer, ours)
        times = (
            _timed_singly(first, second, benchmark.calls, benchmark.percentile)
            if benchmark.percentile
            else {first: _timed(first, benchmark.calls), second: _timed(second, benchmark.calls)}
        )
        one, other = times[ours] / benchmark.per_call[0], times[peer] / benchmark.per_call[1]
        ratios.append(one / other if benchmark.at_most is not None else other / one)
    ratio = statistics.median(ratios)
    if benchmark.at_most is not None:
        means, bar, holds = (
            "time of ours / time of the peer",
            f"at most {benchmark.at_most:g}",
            ratio <= benchmark.at_most,
        )
    else:
        least = benchmark.at_least or 0.0
        means, bar, holds = "time of the peer / time of ours", f"at least {least:g}", ratio >= least
    return Outcome(
        name=benchmark.name,
        ours=benchmark.ours,
        peer=benchmark.peer,
        ratio=round(ratio, 2),
        means=means,
        bar=bar,
        holds=holds,
        lowest=round(min(ratios), 2),
        highest=round(max(ratios), 2),
        rounds=benchmark.rounds,
    )


def _timed(function: Callable[[], object], calls: int) -> float:
    gc.collect()
    begin = time.perf_counter()
    told = [answer for _ in range(calls) if isinstance(answer := function(), Taken)]
    elapsed = time.perf_counter() - begin
    return sum(told) if told else elapsed


def _timed_singly(
    first: Callable[[], object], second: Callable[[], object], calls: int, percentile: int
) -> dict[Callable[[], object], float]:
    """The percentile of each one's calls, by nearest rank."""
    times: dict[Callable[[], object], list[float]] = {first: [], second: []}
    gc.collect()
    for _ in range(calls):
        for function, taken in times.items():
            begin = time.perf_counter()
            function()
            taken.append(time.perf_counter() - begin)
    rank = max(-(-calls * percentile // 100), 1) - 1
    return {function: sorted(taken)[rank] for function, taken in times.items()}


@contextlib.contextmanager
def scratch_database() -> Iterator[None]:
    """The database that the settings name, in a scratch copy of its own: on SQLite a file with durable commits."""
    with tempfile.TemporaryDirectory(prefix="office-bench-") as directory:
        former = connection.settings_dict["NAME"]
        connection.settings_dict["TEST"]["NAME"] = (
            str(Path(directory) / "bench.sqlite3") if connection.vendor == "sqlite" else None
        )
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(former, verbosity=0)
