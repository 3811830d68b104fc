"""One boat's share of the fleet's least squares: her readings with their covariance, her own lengths eliminated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from computations.fleet.observations import Flags, Floats, Ints, Observations, Sizes

SMALLEST_VARIANCE = 1e-12  # mm2; below it a reading stands alone, its residual says nothing


@dataclass(slots=True)
class Block:
    """Her rows, the parameters they touch (`columns`), where each row's tape and bias stand among them."""

    rows: Ints
    columns: Ints
    tape_at: Ints
    bias_at: Ints
    covariance: Floats  # (rows, rows), constant through the rounds


@dataclass(slots=True)
class Reduced:
    """A boat's view with her lengths eliminated: design, the projection M of the package's words, and what she gives
    to the normal equations.
    """

    block: Block
    state: tuple[bytes, bytes]  # which readings start an epoch, and the weights; the rest never changes
    design: Floats  # (rows, columns)
    smoother: Floats  # (rows, rows): covariance x projection, from a reading to its residual
    variance: Floats  # (rows,), of the residuals
    normal: Floats  # (columns, columns)
    bare: Floats  # (columns,), the diagonal of `normal` as it would be if her lengths were known
    right: Floats  # (columns,)
    chi2: float
    degrees: int


def blocks_of(observations: Observations, sizes: Sizes) -> list[Block]:
    """One block a boat."""
    by_boat = np.argsort(observations.boat, kind="stable")
    cuts = np.flatnonzero(np.diff(observations.boat[by_boat])) + 1
    shared_order = np.argsort(observations.shared_row, kind="stable")
    bias = sizes.bias(observations.measurer, observations.kind)
    blocks = []
    for rows in np.split(by_boat, cuts) if len(by_boat) else []:
        columns, place = np.unique(np.concatenate([observations.tape[rows], bias[rows]]), return_inverse=True)
        covariance = _covariance(observations, rows, shared_order)
        blocks.append(Block(rows, columns, place[: len(rows)], place[len(rows) :], covariance))
    return blocks


def _covariance(observations: Observations, rows: Ints, shared_order: Ints) -> Floats:
    shared_rows = observations.shared_row[shared_order]
    covariance = np.diag(observations.independent_u_mm[rows] ** 2)
    first, last = np.searchsorted(shared_rows, rows), np.searchsorted(shared_rows, rows, side="right")
    picks = np.concatenate([shared_order[a:b] for a, b in zip(first, last, strict=True)] or [np.zeros(0, np.int64)])
    if len(picks):
        sources, place = np.unique(observations.shared_source[picks], return_inverse=True)
        shared = np.zeros((len(rows), len(sources)))
        shared[np.repeat(np.arange(len(rows)), last - first), place] = observations.shared_mm[picks]
        covariance += shared @ shared.T
    return covariance


def epochs_of(quantity: Ints, order: Ints, starts: Flags) -> Ints:
    """(n,) a number for each quantity within one epoch; `order` sorts by quantity, then day."""
    ordered = quantity[order]
    new = np.ones(len(order), bool)
    new[1:] = (ordered[1:] != ordered[:-1]) | starts[order][1:]
    epoch = np.empty(len(order), np.int64)
    epoch[order] = np.cumsum(new) - 1
    return epoch


def reduce(
    observations: Observations, block: Block, epoch: Ints, starts: Flags, weights: Floats, former: Reduced | None
) -> Reduced:
    """One boat with her lengths of this round eliminated; `former` again where nothing of hers has changed.

    A tape's error acts on the mean of the epoch's readings, the same for all of them: that a common error of all
    tapes cannot be told from the lengths is then exact, and no accident of the noise seems to tell it.
    """
    rows = block.rows
    state = (starts[rows].tobytes(), weights[rows].tobytes())
    if former is not None and former.state == state:
        return former
    count, value = len(rows), observations.value_mm[rows]
    lengths, place, counts = np.unique(epoch[rows], return_inverse=True, return_counts=True)
    line = np.arange(count)
    design = np.zeros((count, len(block.columns)))
    design[line, block.tape_at] = (np.bincount(place, value) / counts)[place] / 1000.0
    design[line, block.bias_at] += 1.0
    scale = 1.0 / np.sqrt(weights[rows])
    covariance = block.covariance * np.outer(scale, scale)
    indicator = np.zeros((count, len(lengths)))
    indicator[line, place] = 1.0
    half = np.linalg.solve(covariance, np.eye(count))
    weighted = half @ indicator
    projection = half - weighted @ np.linalg.solve(indicator.T @ weighted, weighted.T)
    seen = projection @ design
    smoother = covariance @ projection
    return Reduced(
        block,
        state,
        design,
        smoother,
        np.einsum("ij,ij->i", smoother, covariance),
        design.T @ seen,
        np.einsum("ij,ij->j", design, half @ design),
        seen.T @ value,
        float(value @ projection @ value),
        count - len(lengths),
    )


def residuals(observations: Observations, reduced: list[Reduced], estimate: Floats) -> tuple[Floats, Floats]:
    """(n,) residuals of the readings and their standard uncertainties; NaN where a reading stands alone."""
    residual, u = np.full(len(observations), np.nan), np.full(len(observations), np.nan)
    for one in reduced:
        rows = one.block.rows
        left = observations.value_mm[rows] - one.design @ estimate[one.block.columns]
        residual[rows] = one.smoother @ left
        alone = one.variance <= SMALLEST_VARIANCE
        u[rows] = np.where(alone, np.nan, np.sqrt(np.maximum(one.variance, SMALLEST_VARIANCE)))
    residual[np.isnan(u)] = np.nan
    return residual, u
