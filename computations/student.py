"""Student's t and the effective degrees of freedom (JCGM 100:2008, G.4.1 and Table G.2).

The coverage factor belongs to one probability: the one for which it is 2 with infinitely many degrees of freedom,
95.45 per cent, as in the middle column of Table G.2.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from numpy.polynomial.chebyshev import chebval
from numpy.typing import NDArray

Array = NDArray[np.float64]
_TINY = 1e-300


def effective_degrees_of_freedom(variance: float, parts: Iterable[tuple[float, float]]) -> float | None:
    """Welch-Satterthwaite, G.4.1: `parts` are (variance contributed, degrees of freedom). None: infinitely many."""
    total = sum(part * part / degrees for part, degrees in parts if math.isfinite(degrees))
    return variance * variance / total if total > 0 else None


def probability_within(factor: float) -> float:
    """Probability that a normal quantity lies within `factor` standard uncertainties."""
    return math.erf(factor / math.sqrt(2.0))


def coverage_factor(degrees: float | None, factor_at_infinity: float = 2.0) -> float:
    """k for that many degrees of freedom (None: infinitely many), for the probability `factor_at_infinity` means."""
    if degrees is None or not degrees < 1e9:
        return factor_at_infinity
    if degrees < 1.0:
        return t_quantile(probability_within(factor_at_infinity), degrees)
    return math.exp(_clenshaw(_log_factor(factor_at_infinity), 2.0 / degrees - 1.0))


def coverage_factors(degrees: Array, factor_at_infinity: float = 2.0) -> Array:
    """The same for arrays of degrees of freedom of at least 1 (infinite: infinitely many)."""
    inverse = 1.0 / np.asarray(degrees, dtype=np.float64)
    return np.exp(chebval(2.0 * inverse - 1.0, _log_factor(factor_at_infinity)))


@lru_cache(maxsize=16)
def _log_factor(factor_at_infinity: float, terms: int = 24) -> tuple[float, ...]:
    """ln k as a Chebyshev series in 1/n from 0 to 1, where it is smooth: k is needed for every figure of a batch."""
    probability = probability_within(factor_at_infinity)
    angles = [math.pi * (i + 0.5) / terms for i in range(terms)]
    logs = [math.log(t_quantile(probability, 2.0 / (1.0 + math.cos(angle)))) for angle in angles]
    return tuple(
        (1.0 if j == 0 else 2.0)
        / terms
        * sum(log * math.cos(j * angle) for log, angle in zip(logs, angles, strict=True))
        for j in range(terms)
    )


def _clenshaw(series: tuple[float, ...], x: float) -> float:
    later, latest = 0.0, 0.0
    for term in reversed(series[1:]):
        later, latest = latest, 2.0 * x * latest - later + term
    return x * latest - later + series[0]


@lru_cache(maxsize=4096)
def t_quantile(probability: float, degrees: float) -> float:
    """t with `probability` between -t and t. ValueError unless 0 < probability < 1 and degrees > 0."""
    if not (0.0 < probability < 1.0 and degrees > 0.0):
        raise ValueError("A probability between 0 and 1 and more than 0 degrees of freedom are needed.")
    # Between -t and t lies 1 - I(x; n/2, 1/2) with x = n / (n + t2): Newton's step in ln t, kept within a bracket.
    low, high, middle = -40.0, 300.0, 0.7
    log_density = math.lgamma(0.5 * (degrees + 1)) - math.lgamma(0.5 * degrees) - 0.5 * math.log(degrees * math.pi)
    for _ in range(200):
        t = math.exp(middle)
        excess = _within(t, degrees) - probability
        low, high = (low, middle) if excess > 0 else (middle, high)
        slope = 2.0 * t * math.exp(log_density - 0.5 * (degrees + 1) * math.log1p(t * t / degrees))
        following = middle - excess / slope if slope > 0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
        if abs(following - middle) < 1e-14:
            break
        middle = following
    return math.exp(middle)


def _within(t: float, degrees: float) -> float:
    x = degrees / (degrees + t * t)
    return 1.0 - _incomplete_beta(x, 0.5 * degrees, 0.5)


def _incomplete_beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function by its continued fraction (Abramowitz and Stegun 26.5.8, from memory)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(x, a, b) / a
    return 1.0 - front * _beta_fraction(1.0 - x, b, a) / b


def _beta_fraction(x: float, a: float, b: float) -> float:
    """The continued fraction, evaluated forward (modified Lentz)."""
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    result = d
    for m in range(1, 10_000):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0)),
        ):
            d = 1.0 + numerator * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + numerator / c
            c = c if abs(c) > _TINY else _TINY
            step = c * d
            result *= step
        if abs(step - 1.0) < 1e-16:
            break
    return result
