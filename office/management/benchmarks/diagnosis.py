"""A diagnosis of two visits, against solving each of its hypotheses from scratch."""

from __future__ import annotations

from computations.diagnosis.benchmarks import one_diagnosis
from office.management.benchmarks import Benchmark

BENCHMARKS = [
    Benchmark(
        name="diagnosis",
        ours="two visits of 58 readings: scene, every hypothesis alone and in couples, answers with their sentences",
        peer="the same scene and hypotheses, each alone solved from scratch with its own covariance matrix (numpy)",
        prepare=one_diagnosis,
        at_most=0.3,
        calls=3,
        rounds=9,
    ),
]
