"""Student's t against scipy, and the coverage factor's series against the exact quantile."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from computations.student import (
    coverage_factor,
    coverage_factors,
    effective_degrees_of_freedom,
    probability_within,
    t_quantile,
)


@given(st.floats(0.5, 1e6), st.floats(0.1, 0.9999))
def test_quantile(degrees: float, probability: float) -> None:
    assert t_quantile(probability, degrees) == pytest.approx(stats.t.ppf(0.5 + 0.5 * probability, degrees), rel=1e-7)


@pytest.mark.parametrize("factor", [1.0, 2.0, 3.0])
def test_coverage_factor(factor: float) -> None:
    assert probability_within(2.0) == pytest.approx(0.9545, abs=5e-5)
    degrees = np.array([1.0, 1.5, 2.0, 3.7, 9.0, 50.0, 1e4, 1e8, np.inf])
    exact = stats.t.ppf(0.5 + 0.5 * probability_within(factor), degrees)
    assert coverage_factors(degrees, factor) == pytest.approx(exact, rel=1e-7)
    for one, expected in zip(degrees, exact, strict=True):
        assert coverage_factor(float(one), factor) == pytest.approx(expected, rel=1e-7)
    assert coverage_factor(None, factor) == factor
    assert coverage_factor(0.5, factor) == pytest.approx(
        stats.t.ppf(0.5 + 0.5 * probability_within(factor), 0.5), rel=1e-7
    )


def test_impossible_requests_are_refused() -> None:
    for probability, degrees in ((0.0, 3.0), (1.0, 3.0), (0.95, 0.0), (0.95, math.nan)):
        with pytest.raises(ValueError, match="degrees of freedom"):
            t_quantile(probability, degrees)


def test_effective_degrees_of_freedom() -> None:
    assert effective_degrees_of_freedom(4.0, [(4.0, 7.0)]) == 7.0
    assert effective_degrees_of_freedom(4.0, [(2.0, math.inf)]) is None
    assert effective_degrees_of_freedom(4.0, []) is None
