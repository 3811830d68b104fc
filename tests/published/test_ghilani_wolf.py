"""C. D. Ghilani and P. R. Wolf, Elementary Surveying, Example 6.1.

Data and C_L read in a copy; the other corrections and the sum 81.131 m from memory; recomputed to 81.1312. Expansion
1.16e-5 /K and modulus 2e6 kg/cm2 are the book's for steel (from memory).
"""

import math

import pytest

from computations.tape import pull_correction, sag_correction, scale_correction, temperature_correction

SECTIONS = [(30.0, 14.0), (30.0, 15.0), (21.151, 16.0)]  # m, degrees Celsius


def test_example_6_1() -> None:
    recorded = sum(length for length, _ in SECTIONS)
    assert recorded == pytest.approx(81.151)
    scale = sum(scale_correction(length, 0.012, 30.0) for length, _ in SECTIONS)
    warmth = sum(temperature_correction(length, at, 1.16e-5) for length, at in SECTIONS)
    pull = sum(pull_correction(length, 9.09, 5.45, 0.050, 2e6) for length, _ in SECTIONS)
    sag = sum(sag_correction(length, 9.09, 0.03967) for length, _ in SECTIONS)
    assert scale == pytest.approx(0.0324, abs=1e-4)
    assert warmth == pytest.approx(-0.0048, abs=1e-4)
    assert pull == pytest.approx(0.0030, abs=1e-4)
    assert sag == pytest.approx(-0.0504, abs=1e-4)
    total = recorded + scale + warmth + pull + sag
    assert total == pytest.approx(81.1312, abs=5e-5)
    assert math.isclose(round(total, 3), 81.131)
