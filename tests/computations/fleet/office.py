"""An invented office: tapes with known errors, measurers with known biases, boats whose rigs sometimes change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from computations.fleet.observations import Datum, Floats, Observations, Sizes

LENGTHS = np.array([15000.0, 13500.0, 14500.0, 5200.0, 4800.0, 4500.0, 3800.0, 900.0, 2100.0, 1800.0, 1400.0, 6000.0])
FROM_BAND = 4  # the first so many are read from the same edge of the band
STEEL = 11.5e-6
ROOT_3 = 3.0**0.5


@dataclass(frozen=True)
class InventedOffice:
    observations: Observations
    sizes: Sizes
    data: tuple[Datum, ...]
    errors: Floats  # (tapes,), mm/m
    biases: Floats  # (measurers, kinds), mm, mean zero for each kind
    changes: set[tuple[int, float]]  # (quantity, day) of real changes


def invent(
    seed: int,
    *,
    boats: int = 300,
    per_boat: int = 3,
    tapes: int = 10,
    measurers: int = 5,
    certificates: int = 3,
    changing: float = 0.05,
    blunders: float = 0.0,
) -> InventedOffice:
    """Rectangular reading, temperature and band-edge errors, as the sources are described."""
    rng = np.random.default_rng(seed)
    kinds = len(LENGTHS)
    errors = rng.uniform(0.05, 0.3, tapes) * rng.choice([-1, 1], tapes)
    biases = rng.normal(0, 0.5, (measurers, kinds))
    biases -= biases.mean(axis=0)
    rows: list[tuple[float, ...]] = []
    shared: list[tuple[int, int, float]] = []
    changes: set[tuple[int, float]] = set()
    for boat in range(boats):
        truth = LENGTHS * rng.uniform(0.6, 1.3)
        for number in range(per_boat):
            day, visit = number * 365.0, boat * per_boat + number
            if number:
                changed = rng.random(kinds) < changing
                truth = truth + changed * rng.choice([-1, 1], kinds) * rng.uniform(8, 80, kinds)
                changes |= {(boat * kinds + int(kind), day) for kind in np.flatnonzero(changed)}
            tape, measurer = int(rng.integers(tapes)), int(rng.integers(measurers))
            warmth, edge = rng.uniform(-3, 3) * STEEL, rng.uniform(-0.5, 0.5)
            ends = rng.uniform(-0.5, 0.5, (2, kinds)).sum(axis=0)
            for kind in range(kinds):
                value = truth[kind] * (1 + errors[tape] / 1000 + warmth) + biases[measurer, kind] + ends[kind]
                value += edge * (kind < FROM_BAND) + (rng.random() < blunders) * rng.choice([-5.0, 5.0])
                shared.append((len(rows), 2 * visit, truth[kind] * STEEL * 3 / ROOT_3))
                if kind < FROM_BAND:
                    shared.append((len(rows), 2 * visit + 1, 0.5 / ROOT_3))
                rows.append((boat, boat * kinds + kind, visit, tape, measurer, kind, day, value, 0.5 * (2 / 3) ** 0.5))
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    at, source, size = (np.array(column) for column in zip(*shared, strict=True))
    names = ("boat", "quantity", "visit", "tape", "measurer", "kind", "day", "value_mm", "independent_u_mm")
    named: dict[str, Any] = {
        name: column.astype(np.int64 if place < 6 else np.float64)
        for place, (name, column) in enumerate(zip(names, columns, strict=True))
    }
    observations = Observations(
        **named,
        shared_row=at.astype(np.int64),
        shared_source=source.astype(np.int64),
        shared_mm=size,
    )
    data = tuple(Datum(tape, errors[tape] + rng.normal(0, 0.01), 0.01) for tape in range(certificates))
    return InventedOffice(observations, Sizes(tapes, measurers, kinds), data, errors, biases, changes)
