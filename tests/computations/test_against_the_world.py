"""The derivation against a rig that is known: figures come back, and errors act as the budget says they do."""

from dataclasses import replace

import pytest

from computations.catalogue import DIMENSIONS
from computations.derivation import derive
from computations.inputs import Reading
from tests.computations.visits import full_visit, ketch
from tests.computations.world import ROOT_3, TrueMast, TrueRig, dimensions, read, sources

MIZZEN = TrueMast(boom=990.0, luff=9120.0, string=1027.0, foot=2893.0)
KETCH = TrueRig(masts={"main": TrueMast(), "mizzen": MIZZEN})
OUTRIGGED = TrueRig(ahead=240.0)
RIGS = {
    "sloop": (TrueRig(), full_visit()),
    "ketch": (KETCH, ketch()),
    "outrigger": (
        OUTRIGGED,
        replace(
            full_visit(),
            rig=replace(full_visit().rig, outrigger=True),
            readings=(
                *full_visit().readings,
                Reading("outrigger_reach", 0.0, instrument="T-07"),
                Reading("outrigger_mast_width", 0.0, instrument="K-02"),
            ),
        ),
    ),
}


def test_no_dimension_is_left_out() -> None:
    derived = {one.slug for _, visit in RIGS.values() for one in derive(visit).dimensions}
    assert derived == set(DIMENSIONS)


@pytest.mark.parametrize("rig", RIGS)
def test_exact_readings_give_the_true_figures(rig: str) -> None:
    known, template = RIGS[rig]
    truth = dimensions(known)
    told = [row for row in derive(read(known, template, {})).dimensions if not row.missing]
    assert len(told) >= 31
    for row in told:
        assert row.value == pytest.approx(truth[row.slug, row.mast, row.method], rel=1e-12), row.slug


@pytest.mark.parametrize("rig", RIGS)
def test_every_source_moves_every_dimension_as_far_as_the_budget_says(rig: str) -> None:
    """Each source is put into the world alone, at a small part of its standard uncertainty."""
    known, template = RIGS[rig]
    plain = derive(read(known, template, {}))
    small = 1e-3
    variances = [0.0] * len(plain.dimensions)
    for key, half_width in sources(template).items():
        moved = derive(read(known, template, {key: small * half_width / ROOT_3}))
        for i, (before, now) in enumerate(zip(plain.dimensions, moved.dimensions, strict=True)):
            if before.value is not None and now.value is not None:
                variances[i] += ((now.value - before.value) / small) ** 2
    told = [(row, variance) for row, variance in zip(plain.dimensions, variances, strict=True) if not row.missing]
    assert len(told) >= 31
    for row, variance in told:
        assert row.standard_uncertainty == pytest.approx(variance**0.5, rel=2e-3), (row.slug, row.method)
