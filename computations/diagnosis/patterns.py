"""One thing that may have happened, as a pattern of change in the readings, and how patterns are drawn.

A hypothesis says how the readings as given differ from the readings as they should be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from computations.diagnosis.priors import ALL_TAKES, Spreads
from computations.diagnosis.scene import Floats, Scene
from computations.results import ReadingRef


@dataclass(slots=True)
class Hypothesis:
    """`shift` (r,) what was added to the readings for certain; `direction` (r,) one standard deviation of what was
    added with a free size; None for neither. `free` (d, r) has further directions, where a set of readings is free. The
    size in `unit` is `size` + `size_per_deviation` x the most probable number of standard deviations.
    """

    kind: str
    readings: tuple[ReadingRef, ...]
    shift: Floats | None = None
    direction: Floats | None = None
    weight: float = 1.0
    size: float = 0.0
    size_per_deviation: float = 0.0
    unit: str = "mm"
    words: str = ""  # what the sentence needs besides: a factor, two numbers, an edge
    support: frozenset[int] = frozenset()  # items it explains entirely: no second thing on them
    free: Floats | None = None
    log_prior: float = 0.0


class Sketch:
    """A scene with what drawing patterns on it needs."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.items, self.places, self.values = scene.items, scene.places, scene.values
        self.count = len(scene.items)
        # Where a reading is likely to be without a fault: last time's place, else today's.
        self.likely = np.where(np.isfinite(scene.expected), scene.expected, scene.values)

    def zeros(self) -> Floats:
        return np.zeros(self.count)

    def vector(self, indices: list[int], amount: float = 1.0) -> Floats:
        vector = np.zeros(self.count)
        vector[indices] = amount
        return vector

    def refs(self, indices: Iterable[int]) -> tuple[ReadingRef, ...]:
        return tuple(dict.fromkeys(self.items[index].ref for index in indices))

    def take_sets(self, kind: str) -> Iterator[tuple[ReadingRef, list[int], float]]:
        """Each reading with all its takes, and each take alone where there are several; with the share of either."""
        together = ALL_TAKES[kind]
        for ref, indices in self.places.items():
            if len(indices) == 1:
                yield ref, indices, 1.0
                continue
            yield ref, indices, together
            for index in indices:
                yield ref, [index], (1.0 - together) / len(indices)

    def sized(
        self,
        kind: str,
        readings: tuple[ReadingRef, ...],
        pattern: Floats,
        spreads: Spreads,
        *,
        weight: float = 1.0,
        size_factor: float = 1.0,
        unit: str = "mm",
        words: str = "",
        entire: bool = False,
    ) -> Iterator[Hypothesis]:
        """A pattern of free size: one hypothesis for each spread."""
        support = frozenset(np.flatnonzero(pattern).tolist()) if entire else frozenset[int]()
        for spread, share in spreads:
            yield Hypothesis(
                kind,
                readings,
                direction=pattern * spread,
                weight=weight * share,
                size_per_deviation=spread * size_factor,
                unit=unit,
                words=words,
                support=support,
            )
