"""The next reading, against deriving the visit anew with each reading that could be taken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from computations import layout
from computations.benchmarks import full_visit
from computations.derivation import derive
from computations.inputs import Reading, Visit
from computations.next_reading import USUAL_LIMITS, next_readings
from office.management.benchmarks import Benchmark


def once_more() -> tuple[Callable[[], Any], Callable[[], Any]]:
    """Ours ranks every repeat, spacing and method; the peer derives only the repeats, each as the visit it would be."""
    visit = full_visit()
    derivation = derive(visit)
    given = [_with(visit, reading) for reading in visit.readings if reading.take == 1]
    return lambda: next_readings(derivation, USUAL_LIMITS), lambda: _anew(given)


def _with(visit: Visit, reading: Reading) -> Visit:
    return replace(visit, readings=(*visit.readings, replace(reading, take=3)))


def _anew(visits: list[Visit]) -> list[tuple[float, float]]:
    """Figures of each, its formulas made for its set of readings, as for any that comes for the first time."""
    layout._located.cache_clear()  # noqa: SLF001 - to measure what a first time costs
    layout.layout_of.cache_clear()
    return [derive(one).figures[0] for one in visits]


BENCHMARKS = [
    Benchmark(
        name="next_reading",
        ours="the best next reading of a visit of 58: every repeat, longer spacing and other method, ranked",
        peer="the visit derived anew with each repeat alone, formulas made for each set of readings",
        prepare=once_more,
        at_least=20.0,
        calls=1,
        rounds=7,
    ),
]
