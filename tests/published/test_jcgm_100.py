"""JCGM 100:2008 (GUM): worked examples H.1, H.2, H.3, 5.2.2, G.4.1 and Table G.2.

H.1, H.2 and H.3: data and printed results read in copies that reference packages print; nu_eff 16.7 and k_99 2.92 of
H.1, G.4.1, 5.2.2 and Table G.2 from memory. All recomputed.
"""

import math

import numpy as np
import pytest

from computations.propagation import Estimate, propagate
from computations.student import coverage_factor, effective_degrees_of_freedom, t_quantile


def end_gauge(maths, *inputs):
    """l = l_s + d - l_s (delta_alpha theta + alpha_s delta_theta), nm and degrees Celsius (H.1)."""
    standard, difference, expansion_difference, temperature_difference, expansion, temperature = inputs
    return standard + difference - standard * (expansion_difference * temperature + expansion * temperature_difference)


def end_gauge_inputs() -> list[Estimate]:
    root_3 = math.sqrt(3)
    parts = [(5.8, 24), (3.9, 5), (6.7, 8)]
    u_d = math.sqrt(sum(u * u for u, _ in parts))
    nu_d = effective_degrees_of_freedom(u_d**2, ((u * u, nu) for u, nu in parts))
    # Temperature: 0.2 combined with an arcsine distribution of half-width 0.5 (u = a / sqrt(2)).
    u_theta = math.hypot(0.2, 0.5 / math.sqrt(2))
    return [
        Estimate(50_000_623, 25, 18),
        Estimate(215, u_d, nu_d),
        Estimate(0, 1e-6 / root_3, 50),
        Estimate(0, 0.05 / root_3, 2),
        Estimate(11.5e-6, 2e-6 / root_3),
        Estimate(-0.1, u_theta),
    ]


def test_h_1_end_gauge() -> None:
    answer = propagate(end_gauge, end_gauge_inputs())
    assert answer.values[0] == 50_000_838  # read
    components = answer.components[0]
    assert components[:4] == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.05)  # read
    assert answer.u[0] == pytest.approx(31.7, abs=0.05)
    assert round(answer.u[0]) == 32  # read
    assert answer.degrees[0] == pytest.approx(16.75, abs=0.01)
    assert answer.degrees[0] is not None
    assert math.floor(answer.degrees[0]) == 16  # read
    k = t_quantile(0.99, 16)
    assert k == pytest.approx(2.92, abs=0.005)  # from memory
    assert k * answer.u[0] == pytest.approx(92.6, abs=0.15)
    assert abs(k * answer.u[0] - 93) < 1  # read: 93 nm


def test_h_1_regression_figures_of_the_gum_tree_calculator() -> None:
    """l_s = 5e7 in that package's own test (read)."""
    inputs = end_gauge_inputs()
    assert inputs[1].u == pytest.approx(9.68194195397, rel=1e-11)
    assert inputs[1].degrees == pytest.approx(25.4472507774, rel=1e-11)
    inputs[0] = Estimate(50_000_000, 25, 18)
    answer = propagate(end_gauge, inputs)
    assert answer.u[0] == pytest.approx(31.6637674111, rel=1e-11)
    assert answer.degrees[0] == pytest.approx(16.7521475092, rel=1e-11)


def test_h_1_degrees_of_freedom_are_not_formed_from_rounded_figures() -> None:
    """With the printed u_c of 32 nm the Welch-Satterthwaite formula would give 17.5."""
    answer = propagate(end_gauge, end_gauge_inputs())
    assert answer.degrees[0] is not None
    assert answer.degrees[0] < 17
    rounded = answer.degrees[0] * (32 / answer.u[0]) ** 4
    assert rounded == pytest.approx(17.5, abs=0.1)


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_h_2_simultaneous_resistance_and_reactance() -> None:
    """The sine and cosine stand as their own first-order inputs, since the tracer knows no angles."""
    rows = np.array([VOLTS, np.array(MILLIAMPERES) / 1000, RADIANS])
    means, covariance = rows.mean(axis=1), np.cov(rows) / 5
    correlation = np.corrcoef(rows)
    assert correlation[0, 1] == pytest.approx(-0.36, abs=0.005)  # read
    assert correlation[0, 2] == pytest.approx(0.86, abs=0.005)
    assert correlation[1, 2] == pytest.approx(-0.65, abs=0.005)
    v, i, phi = means
    u = np.sqrt(np.diag(covariance))

    def impedance(maths, volts, amperes, radians):
        cosine = math.cos(phi) - math.sin(phi) * (radians - phi)
        sine = math.sin(phi) + math.cos(phi) * (radians - phi)
        return [volts / amperes * cosine, volts / amperes * sine, volts / amperes]

    answer = propagate(impedance, [Estimate(*pair) for pair in zip(means, u, strict=True)], correlation)
    assert answer.values == pytest.approx([127.732, 219.847, 254.260], abs=0.0006)  # read
    assert answer.u == pytest.approx([0.071, 0.295, 0.236], abs=0.0006)  # read
    r = answer.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.0006)  # read
    assert v / i == pytest.approx(254.26, abs=0.001)
    alone = propagate(impedance, [Estimate(*pair) for pair in zip(means, u, strict=True)])
    assert alone.u[0] > 2 * answer.u[0], "without the correlations R would look far less sure"


T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_h_3_calibration_of_a_thermometer() -> None:
    """Least squares y1 + y2 (t - 20), written as sums of the observations, each with the residual deviation s."""
    x = [t - 20.0 for t in T]
    n, sum_x, sum_xx = len(x), math.fsum(x), math.fsum(one * one for one in x)
    det = n * sum_xx - sum_x**2

    def line(maths, *b):
        y1 = sum((sum_xx - sum_x * one) / det * value for one, value in zip(x, b, strict=True))
        y2 = sum((n * one - sum_x) / det * value for one, value in zip(x, b, strict=True))
        return [y1, y2, y1 + 10.0 * y2]

    first = propagate(line, [Estimate(one, 1.0) for one in B])
    y1, y2, _ = first.values
    s = math.sqrt(sum((b - y1 - y2 * one) ** 2 for b, one in zip(B, x, strict=True)) / (n - 2))
    answer = propagate(line, [Estimate(one, s) for one in B])
    assert round(s, 4) == 0.0035  # read
    assert answer.values == pytest.approx([-0.1712, 0.00218, -0.1494], abs=0.00005)  # read
    assert answer.values[1] == pytest.approx(0.00218, abs=0.000005)
    assert answer.u == pytest.approx([0.0029, 0.00067, 0.0041], abs=0.00005)  # read
    assert answer.u[1] == pytest.approx(0.00067, abs=0.000005)
    assert answer.correlation[0, 1] == pytest.approx(-0.930, abs=0.0005)  # read
    assert n - 2 == 9


def test_5_2_2_resistors_calibrated_with_one_standard() -> None:
    """Ten resistors of 1000 ohm against one standard of u = 100 milliohm: 1 ohm together, not 0.32."""

    def series(maths, standard):
        return sum((standard * 1.0 for _ in range(9)), standard * 1.0)

    assert propagate(series, [Estimate(1000, 0.1)]).u[0] == pytest.approx(1.0, rel=1e-9)
    apart = propagate(lambda maths, *each: sum(each[1:], each[0]), [Estimate(1000, 0.1)] * 10)
    assert apart.u[0] == pytest.approx(0.1 * math.sqrt(10), rel=1e-9)


def test_g_4_1_three_relative_uncertainties() -> None:
    """0.25, 0.57 and 0.82 per cent from 10, 5 and 15 observations."""
    answer = propagate(
        lambda maths, *x: x[0] * x[1] * x[2], [Estimate(1, 0.25, 9), Estimate(1, 0.57, 4), Estimate(1, 0.82, 14)]
    )
    assert answer.u[0] == pytest.approx(1.03, abs=0.005)
    assert answer.degrees[0] == pytest.approx(19.0, abs=0.05)
    t_95 = t_quantile(0.95, 19)
    assert t_95 == pytest.approx(2.09, abs=0.005)
    assert t_95 * answer.u[0] == pytest.approx(2.2, abs=0.05)


TABLE_G_2 = {
    1: (12.71, 13.97, 63.66),
    2: (4.30, 4.53, 9.92),
    5: (2.57, 2.65, 4.03),
    10: (2.23, 2.28, 3.17),
    16: (2.12, 2.17, 2.92),
    20: (2.09, 2.13, 2.85),
    50: (2.01, 2.05, 2.68),
    10**9: (1.96, 2.00, 2.58),  # printed as infinity
}


@pytest.mark.parametrize("degrees", TABLE_G_2)
def test_table_g_2(degrees: int) -> None:
    computed = [t_quantile(p, degrees) for p in (0.95, 0.9545, 0.99)]
    assert computed == pytest.approx(TABLE_G_2[degrees], abs=0.005)
    assert coverage_factor(degrees) == pytest.approx(TABLE_G_2[degrees][1], abs=0.005)
