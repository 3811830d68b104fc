"""All tapes and measurers of an office, against a direct sparse solution."""

from __future__ import annotations

from computations.fleet.benchmarks import BOATS, PER_BOAT, one_fleet
from office.management.benchmarks import Benchmark

BENCHMARKS = [
    Benchmark(
        name="fleet",
        ours=f"{BOATS} boats, {BOATS * PER_BOAT} visits: tapes and biases with U, changes of rigs found, all rounds",
        peer="one solution of the same least squares with every length and source an unknown (scipy, sparse, direct)",
        prepare=one_fleet,
        at_least=3.0,
        calls=1,
        rounds=5,
    ),
]
