"""The benchmark's peer solves the same thing: otherwise the ratio would mean nothing."""

from __future__ import annotations

import pytest

from computations.fleet import benchmarks, solving


def test_the_peer_agrees(monkeypatch):
    monkeypatch.setattr(solving, "HUBER_LIMIT", 1e9)
    monkeypatch.setattr(solving, "EPOCH_LIMIT", 1e9)
    monkeypatch.setattr(benchmarks, "BOATS", 30)
    observations, sizes, data = benchmarks.invented()
    ours = solving.solve(observations, sizes, data)
    found = [one.mm_per_m for one in ours.tapes] + [one.mm for one in ours.biases]
    assert found == pytest.approx(list(benchmarks.by_sparse(observations, sizes, data)), abs=1e-6)


def test_on_its_own_data_the_whole_solution_holds():
    observations, sizes, data = benchmarks.invented()
    ours = solving.solve(observations, sizes, data)
    assert len(ours.changes) == pytest.approx(0.05 * 300 * 2 * 10, rel=0.3)
    assert all(one.tied_to_datum for one in ours.tapes)
