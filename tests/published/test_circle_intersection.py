"""Foot and height of a point from its distances to two marks.

Printed run of UMBC's circle-circle program (read); Heron's triangles 13-14-15 and 13-20-21 (from memory); the
formula's statement in Weisstein, MathWorld, "Circle-Circle Intersection" (from memory). All recomputed.
"""

import math

import pytest

from computations.formulas import drop_to_sheer
from computations.propagation import Estimate, propagate


class Numbers:
    @staticmethod
    def sqrt(a: float) -> float:
        return math.sqrt(a)

    @staticmethod
    def choose(condition: float, if_not_negative: float, otherwise: float) -> float:
        return if_not_negative if condition >= 0 else otherwise


def foot(a: float, b: float, z: float) -> float:
    return drop_to_sheer(a, b, z, Numbers())


def test_printed_run() -> None:
    z = math.hypot(2 + 0.1, 1 + 0.2)
    assert z == pytest.approx(2.418677, abs=5e-7)
    d = foot(2.0, 2.1, z)
    assert d == pytest.approx(1.124582, abs=1e-6)
    h = math.sqrt(4 - d * d)
    assert h == pytest.approx(1.653879, abs=1e-6)
    x, y = -0.1 + d * 2.1 / z, -0.2 + d * 1.2 / z
    assert (x, y) == pytest.approx((0.876410, 0.357949), abs=1e-6)
    assert (x + h * 1.2 / z, y - h * 2.1 / z) == pytest.approx((1.696964, -1.078021), abs=1e-6)
    assert (x - h * 1.2 / z, y + h * 2.1 / z) == pytest.approx((0.055856, 1.793918), abs=1e-6)


@pytest.mark.parametrize(("a", "b", "z", "d", "h"), [(13, 15, 14, 5, 12), (15, 13, 14, 9, 12), (20, 13, 21, 16, 12)])
def test_heron_s_triangles(a: float, b: float, z: float, d: float, h: float) -> None:
    assert foot(a, b, z) == d
    assert math.sqrt(a * a - d * d) == h


@pytest.mark.parametrize(("a", "b", "z"), [(1, 1, 3), (5, 1, 2), (1, 5, 2), (3, 4, 0), (3, 4, -5)])
def test_no_triangle_no_figure(a: float, b: float, z: float) -> None:
    assert math.isnan(foot(a, b, z) if z else foot(a, b, -1e-300))


def test_sensitivities_and_uncertainty() -> None:
    answer = propagate(lambda maths, a, b, z: drop_to_sheer(a, b, z, maths), [Estimate(x, 1.0) for x in (13, 15, 14)])
    assert answer.sensitivities[0] == pytest.approx([13 / 14, -15 / 14, 1 - 5 / 14])
    assert answer.u[0] == pytest.approx(1.56, abs=0.005)
