"""The arithmetic of a benchmark, on two functions whose ratio is known."""

from __future__ import annotations

import json
import time
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from office.management import benchmarks


@pytest.fixture
def clock(monkeypatch):
    """Time passes only when a function says so."""
    now = [0.0]
    monkeypatch.setattr(time, "perf_counter", lambda: now[0])
    return now


def two(clock, ours, peer):
    order = []

    def spend(name, seconds):
        def call():
            order.append(name)
            clock[0] += seconds

        return call

    return lambda: (spend("ours", ours), spend("peer", peer)), order


def test_at_most_is_ours_over_the_peer(clock):
    prepare, order = two(clock, 3.0, 2.0)
    one = benchmarks.Benchmark("x", "a", "b", prepare, at_most=1.5, calls=2, rounds=4)
    outcome = benchmarks.measure(one)
    assert (outcome.ratio, outcome.holds, outcome.bar) == (1.5, True, "at most 1.5")
    warm_up, rounds = order[:2], order[2:]
    assert warm_up == ["ours", "peer"]
    assert rounds == ["ours", "ours", "peer", "peer", "peer", "peer", "ours", "ours"] * 2


def test_what_is_warm_already_is_not_called_beforehand(clock):
    prepare, order = two(clock, 3.0, 2.0)
    benchmarks.measure(benchmarks.Benchmark("x", "a", "b", prepare, at_most=1.5, calls=1, rounds=1, warmed=True))
    assert order == ["ours", "peer"]


def test_at_least_is_the_peer_over_ours(clock):
    prepare, _ = two(clock, 1.0, 20.0)
    outcome = benchmarks.measure(benchmarks.Benchmark("x", "a", "b", prepare, at_least=30, rounds=3))
    assert (outcome.ratio, outcome.holds) == (20.0, False)


def test_json_tells_every_ratio_with_its_bar(clock, monkeypatch):
    prepare, _ = two(clock, 1.0, 2.0)
    monkeypatch.setattr(
        benchmarks, "gather", lambda: {"x": benchmarks.Benchmark("x", "this", "that", prepare, at_most=1.0, rounds=3)}
    )
    out = StringIO()
    call_command("bench", stdout=out)
    (row,) = json.loads(out.getvalue())
    assert row["name"] == "x"
    assert row["ratio"] == 0.5
    assert row["holds"] is True
    assert row["bar"] == "at most 1"


def test_an_unknown_name_is_told_the_known_ones():
    with pytest.raises(CommandError, match="There are"):
        call_command("bench", "no-such-benchmark")


def test_every_benchmark_has_one_bar():
    for one in benchmarks.gather().values():
        assert (one.at_most is None) != (one.at_least is None), one.name
