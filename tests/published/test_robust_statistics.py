"""Scores for comparing results: E_n, and the modified z of Iglewicz and Hoaglin (1993).

E_n list read in a package's documentation (its own grading at 2 and 3 is wrong for E_n: the limit is 1, ISO 13528);
the ten values with median 149.5 read in lecture notes; the AMC Technical Brief 6 data from memory. Recomputed.
"""

import statistics

import pytest

from computations.checking.standing import modified_z
from computations.comparison import verdict

RESULTS = [99.2, 100.5, 98.8, 101.2, 97.5, 100.1, 99.8, 102.3, 100.6, 94.0]
EXPANDED = [1.5, 2.0, 1.8, 1.6, 2.2, 1.9, 1.7, 2.1, 1.5, 2.0]
EN = [-0.533, 0.25, -0.667, 0.75, -1.136, 0.053, -0.118, 1.095, 0.4, -3.0]


def test_e_n_and_its_limit() -> None:
    scores = [(x - 100) / u for x, u in zip(RESULTS, EXPANDED, strict=True)]
    assert scores == pytest.approx(EN, abs=0.0005)
    assert statistics.mean(scores) == pytest.approx(-0.291, abs=0.001)
    verdicts = [verdict(en, x - 100, None) for en, x in zip(scores, RESULTS, strict=True)]
    assert verdicts.count("changed") == 3
    assert verdicts[4] == verdicts[7] == verdicts[9] == "changed"


def test_the_limit_of_e_n_is_one() -> None:
    """Made here: 14.327 (U 0.006) against 14.319 (U 0.005)."""
    en = (14.327 - 14.319) / (0.006**2 + 0.005**2) ** 0.5
    assert en == pytest.approx(1.024, abs=0.0005)
    zeta = (14.327 - 14.319) / (0.003**2 + 0.0025**2) ** 0.5  # on standard uncertainties: its own limit is 2
    assert zeta == pytest.approx(2.049, abs=0.0005)
    assert verdict(en, 0.008, None) == "changed"
    assert verdict(en, 0.008, 0.010) == "changed_below_limit"
    assert verdict(1.0, 0.008, None) == "within_noise"
    assert verdict(None, None, None) is None


def test_modified_z_flags_183_and_not_130() -> None:
    values = [145, 157, 183, 151, 143, 147, 153, 163, 130, 148]
    assert statistics.median(values) == 149.5
    assert modified_z(183, values) == pytest.approx(4.11, abs=0.005)
    assert modified_z(130, values) == pytest.approx(-2.39, abs=0.005)


def test_analytical_methods_committee_technical_brief_6() -> None:
    values = [4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9]
    assert statistics.median(values) == 5.2
    assert modified_z(9.9, values) == pytest.approx(4.53, abs=0.005)
