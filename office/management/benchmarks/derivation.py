"""Deriving dimensions with their uncertainty: one warm visit, and a hundred thousand."""

from __future__ import annotations

from computations import benchmarks as derivations
from office.management.benchmarks import Benchmark

SOURCES = "all 32 dimensions of a sloop from 58 readings, with U from every source"

BENCHMARKS = [
    Benchmark(
        name="derive_one",
        ours=f"one warm visit: {SOURCES}",
        peer="the same formulas and sources in the uncertainties library",
        prepare=derivations.one_visit,
        at_least=40.0,
        calls=1,
        per_call=(derivations.WARM_VISITS, 1),
        rounds=201,
    ),
    Benchmark(
        name="derive_batch",
        ours=f"100,000 visits in chunks of columns, a visit: {SOURCES}",
        peer="the same formulas and sources in the uncertainties library, a visit",
        prepare=derivations.batch,
        at_least=1000.0,
        calls=1,
        per_call=(derivations.BATCH, derivations.PEER_VISITS),
        rounds=15,
    ),
    Benchmark(
        name="derive_batch_values",
        ours=f"100,000 visits in chunks of columns: {SOURCES}",
        peer="the bare values of the same dimensions in numpy, in the same chunks",
        prepare=derivations.batch_of_values,
        at_most=6.0,
        calls=1,
        rounds=15,
    ),
]
