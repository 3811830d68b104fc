"""The fleet solved: epochs found, outlying readings weighed down, until nothing moves any more."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from computations.fleet.boats import Reduced, blocks_of, epochs_of, reduce, residuals
from computations.fleet.normal import Solution, solve_normal
from computations.fleet.observations import Datum, Flags, Floats, Ints, Observations, Sizes, check

EPOCH_LIMIT = 4.0  # standard deviations of a difference between successive readings that start a new epoch
JOIN_LIMIT = 3.0  # below it, in the light of later rounds, the epoch was none
MAX_ROUNDS = 16
TO_NORMAL = 1.4826  # median of absolute deviations to standard deviation (1 / 0.6745)
LEAST_U = 1e-9  # what is held to be zero has no uncertainty but the rounding's
HUBER_LIMIT = 2.5  # common practice, no source: beyond it a residual weighs less
STEADY = 0.02  # weights that move by less are settled


@dataclass(frozen=True, slots=True)
class TapeError:
    tape: int
    mm_per_m: float | None  # None: no reading says anything about it
    u: float | None
    readings: int
    tied_to_datum: bool  # False: relative to the mean of the tapes it is compared with


@dataclass(frozen=True, slots=True)
class MeasurerBias:
    """Relative to the mean of the measurers who share boats, for one kind of reading."""

    measurer: int
    kind: int
    mm: float | None
    u: float | None
    readings: int


@dataclass(frozen=True, slots=True)
class RigChange:
    """A new epoch: from `row` on the quantity is another length, by `mm` (tape errors and biases taken out)."""

    row: int
    quantity: int
    day: float
    mm: float


@dataclass(frozen=True, slots=True)
class FleetSolution:
    """The tapes' errors, the measurers' biases, and every change of a rig that was found."""

    tapes: tuple[TapeError, ...]
    biases: tuple[MeasurerBias, ...]
    changes: tuple[RigChange, ...]
    variance_ratio: float  # chi-squared by its degrees of freedom; about 1 when the stated noise is right
    rounds: int
    residual_mm: Floats  # (n,), reading minus what the solution expects; NaN where the reading stands alone
    residual_u_mm: Floats  # (n,), its standard uncertainty


@dataclass(slots=True)
class _Round:
    """What one round found."""

    reduced: list[Reduced]
    solution: Solution
    residual: Floats
    residual_u: Floats
    jump: Floats  # (n,), difference from the reading before of the same epoch, mm; 0 for the first
    jump_u: Floats


def solve(observations: Observations, sizes: Sizes, data: tuple[Datum, ...] = ()) -> FleetSolution:
    """Errors of tapes and biases of measurers with standard uncertainties.

    Raises ValueError where an index is out of range or a value is not finite.
    """
    check(observations, sizes, data)
    blocks = blocks_of(observations, sizes)
    order = np.lexsort((observations.day, observations.quantity))
    starts, weights = np.zeros(len(observations), bool), np.ones(len(observations))
    reduced: list[Reduced] = []
    for rounds in range(1, MAX_ROUNDS + 1):
        epoch = epochs_of(observations.quantity, order, starts)
        reduced = [
            reduce(observations, block, epoch, starts, weights, former)
            for block, former in zip_longest(blocks, reduced)
        ]
        found = _round(observations, reduced, sizes, data, order)
        anew = _epoch_starts(observations, found, order, starts)
        ratio = np.nan_to_num(np.abs(found.residual) / found.residual_u, nan=0.0)
        lighter = HUBER_LIMIT / np.maximum(ratio, HUBER_LIMIT)
        steady = np.array_equal(anew, starts) and np.allclose(lighter, weights, atol=STEADY)
        if steady or rounds == MAX_ROUNDS:
            break
        starts, weights = anew, lighter
    return _report(observations, sizes, data, found, (order, starts, rounds))


def _round(
    observations: Observations, reduced: list[Reduced], sizes: Sizes, data: tuple[Datum, ...], order: Ints
) -> _Round:
    solution = solve_normal(reduced, sizes.parameters, data)
    residual, residual_u = residuals(observations, reduced, solution.estimate)
    left, variance = np.zeros(len(observations)), np.zeros(len(observations))
    for one in reduced:
        rows, columns = one.block.rows, one.block.columns
        left[rows] = observations.value_mm[rows] - one.design @ solution.estimate[columns]
        part = solution.covariance[np.ix_(columns, columns)]
        variance[rows] = np.diag(one.block.covariance) + ((one.design @ part) * one.design).sum(axis=1)
    jump, jump_u = np.zeros(len(observations)), np.ones(len(observations))
    quantity = observations.quantity[order]
    follows = quantity[1:] == quantity[:-1]
    jump[order[1:]] = np.where(follows, np.diff(left[order]), 0.0)
    jump_u[order[1:]] = np.sqrt(variance[order][1:] + variance[order][:-1])
    return _Round(reduced, solution, residual, residual_u, jump, jump_u)


def _epoch_starts(observations: Observations, found: _Round, order: Ints, starts: Flags) -> Flags:
    """(n,) True where a reading differs from the one before it of the same quantity by more than the noise explains.

    Of one quantity only the largest jump is taken in a round: splitting there may settle its neighbours. While the
    tapes are not yet well known all jumps are larger than they should be: their own robust spread is the measure then.
    """
    visit = observations.visit
    other = np.zeros(len(observations), bool)
    other[order[1:]] = (visit[order[1:]] != visit[order[:-1]]) & (
        observations.quantity[order[1:]] == observations.quantity[order[:-1]]
    )
    size = np.where(other, np.abs(found.jump) / found.jump_u, 0.0)
    spread = max(1.0, TO_NORMAL * float(np.median(size[other]))) if other.any() else 1.0
    open_size = np.where(starts, 0.0, size)
    largest = np.zeros(int(observations.quantity.max(initial=0)) + 1)
    np.maximum.at(largest, observations.quantity, open_size)
    fresh = (open_size > EPOCH_LIMIT * spread) & (open_size >= largest[observations.quantity])
    kept: Flags = fresh | (starts & (size > JOIN_LIMIT))
    return kept


def _report(
    observations: Observations,
    sizes: Sizes,
    data: tuple[Datum, ...],
    found: _Round,
    way: tuple[Ints, Flags, int],
) -> FleetSolution:
    order, starts, rounds = way
    solution = found.solution
    u = np.sqrt(np.maximum(np.diag(solution.covariance), 0.0) * max(solution.variance_ratio, 1.0))
    known: list[tuple[float | None, float | None]] = [
        (float(one), float(size)) if size > LEAST_U else (None, None)
        for one, size in zip(solution.estimate, u, strict=True)
    ]
    uses = np.bincount(observations.tape, minlength=sizes.tapes)
    pairs = np.bincount(observations.measurer * sizes.kinds + observations.kind, minlength=sizes.parameters)
    tapes = []
    for tape, (mm_per_m, one_u) in enumerate(known[: sizes.tapes]):
        tied = bool(data) and one_u is not None and solution.determined(tape)
        tapes.append(TapeError(tape, mm_per_m, one_u, int(uses[tape]), tied))
    biases = tuple(
        MeasurerBias(index // sizes.kinds, index % sizes.kinds, mm, one_u, int(pairs[index]))
        for index, (mm, one_u) in enumerate(known[sizes.tapes :])
    )
    changes = tuple(
        RigChange(int(row), int(observations.quantity[row]), float(observations.day[row]), float(found.jump[row]))
        for row in order
        if starts[row]
    )
    return FleetSolution(
        tuple(tapes), biases, changes, solution.variance_ratio, rounds, found.residual, found.residual_u
    )
