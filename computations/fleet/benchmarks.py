"""The fleet against one direct sparse solution with every length and every shared source kept as an unknown.

The peer solves the same weighted least squares once, without looking for changes of rigs and without weighing
outlying readings down; ours does all of that, round after round.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from computations.fleet.observations import Datum, Floats, Observations, Sizes
from computations.fleet.solving import solve

Pair = tuple[Callable[[], Any], Callable[[], Any]]
BOATS, PER_BOAT, TAPES, MEASURERS = 300, 3, 10, 5
LENGTHS = np.array([15000.0, 13500.0, 14500.0, 5200.0, 4800.0, 4500.0, 3800.0, 900.0, 2100.0, 6000.0])
STEEL, OWN_U, EDGE_U, WARMTH_U = 11.5e-6, 0.41, 0.29, 1.73


def invented(seed: int = 1) -> tuple[Observations, Sizes, tuple[Datum, ...]]:
    """An invented office of normal noise, one length in twenty changed between two visits."""
    rng = np.random.default_rng(seed)
    kinds, visits = len(LENGTHS), BOATS * PER_BOAT
    errors = rng.uniform(-0.3, 0.3, TAPES)
    boat, visit, kind = (
        grid.ravel()
        for grid in (
            np.repeat(np.arange(BOATS), PER_BOAT * kinds),
            np.repeat(np.arange(visits), kinds),
            np.tile(np.arange(kinds), visits),
        )
    )
    tape, measurer = rng.integers(TAPES, size=visits)[visit], rng.integers(MEASURERS, size=visits)[visit]
    changed = (rng.random((BOATS, PER_BOAT, kinds)) < 0.05) * rng.normal(0, 40, (BOATS, PER_BOAT, kinds))
    truth = (LENGTHS * rng.uniform(0.6, 1.3, (BOATS, 1, kinds)) + np.cumsum(changed, axis=1)).ravel()
    band = kind < 4
    value = truth * (1 + errors[tape] / 1000 + STEEL * WARMTH_U * rng.normal(size=visits)[visit])
    value += EDGE_U * rng.normal(size=visits)[visit] * band + rng.normal(0, OWN_U, len(truth))
    rows = np.arange(len(truth))
    observations = Observations(
        boat,
        boat * kinds + kind,
        visit,
        tape,
        measurer,
        kind,
        (visit % PER_BOAT).astype(np.float64),
        value,
        np.full(len(truth), OWN_U),
        np.concatenate([rows, rows[band]]),
        np.concatenate([2 * visit, 2 * visit[band] + 1]),
        np.concatenate([truth * STEEL * WARMTH_U, np.full(int(band.sum()), EDGE_U)]),
    )
    data = tuple(Datum(number, float(errors[number]), 0.01) for number in range(3))
    return observations, Sizes(TAPES, MEASURERS, kinds), data


def one_fleet() -> Pair:
    """Our whole solution, and the peer's single one."""
    observations, sizes, data = invented()
    return lambda: solve(observations, sizes, data), lambda: by_sparse(observations, sizes, data)


def by_sparse(observations: Observations, sizes: Sizes, data: tuple[Datum, ...]) -> Floats:
    """Tapes and biases by scipy's direct solver on the normal equations of all unknowns."""
    # Only measured against: an office that never runs the benchmarks needs no scipy.
    from scipy.sparse import coo_array, vstack  # noqa: PLC0415
    from scipy.sparse.linalg import spsolve  # noqa: PLC0415

    count, lengths = len(observations), int(observations.quantity.max()) + 1
    sources = int(observations.shared_source.max()) + 1
    first_source = sizes.parameters + lengths
    total = first_source + sources
    metres = np.bincount(observations.quantity, observations.value_mm) / np.bincount(observations.quantity) / 1000.0
    rows, ones = np.arange(count), np.ones(count)
    places = np.concatenate(
        [
            observations.tape,
            sizes.bias(observations.measurer, observations.kind),
            sizes.parameters + observations.quantity,
            first_source + observations.shared_source,
        ]
    )
    numbers = np.concatenate([metres[observations.quantity], ones, ones, observations.shared_mm])
    at = np.concatenate([rows, rows, rows, observations.shared_row])
    own = coo_array((numbers / observations.independent_u_mm[at], (at, places)), shape=(count, total))
    prior = np.concatenate([np.zeros(sizes.parameters), np.zeros(lengths), np.ones(sources)])
    wanted = np.zeros(total)
    prior[sizes.tapes : sizes.parameters] = 1e-4  # biases: held, barely, where the lengths take them all
    for datum in data:
        prior[datum.tape], wanted[datum.tape] = 1.0 / datum.u, datum.mm_per_m / datum.u
    everything = np.arange(total)
    design = vstack([own, coo_array((prior, (everything, everything)), shape=(total, total))]).tocsc()
    right = np.concatenate([observations.value_mm / observations.independent_u_mm, wanted])
    answer: Floats = spsolve((design.T @ design).tocsc(), design.T @ right)
    biases = answer[sizes.tapes : sizes.parameters].reshape(sizes.measurers, sizes.kinds)
    return np.concatenate([answer[: sizes.tapes], (biases - biases.mean(axis=0)).ravel()])
