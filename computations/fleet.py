"""The fleet: what all visits together say about each tape and each measurer.

Every accepted reading of a length that was read more than once, in different visits, is an observation

    reading = true length x (1 + e_tape / 1000) + b_(measurer, kind) + noise

with the tape's scale error e in mm/m (positive: the tape reads long) and the measurer's bias b in mm for that kind
of reading. The true lengths are unknown and of no interest: they are eliminated boat by boat with the boat's full
covariance (readings of one visit share the day's temperature, band edges, sheer points), which leaves one small dense
normal system in the tapes and biases. Generalised least squares after Aitken; elimination by the projection
M = C^-1 - C^-1 X (X' C^-1 X)^-1 X' C^-1 (textbook result, e.g. Rao, *Linear Statistical Inference*, ch. 4; from memory).

A real change of the rig starts a new *epoch*: a new unknown length. Epochs are found where two successive readings of one
quantity differ by more than the noise explains, and the whole is solved again until none is left.

What cannot be known is said: a group of tapes that no calibration certificate ties down is solved to mean zero, and only
differences within it have a meaning; biases are relative to the mean of the measurers who share boats.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EPOCH_LIMIT = 4.0  # standard deviations of a difference between successive readings that start a new epoch
MAX_ROUNDS = 12
HUBER_LIMIT = 2.5  # common practice, no source: beyond it a residual weighs less
WEAK = 1e-9  # relative eigenvalue below which a direction is not determined by the data


@dataclass(frozen=True, slots=True)
class Observations:
    """Columns of one length n; indices count from 0. Rows of one boat need not lie together.

    boat, quantity (one physical length of one boat), visit, tape, measurer, kind: shape (n,), integers.
    day: (n,), orders the visits. value_mm: (n,), the reading after every correction except the tape's scale error.
    independent_u_mm: (n,), standard uncertainty of what no other reading shares.
    shared_row, shared_source, shared_mm: (s,), sparse: reading `row` carries `mm` (sensitivity x standard uncertainty) of a source.
    """

    boat: Ints
    quantity: Ints
    visit: Ints
    tape: Ints
    measurer: Ints
    kind: Ints
    day: Floats
    value_mm: Floats
    independent_u_mm: Floats
    shared_row: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    shared_source: Ints = field(default_factory=lambda: np.zeros(0, np.int64))
    shared_mm: Floats = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return len(self.value_mm)


@dataclass(frozen=True, slots=True)
class Datum:
    """A calibration certificate ties a tape down: e = mm_per_m with standard uncertainty u."""

    tape: int
    mm_per_m: float
    u: float


@dataclass(frozen=True, slots=True)
class TapeError:
    tape: int
    mm_per_m: float | None  # None: no reading says anything about it
    u: float | None
    readings: int
    tied_to_datum: bool  # False: relative to the mean of the tapes it is compared with


@dataclass(frozen=True, slots=True)
class MeasurerBias:
    measurer: int
    kind: int
    mm: float | None
    u: float | None
    readings: int


@dataclass(frozen=True, slots=True)
class FleetSolution:
    """The tapes' errors and the measurers' biases; `epochs` lists (quantity, day) of every change that was found."""

    tapes: tuple[TapeError, ...]
    biases: tuple[MeasurerBias, ...]
    epochs: tuple[tuple[int, float], ...]
    variance_ratio: float  # chi-squared by its degrees of freedom; about 1 when the stated noise is right
    rounds: int
    residual_mm: Floats  # (n,), reading minus what the solution expects; nan where the reading stands alone
    residual_u_mm: Floats  # (n,), its standard uncertainty


@dataclass(slots=True)
class _Block:
    """One boat: the rows, their columns among the parameters, and its covariance's inverse."""

    rows: Ints
    columns: Ints  # the parameters it touches
    design: Floats  # (rows, columns)
    covariance: Floats


def solve(
    observations: Observations, *, tapes: int, measurers: int, kinds: int, data: tuple[Datum, ...] = ()
) -> FleetSolution:
    """Errors of `tapes` tapes and biases of `measurers` x `kinds`, with standard uncertainties.

    Raises ValueError where an index is out of range or a value is not finite.
    """
    _check(observations, tapes, measurers, kinds)
    count = tapes + measurers * kinds
    blocks = _blocks(observations, tapes, kinds)
    order = np.lexsort((observations.day, observations.quantity))
    starts_epoch = np.zeros(len(observations), bool)
    weights = np.ones(len(observations))
    rounds, solution = 0, _Normal(np.zeros(count), np.zeros((count, count)), np.zeros((0, count)), 0.0, 0)
    residual = residual_u = np.zeros(len(observations))
    for rounds in range(1, MAX_ROUNDS + 1):
        epoch = _epochs(observations.quantity, order, starts_epoch)
        projections = [_projection(block, epoch, weights) for block in blocks]
        solution = _normal(observations, blocks, projections, count, data)
        residual, residual_u = _residuals(observations, blocks, projections, weights, solution)
        found = _changes(observations, blocks, order, starts_epoch, solution)
        fresh = np.where(starts_epoch, False, found)
        ratio = np.abs(residual) / np.where(residual_u > 0, residual_u, np.inf)
        new_weights = np.where(ratio > HUBER_LIMIT, HUBER_LIMIT / np.maximum(ratio, HUBER_LIMIT), 1.0)
        settled = not fresh.any() and np.allclose(new_weights, weights, atol=0.02)
        starts_epoch |= fresh
        if settled:
            break
        weights = np.where(np.isfinite(new_weights), new_weights, 1.0)
    return _report(
        observations, solution, starts_epoch, order, rounds, residual, residual_u, tapes, measurers, kinds, data
    )


@dataclass(slots=True)
class _Normal:
    estimate: Floats
    covariance: Floats
    free: Floats  # (f, count): directions the data leave undetermined
    chi2: float
    degrees: int


def _check(observations: Observations, tapes: int, measurers: int, kinds: int) -> None:
    for name, top in (("tape", tapes), ("measurer", measurers), ("kind", kinds)):
        column = getattr(observations, name)
        if len(column) and (column.min() < 0 or column.max() >= top):
            raise ValueError(f"{name}: an index lies outside 0 to {top - 1}")
    if not (np.isfinite(observations.value_mm).all() and np.isfinite(observations.independent_u_mm).all()):
        raise ValueError("every reading and its uncertainty must be a finite number")
    if (observations.independent_u_mm <= 0).any():
        raise ValueError("every reading needs an uncertainty above zero")


def _blocks(observations: Observations, tapes: int, kinds: int) -> list[_Block]:
    """One block a boat, with its design and its covariance of readings (constant through the rounds)."""
    by_boat = np.argsort(observations.boat, kind="stable")
    cuts = np.flatnonzero(np.diff(observations.boat[by_boat])) + 1
    shared_order = np.argsort(observations.shared_row, kind="stable")
    shared_rows = observations.shared_row[shared_order]
    blocks = []
    for rows in np.split(by_boat, cuts) if len(by_boat) else []:
        bias_column = tapes + observations.measurer[rows] * kinds + observations.kind[rows]
        columns, place = np.unique(np.concatenate([observations.tape[rows], bias_column]), return_inverse=True)
        design = np.zeros((len(rows), len(columns)))
        line = np.arange(len(rows))
        design[line, place[: len(rows)]] = observations.value_mm[rows] / 1000.0
        design[line, place[len(rows) :]] += 1.0
        first, last = np.searchsorted(shared_rows, rows), np.searchsorted(shared_rows, rows, side="right")
        picks = np.concatenate([shared_order[a:b] for a, b in zip(first, last, strict=True)] or [np.zeros(0, np.int64)])
        covariance = np.diag(observations.independent_u_mm[rows] ** 2)
        if len(picks):
            sources, source_place = np.unique(observations.shared_source[picks], return_inverse=True)
            shared = np.zeros((len(rows), len(sources)))
            shared[np.repeat(line, last - first), source_place] = observations.shared_mm[picks]
            covariance += shared @ shared.T
        blocks.append(_Block(rows, columns, design, covariance))
    return blocks


def _epochs(quantity: Ints, order: Ints, starts_epoch: npt.NDArray[np.bool_]) -> Ints:
    """(n,) a number for each quantity within one epoch."""
    ordered = quantity[order]
    new = np.ones(len(order), bool)
    new[1:] = (ordered[1:] != ordered[:-1]) | starts_epoch[order][1:]
    epoch = np.empty(len(order), np.int64)
    epoch[order] = np.cumsum(new) - 1
    return epoch


def _projection(block: _Block, epoch: Ints, weights: Floats) -> tuple[Floats, int]:
    """M of the module's docstring for one boat, and the number of lengths eliminated."""
    lengths, place = np.unique(epoch[block.rows], return_inverse=True)
    scale = 1.0 / np.sqrt(weights[block.rows])
    inverse = np.linalg.inv(block.covariance * np.outer(scale, scale))
    indicator = np.zeros((len(block.rows), len(lengths)))
    indicator[np.arange(len(block.rows)), place] = 1.0
    half = inverse @ indicator
    return inverse - half @ np.linalg.solve(indicator.T @ half, half.T), len(lengths)


def _normal(
    observations: Observations,
    blocks: list[_Block],
    projections: list[tuple[Floats, int]],
    count: int,
    data: tuple[Datum, ...],
) -> _Normal:
    """The reduced normal equations of all boats together, solved with the certificates as data."""
    normal, right = np.zeros((count, count)), np.zeros(count)
    chi2, degrees = 0.0, 0
    for block, (projection, lengths) in zip(blocks, projections, strict=True):
        if len(block.rows) == lengths:
            continue
        seen = projection @ block.design
        value = observations.value_mm[block.rows]
        normal[np.ix_(block.columns, block.columns)] += block.design.T @ seen
        right[block.columns] += seen.T @ value
        chi2 += float(value @ projection @ value)
        degrees += len(block.rows) - lengths
    for datum in data:
        normal[datum.tape, datum.tape] += datum.u**-2
        right[datum.tape] += datum.mm_per_m * datum.u**-2
        chi2 += (datum.mm_per_m / datum.u) ** 2
        degrees += 1
    # Scaled, so that "weak" means the same for mm/m and for mm; the pseudo-inverse sets what is not determined to mean zero.
    scale = 1.0 / np.sqrt(np.where(np.diag(normal) > 0, np.diag(normal), 1.0))
    seen_at_all = np.diag(normal) > 0
    values, vectors = np.linalg.eigh(normal * np.outer(scale, scale))
    strong = values > WEAK * max(values[-1], 1.0)
    free = (vectors[:, ~strong] * scale[:, None]).T
    inverse = (vectors[:, strong] / values[strong]) @ vectors[:, strong].T * np.outer(scale, scale)
    estimate = inverse @ right
    estimate, inverse = _centre(estimate, inverse, free, seen_at_all)
    chi2 -= float(estimate @ right)
    return _Normal(estimate, inverse, free, max(chi2, 0.0), degrees - int(strong.sum()))


def _centre(estimate: Floats, covariance: Floats, free: Floats, seen: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Move along the undetermined directions to the smallest solution in the parameters' own units."""
    free = free * seen[None, :]
    if not len(free):
        return estimate, covariance
    basis = np.linalg.svd(free, full_matrices=False)
    directions = basis[2][basis[1] > 1e-12 * max(float(basis[1].max(initial=0.0)), 1e-300)]
    keep = np.eye(len(estimate)) - directions.T @ directions
    return keep @ estimate, keep @ covariance @ keep.T


def _residuals(
    observations: Observations,
    blocks: list[_Block],
    projections: list[tuple[Floats, int]],
    weights: Floats,
    solution: _Normal,
) -> tuple[Floats, Floats]:
    """(n,) residuals of the readings and their standard uncertainties; nan where a reading stands alone."""
    residual, u = np.full(len(observations), np.nan), np.full(len(observations), np.nan)
    for block, (projection, _) in zip(blocks, projections, strict=True):
        scale = 1.0 / np.sqrt(weights[block.rows])
        covariance = block.covariance * np.outer(scale, scale)
        left = observations.value_mm[block.rows] - block.design @ solution.estimate[block.columns]
        smoother = covariance @ projection
        residual[block.rows] = smoother @ left
        spread = np.einsum("ij,ji->i", smoother, covariance)
        u[block.rows] = np.where(spread > 1e-12, np.sqrt(np.maximum(spread, 1e-12)), np.nan)
    residual[np.isnan(u)] = np.nan
    return residual, u


def _changes(
    observations: Observations,
    blocks: list[_Block],
    order: Ints,
    starts_epoch: npt.NDArray[np.bool_],
    solution: _Normal,
) -> npt.NDArray[np.bool_]:
    """(n,) True where a reading differs from the one before it of the same quantity by more than the noise explains.

    Of one quantity only the largest jump is taken in a round: splitting there may settle its neighbours.
    """
    expected = np.zeros(len(observations))
    variance = np.zeros(len(observations))
    for block in blocks:
        expected[block.rows] = block.design @ solution.estimate[block.columns]
        part = solution.covariance[np.ix_(block.columns, block.columns)]
        variance[block.rows] = np.diag(block.covariance) + np.einsum("ij,jk,ik->i", block.design, part, block.design)
    left = (observations.value_mm - expected)[order]
    spread = variance[order]
    quantity, visit = observations.quantity[order], observations.visit[order]
    same = (quantity[1:] == quantity[:-1]) & (visit[1:] != visit[:-1]) & ~starts_epoch[order][1:]
    jump = np.where(same, np.abs(np.diff(left)) / np.sqrt(spread[1:] + spread[:-1]), 0.0)
    found = np.zeros(len(observations), bool)
    if not len(jump):
        return found
    largest = np.zeros(int(quantity.max()) + 1)
    np.maximum.at(largest, quantity[1:], jump)
    takes = (jump > EPOCH_LIMIT) & (jump >= largest[quantity[1:]])
    found[order[1:][takes]] = True
    return found


def _tied(solution: _Normal, tape: int) -> bool:
    """A tape is tied down when no undetermined direction moves it."""
    if not len(solution.free):
        return True
    return bool((np.abs(solution.free[:, tape]) <= 1e-6 * np.abs(solution.free).max()).all())


def _report(
    observations: Observations,
    solution: _Normal,
    starts_epoch: npt.NDArray[np.bool_],
    order: Ints,
    rounds: int,
    residual: Floats,
    residual_u: Floats,
    tapes: int,
    measurers: int,
    kinds: int,
    data: tuple[Datum, ...],
) -> FleetSolution:
    ratio = solution.chi2 / solution.degrees if solution.degrees > 0 else 1.0
    u = np.sqrt(np.maximum(np.diag(solution.covariance), 0.0) * max(ratio, 1.0))
    uses = np.bincount(observations.tape, minlength=tapes)
    pairs = np.bincount(observations.measurer * kinds + observations.kind, minlength=measurers * kinds)
    tied_data = {datum.tape for datum in data}
    tape_rows = tuple(
        TapeError(
            tape,
            float(solution.estimate[tape]) if u[tape] > 0 else None,
            float(u[tape]) if u[tape] > 0 else None,
            int(uses[tape]),
            bool(data) and (tape in tied_data or (u[tape] > 0 and _tied(solution, tape))),
        )
        for tape in range(tapes)
    )
    bias_rows = []
    for index in range(measurers * kinds):
        column = tapes + index
        known = bool(u[column] > 0)
        bias_rows.append(
            MeasurerBias(
                index // kinds,
                index % kinds,
                float(solution.estimate[column]) if known else None,
                float(u[column]) if known else None,
                int(pairs[index]),
            )
        )
    changes = [(int(observations.quantity[row]), float(observations.day[row])) for row in order if starts_epoch[row]]
    return FleetSolution(tape_rows, tuple(bias_rows), tuple(changes), float(ratio), rounds, residual, residual_u)
