"""What the spars' temperature alone makes of a change."""

from __future__ import annotations

from dataclasses import replace

import pytest

from computations.comparison import compare
from computations.derivation import derive
from computations.inputs import Assumptions, Visit
from computations.temperature import TemperatureEffect
from tests.computations.visits import full_visit


def made_of(material: str | None, air: float | None) -> Visit:
    visit = full_visit()
    masts = tuple(replace(mast, material=material) for mast in visit.rig.masts)
    return replace(visit, rig=replace(visit.rig, masts=masts), air_temperature_c=air)


def test_a_warm_aluminium_spar_is_longer():
    changes = compare(derive(made_of("aluminium", 5.0)), derive(replace(made_of("aluminium", 25.0), key="summer")))
    # 23.5e-6 /K (Callister, Table B.6, as in the tape's module) x 20 K x 15.286 m
    assert changes.get("P").by_temperature == pytest.approx(23.5e-6 * 20 * 15286, rel=1e-3)
    assert changes.get("E").by_temperature == 0.0
    assert changes.get("J").by_temperature == 0.0


def test_it_runs_through_formulas():
    changes = compare(derive(made_of("aluminium", 5.0)), derive(replace(made_of("aluminium", 25.0), key="summer")))
    expected = 23.5e-6 * 20 * 15286 * 5231 / 2e6  # P grows, E does not
    assert changes.get("mainsail_triangle_area").by_temperature == pytest.approx(expected, rel=1e-3)


def test_a_spar_brought_to_20_degrees_explains_nothing():
    to_20 = Assumptions(spar_to_20_c=True)
    before, now = derive(made_of("aluminium", 5.0), to_20), derive(made_of("aluminium", 25.0), to_20)
    assert compare(before, now).get("P").by_temperature == 0.0


def test_without_a_temperature_it_cannot_be_told():
    before, now = derive(made_of("aluminium", None)), derive(made_of("aluminium", 25.0))
    assert compare(before, now).get("P").by_temperature is None
    assert "temperature" in TemperatureEffect(before, now).reason


def test_a_spar_of_unknown_material_explains_nothing():
    before, now = derive(made_of(None, 5.0)), derive(made_of(None, 25.0))
    assert compare(before, now).get("P").by_temperature == 0.0


def test_carbon_is_known_less_well_than_it_grows():
    before, now = derive(made_of("carbon", 5.0)), derive(made_of("carbon", 25.0))
    found = TemperatureEffect(before, now).of(before.find("P"), now.find("P"))
    assert found is not None
    assert found.standard_uncertainty > abs(found.amount)
