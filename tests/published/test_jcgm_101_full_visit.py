"""JCGM 101:2008 on our own figures: a million draws of every source of one full visit against the first-order u.

The draws act on the points of the rig and on the instruments (`tests/computations/world.py`), not through any
sensitivity; each draw's readings then go through the formulas. Every source is normal at its stated u, since it is u
that is tested here; the shapes of the sources are in `tests/computations/test_simulated_truth.py`.

Where both methods for the boom's height are there, the adopted one is their combination with the weights that the
first-order covariance gives. The weights hardly move from draw to draw, and near the least variance they hardly
matter, so that the combination behaves as if they were fixed. Draws in which the methods disagree beyond k = 2 adopt
nothing: 4.55 per cent by the normal distribution. A combination of least variance is uncorrelated with that
disagreement, so leaving those draws out does not narrow the others.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from computations.catalogue import DIMENSIONS
from computations.derivation import derive, derive_columns
from computations.inputs import Reading
from tests.computations.visits import full_visit
from tests.computations.world import TrueRig, columns, dimensions, draw, read

DRAWS = 1_000_000
AT_ONCE = 20_000
RIG = TrueRig(ahead=240.0)
NEEDS_SEVERAL_MASTS = {"mast_separation"}


def whole_visit():
    """Both methods for the boom's height, outrigger, weight and balance, foil, pole and bowsprit."""
    plain = full_visit()
    outrigger = (
        Reading("outrigger_reach", 0.0, instrument="T-07"),
        Reading("outrigger_mast_width", 0.0, instrument="K-02"),
    )
    return replace(plain, rig=replace(plain.rig, outrigger=True), readings=(*plain.readings, *outrigger))


@cache
def moments():
    """Of each dimension over the draws: (how many have a value, mean, standard deviation, share within U of the truth).

    Sums of differences from the truth, in chunks: memory stays that of a chunk.
    """
    template, random = whole_visit(), np.random.default_rng(20260403)
    truth = dimensions(RIG)
    true = np.array(
        [[truth[one.slug, one.mast, one.method]] for one in derive(read(RIG, template, {})).dimensions],
    )
    sums = np.zeros((4, len(true)))
    for _ in range(DRAWS // AT_ONCE):
        errors = draw(random, template, AT_ONCE, normal=True)
        shown = columns(RIG, template, errors)
        found = derive_columns(template, np.array(shown), template.air_temperature_c)
        apart = found.values - true
        told = np.isfinite(apart)
        within = np.abs(apart) <= found.expanded_uncertainties
        apart = np.where(told, apart, 0.0)
        sums += [told.sum(axis=1), apart.sum(axis=1), (apart * apart).sum(axis=1), within.sum(axis=1)]
    count, first, second, within = sums
    mean = first / count
    return count, mean, np.sqrt((second - count * mean**2) / (count - 1)), within / count


def rows():
    return derive(read(RIG, whole_visit(), {})).dimensions


def test_every_dimension_is_there():
    assert {one.slug for one in rows()} == set(DIMENSIONS) - NEEDS_SEVERAL_MASTS
    assert all(one.value is not None for one in rows())


def test_the_draws_spread_as_u_says():
    """Within 1 per cent; the sampling noise of a million draws is 0.07 per cent."""
    _, _, deviation, _ = moments()
    for row, spread in zip(rows(), deviation, strict=True):
        assert spread == pytest.approx(row.standard_uncertainty, rel=0.01), (row.slug, row.method)


def test_no_bias_worth_mentioning():
    """The formulas bend too little to shift a mean: less than a hundredth of u."""
    _, mean, _, _ = moments()
    for row, bias in zip(rows(), mean, strict=True):
        assert abs(bias) < 0.01 * row.standard_uncertainty, (row.slug, row.method)


def test_the_interval_holds_what_it_says():
    """k = 2 holds 95.45 per cent of a normal quantity; within 0.1."""
    _, _, _, within = moments()
    for row, share in zip(rows(), within, strict=True):
        assert share == pytest.approx(0.9545, abs=0.001), (row.slug, row.method)


def test_methods_disagree_as_often_as_they_should():
    count, *_ = moments()
    for row, told in zip(rows(), count, strict=True):
        builds_on_both = told < DRAWS
        if builds_on_both:
            assert told / DRAWS == pytest.approx(0.9545, abs=0.001), (row.slug, row.method)
    by_method = {row.method: told for row, told in zip(rows(), count, strict=True)}
    assert by_method["string"] == by_method["two_mark"] == DRAWS > by_method["adopted"]
