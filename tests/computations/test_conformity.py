"""Limits and spot checks decided with the uncertainty."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from computations.checking.standing import against_limits
from computations.conformity import Limit, conformity, decide, probability_nonconforming, spot_check, what_would_tell
from computations.derivation import Derivation, derive
from computations.next_reading import readings_for
from tests.computations.visits import full_visit, without

figures = st.floats(-1e4, 1e4)


@given(figures, st.floats(0.01, 50.0), figures, st.floats(0.0, 1e3))
def test_probability_and_decision_never_contradict_each_other(value, u, least, width):
    limit = Limit(least, least + width)
    found = conformity(value, u, limit)
    assert 0.0 <= found.probability_nonconforming <= 1.0 + 1e-12
    if found.answer == "within":
        assert found.probability_nonconforming <= 2 * 0.02276
    if found.answer == "outside":
        assert found.probability_nonconforming >= 1 - 0.02276


@given(figures, st.floats(0.01, 50.0), figures)
def test_the_u_that_would_tell_tells(value, u, greatest):
    limit = Limit(greatest=greatest)
    found = conformity(value, u, limit)
    if found.answer == "cannot_tell" and found.needed is not None and found.needed > 1e-6:
        assert decide(value, 0.999 * found.needed, limit) == ("within" if value <= greatest else "outside")
        assert decide(value, 1.001 * found.needed, limit) == "cannot_tell"


@pytest.mark.parametrize(
    ("found", "answer"),
    [(10_002.0, "agrees"), (9_998.5, "agrees"), (10_012.0, "differs"), (9_989.0, "differs"), (10_005.0, "cannot_tell")],
)
def test_a_spot_check_agrees_differs_or_cannot_tell(found, answer):
    """Certificate 10 000, tolerance 6, U of the difference 3: agrees to 3, differs from 9 on."""
    made = spot_check(10_000.0, found, 1.5, 6.0)
    assert made.answer == answer
    assert "guarded acceptance" in made.rule
    assert "tolerance of 6.0\u202fmm" in made.rule


def test_with_no_tolerance_nothing_agrees_for_certain():
    assert spot_check(100.0, 100.0, 1.0, 0.0).answer == "cannot_tell"
    assert spot_check(100.0, 103.0, 1.0, 0.0).answer == "differs"
    with pytest.raises(ValueError, match="zero or more"):
        spot_check(100.0, 100.0, 1.0, -1.0)


@pytest.mark.parametrize(("value", "u"), [(math.nan, 1.0), (1.0, math.nan), (1.0, 0.0), (math.inf, 1.0), (1.0, -1.0)])
def test_what_is_no_figure_is_refused(value, u):
    with pytest.raises(ValueError, match="finite figure"):
        conformity(value, u, Limit(greatest=2.0))


def figure(derivation: Derivation, name: str) -> tuple[float, float]:
    one = derivation.get(name)
    assert one.value is not None
    assert one.standard_uncertainty is not None
    return one.value, one.standard_uncertainty


def test_what_would_tell_names_the_reading_that_does():
    derivation = derive(without(full_visit(), "string_to_sheer", "string_to_band"))
    height, u = figure(derivation, "BAS")
    found = conformity(height, u, Limit(greatest=height + 0.97 * 2 * u))
    sentence = what_would_tell(found, "mm", readings_for(derivation, "BAS"))
    assert found.answer == "cannot_tell"
    assert "would tell" in sentence
    assert "by the string as well" in sentence
    assert "No single step" not in sentence
    closer = conformity(height, u, Limit(greatest=height + 0.5))
    assert "No single step reaches that" in what_would_tell(closer, "mm", readings_for(derivation, "BAS"))
    assert "on the limit itself" in what_would_tell(conformity(height, 1.0, Limit(greatest=height)), "mm")
    assert what_would_tell(conformity(height, 1.0, Limit()), "mm") == ""


def test_a_design_s_limit_prints_rule_probability_and_what_would_tell():
    derivation = derive(full_visit())
    luff, u = figure(derivation, "P")
    limit = Limit(greatest=luff + 0.5, source="class rules")
    (finding,) = against_limits(derivation, {("luff", "main"): limit})
    assert finding.check == "limit_cannot_tell"
    assert "Decision rule: guard band U" in finding.message
    assert f"{100 * probability_nonconforming(luff, u, limit):.0f} in 100" in finding.message
    assert "would tell" in finding.advice
