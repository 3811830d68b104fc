"""The reduced normal equations of all boats together, and what they leave undetermined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from computations.fleet.boats import Reduced
from computations.fleet.observations import Datum, Flags, Floats

WEAK = 1e-10  # relative eigenvalue below which a direction is not determined by the data


@dataclass(slots=True)
class Solution:
    """Parameters with covariance; `free` (f, parameters): directions that the data leave undetermined."""

    estimate: Floats
    covariance: Floats
    free: Floats
    chi2: float
    degrees: int

    @property
    def variance_ratio(self) -> float:
        """Chi-squared by its degrees of freedom."""
        return self.chi2 / self.degrees if self.degrees > 0 else 1.0

    def determined(self, parameter: int) -> bool:
        """Whether no undetermined direction moves this parameter."""
        if not len(self.free):
            return True
        reach = np.abs(self.free)
        return bool((reach[:, parameter] <= 1e-6 * reach.max(axis=1)).all())


def solve_normal(reduced: list[Reduced], count: int, data: tuple[Datum, ...]) -> Solution:
    """Least squares with the certificates as data; what is undetermined is moved to mean zero."""
    normal, right, bare = np.zeros((count, count)), np.zeros(count), np.zeros(count)
    chi2, degrees = 0.0, 0
    for one in reduced:
        if one.degrees:
            normal[np.ix_(one.block.columns, one.block.columns)] += one.normal
            right[one.block.columns] += one.right
            bare[one.block.columns] += one.bare
            chi2, degrees = chi2 + one.chi2, degrees + one.degrees
    for datum in data:
        normal[datum.tape, datum.tape] += datum.u**-2
        right[datum.tape] += datum.mm_per_m * datum.u**-2
        bare[datum.tape] += datum.u**-2
        chi2 += (datum.mm_per_m / datum.u) ** 2
        degrees += 1
    # Scaled by what would be known with the lengths given, so that "weak" means the same for mm/m and for mm and what
    # the lengths take entirely is not mistaken for knowledge by its last bits.
    scale = 1.0 / np.sqrt(np.where(bare > 0, bare, 1.0))
    values, vectors = np.linalg.eigh(normal * np.outer(scale, scale))
    strong = values > WEAK * max(float(values[-1]) if len(values) else 0.0, 1.0)
    free = (vectors[:, ~strong] * scale[:, None]).T
    covariance = (vectors[:, strong] / values[strong]) @ vectors[:, strong].T * np.outer(scale, scale)
    estimate, covariance, free = _centred(covariance @ right, covariance, free, bare > 0)
    chi2 -= float(estimate @ right)
    return Solution(estimate, covariance, free, max(chi2, 0.0), degrees - int(strong.sum()))


def _centred(estimate: Floats, covariance: Floats, free: Floats, seen: Flags) -> tuple[Floats, Floats, Floats]:
    """Moved along the undetermined directions to the smallest solution in the parameters' own units."""
    free = free * seen[None, :]
    if not len(free):
        return estimate, covariance, free
    _, sizes, directions = np.linalg.svd(free, full_matrices=False)
    directions = directions[sizes > 1e-9 * max(float(sizes.max(initial=0.0)), 1e-300)]
    keep = np.eye(len(estimate)) - directions.T @ directions
    return keep @ estimate, keep @ covariance @ keep.T, directions
