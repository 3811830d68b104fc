"""JCGM 101:2008 (propagation of distributions): 9.2, 9.3, 9.4 and 9.5.

9.2 and 9.4 from memory; inputs of 9.3 and results of 9.5 read in a reference package's documentation. All recomputed.
"""

import math

import numpy as np
import pytest

from computations.propagation import Estimate, propagate

DRAWS = 1_000_000


def test_9_2_sum_of_four() -> None:
    answer = propagate(lambda maths, *x: x[0] + x[1] + x[2] + x[3], [Estimate(0, 1)] * 4)
    assert answer.u[0] == 2.0
    draws = np.random.default_rng(92).uniform(-math.sqrt(3), math.sqrt(3), size=(4, DRAWS)).sum(axis=0)
    assert draws.std() == pytest.approx(2.0, rel=0.01)
    closed = 2 * math.sqrt(3) * (2 - (3 / 5) ** 0.25)
    assert closed == pytest.approx(3.88, abs=0.005)
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(closed, abs=0.01)


def mass(maths, *inputs):
    """Mass of a weight from a comparison in air, in mg as the difference from 100 g (9.3.1)."""
    conventional, difference, air, weight_density, reference_density = inputs
    return (conventional + difference) * (1 + (air - 1.2) * (1 / weight_density - 1 / reference_density)) - 100_000.0


def test_9_3_mass_calibration() -> None:
    root_3 = math.sqrt(3)
    inputs = [
        Estimate(100_000, 0.050),
        Estimate(1.234, 0.020),
        Estimate(1.2, 0.1 / root_3),
        Estimate(8000, 1000 / root_3),
        Estimate(8000, 50 / root_3),
    ]
    answer = propagate(mass, inputs)
    assert answer.values[0] == pytest.approx(1.234, abs=1e-9)
    assert answer.u[0] == pytest.approx(0.0539, abs=0.00005)
    random = np.random.default_rng(93)
    draws = mass(
        None,
        random.normal(100_000, 0.050, DRAWS),
        random.normal(1.234, 0.020, DRAWS),
        random.uniform(1.1, 1.3, DRAWS),
        random.uniform(7000, 9000, DRAWS),
        random.uniform(7950, 8050, DRAWS),
    )
    assert draws.std() == pytest.approx(0.0755, rel=0.01), "first order alone would claim 0.0539"


@pytest.mark.parametrize("x1", [0.0, 0.05])
def test_9_4_an_estimate_near_zero_is_flagged_where_first_order_says_nothing(x1: float) -> None:
    answer = propagate(lambda maths, a, b: a * a + b * b, [Estimate(x1, 0.005), Estimate(0.0, 0.005)])
    if x1 == 0.0:
        assert answer.zero_first_order == (True,)
        assert answer.expanded() is None, "a zero uncertainty is not quoted"
    else:
        assert answer.values[0] == pytest.approx(2500e-6)
        assert answer.u[0] == pytest.approx(500e-6)
        assert answer.zero_first_order == (False,)
    # What the quantity really does: mean and deviation in closed form.
    draws = np.random.default_rng(94).normal(0, 0.005, size=(2, DRAWS))
    true = (draws[0] + x1) ** 2 + draws[1] ** 2
    assert true.mean() == pytest.approx({0.0: 50e-6, 0.05: 2550e-6}[x1], rel=0.01)
    assert true.std() == pytest.approx({0.0: 50e-6, 0.05: 502e-6}[x1], rel=0.01)


def test_9_5_gauge_block_by_monte_carlo() -> None:
    random = np.random.default_rng(95)
    root_2 = math.sqrt(2)
    standard = 50_000_623 + 25 * random.standard_t(18, DRAWS)
    # The difference's three parts with their own degrees of freedom, as H.1 of JCGM 100 has them.
    difference = 215 + sum(u * random.standard_t(nu, DRAWS) for u, nu in ((5.8, 24), (3.9, 5), (6.7, 8)))
    # The inner half-widths are themselves uncertain by 10, 10 and 50 per cent (curvilinear trapezia).
    expansion_difference = random.uniform(-1, 1, DRAWS) * random.uniform(0.9e-6, 1.1e-6, DRAWS)
    temperature_difference = random.uniform(-1, 1, DRAWS) * random.uniform(0.025, 0.075, DRAWS)
    expansion = random.uniform(9.5e-6, 13.5e-6, DRAWS)
    cycle = 0.5 * np.sin(random.uniform(0, 2 * math.pi, DRAWS))
    temperature = random.normal(-0.1, 0.2, DRAWS) + cycle
    assert cycle.std() == pytest.approx(0.5 / root_2, rel=0.01)
    draws = standard + difference - standard * (expansion_difference * temperature + expansion * temperature_difference)
    assert draws.mean() == pytest.approx(50_000_838, abs=1)  # read: 838
    assert draws.std() == pytest.approx(36, abs=0.5)  # read: 36; first order alone 32
