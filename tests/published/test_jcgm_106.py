"""JCGM 106:2012, conformity near a limit: simple and guarded acceptance, guarded rejection, P(non-conforming).

The rules are from memory; the numbers are our own example (luff limit of a printed class rule), recomputed by hand
from the normal distribution. One-sided 95 % guard band 1.645 u: ILAC-G8 (from memory).
"""

from __future__ import annotations

import pytest

from computations.conformity import ONE_SIDED_95, Limit, conformity, decide, probability_nonconforming

UPPER = Limit(greatest=6858.0)
U = 1.55


def test_simple_acceptance_passes_what_the_guard_does_not():
    assert decide(6856.2, 0.0, UPPER) == "within"
    assert decide(6856.2, ONE_SIDED_95 * U, UPPER) == "cannot_tell"


def test_probability_of_not_conforming():
    assert probability_nonconforming(6856.2, U, UPPER) == pytest.approx(0.1228, abs=5e-5)
    assert probability_nonconforming(6854.0, U, UPPER) == pytest.approx(0.0049, abs=5e-5)


def test_the_guarded_limit():
    """6858 - 1.645 x 1.55 = 6855.45."""
    assert decide(6855.45, ONE_SIDED_95 * U, UPPER) == "within"
    assert decide(6855.46, ONE_SIDED_95 * U, UPPER) == "cannot_tell"


def test_accepted_under_both_rules():
    assert decide(6854.0, 0.0, UPPER) == decide(6854.0, ONE_SIDED_95 * U, UPPER) == "within"


def test_guarded_rejection():
    assert decide(6858.0 + ONE_SIDED_95 * U + 0.01, ONE_SIDED_95 * U, UPPER) == "outside"
    assert decide(6858.0 + ONE_SIDED_95 * U - 0.01, ONE_SIDED_95 * U, UPPER) == "cannot_tell"


def test_the_rule_that_held_is_printed_with_the_result():
    by_u, by_one_side = conformity(6856.2, U, UPPER), conformity(6856.2, U, UPPER, guard_factor=ONE_SIDED_95)
    assert "guard band U (3.1\u202fmm)" in by_u.rule
    assert "guard band 1.645 u (2.5\u202fmm)" in by_one_side.rule
    assert by_one_side.needed == pytest.approx(1.8 * 2 / 1.645)
