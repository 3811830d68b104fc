"""How well each hypothesis explains all differences at once, alone and in pairs.

A hypothesis says: the differences are normal with mean `shift` and covariance C + D D', where C is what measuring noise
explains and each column of D is a direction of unknown size, scaled by its prior standard deviation. With everything whitened
by the Cholesky factor of C once, each hypothesis costs a few inner products and each pair a 2 x 2 system: nothing is solved
from scratch. (Matrix determinant lemma and Woodbury's identity; standard, from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Whitened:
    """z (n,), shifts (h, n) and directions (h, n), all divided by the Cholesky factor of C; logs of the priors (h,)."""

    z: Floats
    shifts: Floats
    directions: Floats
    constant: float  # log of the normal density's constant, shared by all


def factor(covariance: Floats) -> Floats:
    """Lower Cholesky factor; a hair is added to the diagonal where rounding has made the matrix singular."""
    scale = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(scale, scale)
    return np.linalg.cholesky(correlation + 1e-10 * np.eye(len(scale))) * scale[:, None]


def whiten(lower: Floats, differences: Floats, shifts: Floats, directions: Floats) -> Whitened:
    """Everything in units of measuring noise. Shapes (n, n), (n,), (h, n), (h, n)."""
    stacked = np.linalg.solve(lower, np.vstack([differences[None, :], shifts, directions]).T).T
    count = len(shifts)
    constant = -float(np.log(np.diag(lower)).sum()) - 0.5 * len(differences) * float(np.log(2.0 * np.pi))
    return Whitened(stacked[0], stacked[1 : 1 + count], stacked[1 + count :], constant)


def singles(white: Whitened) -> tuple[Floats, Floats]:
    """(h,) log-likelihoods and (h,) most probable sizes, in prior standard deviations, of each hypothesis alone."""
    rest = white.z[None, :] - white.shifts
    along = np.einsum("hn,hn->h", white.directions, rest)
    length = np.einsum("hn,hn->h", white.directions, white.directions)
    chi2 = np.einsum("hn,hn->h", rest, rest) - along**2 / (1.0 + length)
    return white.constant - 0.5 * chi2 - 0.5 * np.log1p(length), along / (1.0 + length)


def pairs(white: Whitened, chosen: npt.NDArray[np.int64]) -> Floats:
    """(c, c) log-likelihoods of every two of the chosen hypotheses together; symmetric, the diagonal without meaning."""
    shifts, directions, z = white.shifts[chosen], white.directions[chosen], white.z
    shift_shift, direction_direction = shifts @ shifts.T, directions @ directions.T
    direction_shift = directions @ shifts.T
    shift_z, direction_z = shifts @ z, directions @ z
    own = np.diag(shift_shift) - 2.0 * shift_z
    chi2 = float(z @ z) + own[:, None] + own[None, :] + 2.0 * shift_shift
    # along_i: direction i on what is left after both shifts
    along_i = (direction_z - np.diag(direction_shift))[:, None] - direction_shift
    along_j = along_i.T
    first, second = 1.0 + np.diag(direction_direction)[:, None], 1.0 + np.diag(direction_direction)[None, :]
    determinant = np.maximum(first * second - direction_direction**2, 1e-12)
    explained = (second * along_i**2 - 2.0 * direction_direction * along_i * along_j + first * along_j**2) / determinant
    return white.constant - 0.5 * (chi2 - explained) - 0.5 * np.log(determinant)


def log_sum(values: Floats) -> float:
    """log of the sum of exponentials, without overflow."""
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))
