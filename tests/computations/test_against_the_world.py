"""The derivation against a rig that is known: figures come back, and errors act as the budget says they do."""

import math

import numpy as np
import pytest

from computations.derivation import derive, derive_columns
from computations.inputs import Assumptions
from tests.computations.visits import full_visit
from tests.computations.world import TrueRig, dimensions, read

ROOT_3 = math.sqrt(3)
RIG = TrueRig()
TEMPLATE = full_visit()
ASSUMPTIONS = Assumptions()
SLANTS = ("band_to_sheer", "mark_to_sheer")

# Where each source is put into the world: its key there, and its half-width.
SOURCES = {
    ("lower_band_edge",): 0.5,
    ("upper_band_edge",): 0.5,
    ("boom_band_edge",): 0.5,
    ("deck_intersection",): 3.0,
    ("sheave_edge",): 1.0,
    ("balance_point",): 10.0,
    ("string_straightness",): 2.0,
    ("sheer_point", "port"): 3.0,
    ("sheer_point", "starboard"): 3.0,
    ("tape_temperature",): 3.0,
    ("tape_scale",): 1.0,
    ("calliper",): 0.1,
    ("scale",): 0.2,
}


def own_sources() -> dict[tuple[str, ...], float]:
    """Half-widths of what each reading has to itself; both ends of a tape as one of the same variance."""
    found: dict[tuple[str, ...], float] = {}
    for one in TEMPLATE.readings:
        where = (one.slug, one.position, str(one.take))
        found["reading_end", *where] = 0.5 * math.sqrt(2) if one.instrument == "T-07" else 0.05
        if one.slug in SLANTS:
            found["tape_at_sheer", *where] = 1.5
    return found


def test_exact_readings_give_the_true_figures() -> None:
    derivation = derive(read(RIG, TEMPLATE, {}))
    for (slug, method), true in dimensions(RIG).items():
        row = derivation.get(slug, "main", method)
        assert row is not None
        assert row.value == pytest.approx(true, rel=1e-12), slug


def test_every_source_moves_every_dimension_as_far_as_the_budget_says() -> None:
    """Each source is put into the world alone, at a small part of its standard uncertainty."""
    plain = derive(read(RIG, TEMPLATE, {}))
    small = 1e-3
    variances = [0.0] * len(plain.dimensions)
    for key, half_width in {**SOURCES, **own_sources()}.items():
        moved = derive(read(RIG, TEMPLATE, {key: small * half_width / ROOT_3}))
        for i, (before, now) in enumerate(zip(plain.dimensions, moved.dimensions, strict=True)):
            assert before.value is not None
            assert now.value is not None
            variances[i] += ((now.value - before.value) / small) ** 2
    for i, row in enumerate(plain.dimensions):
        assert row.standard_uncertainty == pytest.approx(math.sqrt(variances[i]), rel=2e-3), (row.slug, row.method)


def draw(random: np.random.Generator, *, normal: bool) -> dict[tuple[str, ...], float]:
    widths = {**SOURCES, **own_sources()}
    if normal:
        return {key: random.normal(0.0, half_width / ROOT_3) for key, half_width in widths.items()}
    return {key: random.uniform(-half_width, half_width) for key, half_width in widths.items()}


@pytest.mark.parametrize("normal", [True, False])
def test_monte_carlo_agrees_on_a_full_visit(normal: bool) -> None:
    """JCGM 101 in miniature: 20 000 whole visits with every source drawn; u agrees within its sampling noise."""
    random = np.random.default_rng(20260403)
    draws = 20_000
    visits = [read(RIG, TEMPLATE, draw(random, normal=normal)) for _ in range(draws)]
    table = np.array([[one.value for one in visit.readings] for visit in visits]).T
    columns = derive_columns(TEMPLATE, table, TEMPLATE.air_temperature_c)
    plain = derive(read(RIG, TEMPLATE, {}))
    truth = dimensions(RIG)
    for outcome, values, expanded in zip(columns.outcomes, columns.values, columns.expanded_uncertainties, strict=True):
        row = plain.get(outcome.slug, outcome.mast, outcome.method)
        assert row is not None
        assert row.standard_uncertainty is not None
        told = ~np.isnan(values)  # methods that disagree by chance adopt nothing
        assert told.mean() > 0.95
        # Sampling noise of a standard deviation is u / sqrt(2 n) = 0.5 per cent; 4 of those.
        assert values[told].std() == pytest.approx(row.standard_uncertainty, rel=0.02), outcome.slug
        true = truth[outcome.slug, outcome.method]
        covered = np.abs(values[told] - true) <= expanded[told]
        assert 0.93 <= covered.mean() <= (0.975 if normal else 1.0), outcome.slug
