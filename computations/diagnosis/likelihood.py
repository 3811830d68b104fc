"""How well each hypothesis explains all differences at once, alone and two together.

A hypothesis says: the differences are normal with mean `shift` and covariance s2 (C + D DT), where C is what measuring
noise explains, s how much hastier than assumed the measurer was, and each column of D a direction of unknown size,
scaled by its prior standard deviation. With everything whitened by the Cholesky factor of C once, a hypothesis costs a
few inner products and two of them a 2 x 2 system: nothing is solved from scratch. (Matrix determinant lemma and
Woodbury's identity: Golub and Van Loan, Matrix Computations, 2.1.4, from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from computations.diagnosis.priors import NOISE_SCALES

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]


PIECE = 200_000  # multiplications: below this OpenBLAS does not wake other threads, which cost more than they gain here


def product(one: Floats, other: Floats) -> Floats:
    """one @ other of matrices with many rows, in pieces of rows."""
    if one.ndim == 1 or one.size * other.shape[-1] <= PIECE:
        whole: Floats = one @ other
        return whole
    rows = max(1, PIECE // (other.shape[0] * other.shape[1]))
    result = np.empty((len(one), other.shape[1]))
    for start in range(0, len(one), rows):
        np.matmul(one[start : start + rows], other, out=result[start : start + rows])
    return result


@dataclass(frozen=True, slots=True)
class Whitened:
    """z (n,), shifts (h, n) and directions (h, n), all in units of measuring noise."""

    z: Floats
    shifts: Floats
    directions: Floats
    constant: float  # log of the normal density's constant, shared by all


@dataclass(frozen=True, slots=True)
class Noise:
    """The inverse of C's Cholesky factor, and the constant of the density."""

    inverse: Floats
    constant: float

    def white(self, rows: Floats) -> Floats:
        """(…, n) in units of measuring noise."""
        return product(rows, self.inverse.T)


def noise_of(covariance: Floats) -> Noise:
    """Decomposed; a hair is added to the diagonal where rounding has made the matrix singular."""
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-18))
    correlation = covariance / np.outer(scale, scale)
    lower = np.linalg.cholesky(correlation + 1e-10 * np.eye(len(scale))) * scale[:, None]
    constant = -float(np.log(np.diag(lower)).sum()) - 0.5 * len(lower) * float(np.log(2.0 * np.pi))
    return Noise(np.linalg.inv(lower), constant)


def nothing(z: Floats, constant: float) -> float:
    """log-likelihood that noise is all there is."""
    return float(_over_scales(np.array(float(z @ z)), np.array(0.0), constant, len(z)))


def singles(white: Whitened) -> tuple[Floats, Floats]:
    """(h,) log-likelihoods and (h,) most probable sizes, in prior standard deviations, of each hypothesis alone."""
    rest = white.z - white.shifts
    along = np.einsum("hn,hn->h", white.directions, rest)
    length = np.einsum("hn,hn->h", white.directions, white.directions)
    chi2 = np.einsum("hn,hn->h", rest, rest) - along**2 / (1.0 + length)
    return _over_scales(chi2, np.log1p(length), white.constant, len(white.z)), along / (1.0 + length)


def grid(white: Whitened, first: Indices) -> Floats:
    """(f, h) log-likelihoods of each of `first` together with every hypothesis, shifts taken for additive."""
    shifts, directions, z = white.shifts, white.directions, white.z
    some, ways = shifts[first], directions[first]
    shift_z, own = shifts @ z, np.einsum("hn,hn->h", shifts, shifts)
    chi2 = (
        float(z @ z)
        + (own - 2.0 * shift_z)[first, None]
        + (own - 2.0 * shift_z)[None, :]
        + 2.0 * product(shifts, some.T).T
    )
    within = np.einsum("hn,hn->h", directions, shifts)
    along = directions @ z - within
    along_first = along[first, None] - product(shifts, ways.T).T
    along_other = along[None, :] - product(directions, some.T).T
    length = 1.0 + np.einsum("hn,hn->h", directions, directions)
    return _two(
        chi2, along_first, along_other, length[first, None], length[None, :], product(directions, ways.T).T, white
    )[0]


def couples(white: Whitened, first: Indices, second: Indices, rest: Floats) -> tuple[Floats, Floats, Floats]:
    """(c,) log-likelihoods and both most probable sizes of chosen twos; `rest` (c, n) is z less both shifts."""
    one, other = white.directions[first], white.directions[second]
    return _two(
        np.einsum("cn,cn->c", rest, rest),
        np.einsum("cn,cn->c", one, rest),
        np.einsum("cn,cn->c", other, rest),
        1.0 + np.einsum("cn,cn->c", one, one),
        1.0 + np.einsum("cn,cn->c", other, other),
        np.einsum("cn,cn->c", one, other),
        white,
    )


def _two(
    chi2: Floats,
    along_first: Floats,
    along_other: Floats,
    length_first: Floats,
    length_other: Floats,
    cross: Floats,
    white: Whitened,
) -> tuple[Floats, Floats, Floats]:
    """Two directions, their 2 x 2 system solved in closed form: log-likelihoods and both sizes."""
    determinant = np.maximum(length_first * length_other - cross**2, 1e-12)
    size_first = (length_other * along_first - cross * along_other) / determinant
    size_other = (length_first * along_other - cross * along_first) / determinant
    explained = along_first * size_first + along_other * size_other
    return (
        _over_scales(chi2 - explained, np.log(determinant), white.constant, len(white.z)),
        size_first,
        size_other,
    )


def _over_scales(chi2: Floats, log_determinant: Floats, constant: float, rows: int) -> Floats:
    """Summed over how steady the measurer was; all covariances, those of free sizes included, grow alike."""
    logs = [np.log(share) - rows * np.log(scale) - 0.5 * chi2 / scale**2 for scale, share in NOISE_SCALES]
    top = np.maximum.reduce(logs)
    total: Floats = constant - 0.5 * log_determinant + top + np.log(sum(np.exp(one - top) for one in logs))
    return total
