"""Our uncertainties and covariances against `uncertainties` and the GUM Tree Calculator, on random visits."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import GTC
import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import umath

from computations.derivation import derive, derive_columns, derive_many
from computations.inputs import Assumptions, Instrument, Visit
from computations.student import coverage_factor, probability_within
from tests.computations.references import ReferenceVisit
from tests.computations.visits import TAPE, full_visit, ketch, with_value


def value_of(number: Any) -> float:
    return float(getattr(number, "nominal_value", getattr(number, "x", number)))


class ByUncertainties:
    sqrt = staticmethod(umath.sqrt)

    @staticmethod
    def choose(condition: Any, if_not_negative: Any, otherwise: Any) -> Any:
        return if_not_negative if value_of(condition) >= 0 else otherwise

    @staticmethod
    def covariance(a: Any, b: Any) -> Any:
        return uncertainties.covariance_matrix([a, b])

    @staticmethod
    def make(value: float, u: float, degrees: float) -> Any:
        return uncertainties.ufloat(value, u)


class ByGtc:
    sqrt = staticmethod(GTC.sqrt)
    choose = staticmethod(ByUncertainties.choose)

    @staticmethod
    def covariance(a: Any, b: Any) -> Any:
        both = GTC.get_covariance(a, b)
        return ((GTC.variance(a), both), (both, GTC.variance(b)))

    @staticmethod
    def make(value: float, u: float, degrees: float) -> Any:
        return GTC.ureal(value, u, degrees)


@st.composite
def visits(draw: st.DrawFn) -> Visit:
    """Full visits whose figures, temperature, takes and tape all vary; both methods for the boom's height agree."""
    visit = full_visit(takes=draw(st.integers(1, 4)))
    stretch = draw(st.floats(0.7, 1.4))
    jitter = st.integers(-1, 1)
    readings = tuple(
        replace(
            one,
            value=round(one.value * stretch, 1)
            if one.instrument != "T-07"
            else float(round(one.value * stretch) + draw(jitter)),
        )
        for one in visit.readings
    )
    tape = replace(
        TAPE,
        accuracy_class=draw(st.sampled_from(["I", "II", "III"])),
        calibration_error=draw(st.floats(-3, 3)),
        calibration_u=draw(st.one_of(st.none(), st.floats(0.1, 2.0))),
        reference_temperature_c=draw(st.sampled_from([20.0, 15.0])),
    )
    others = tuple(one for one in visit.instruments if one.identifier != "T-07")
    temperature = draw(st.floats(-5, 35))
    return replace(visit, readings=readings, instruments=(tape, *others), air_temperature_c=temperature)


def agreeing(visit: Visit) -> bool:
    adopted = derive(visit).get("BAS")
    return adopted is not None and adopted.value is not None


@pytest.mark.parametrize("library", [ByUncertainties, ByGtc])
@settings(max_examples=15, deadline=None)
@given(visit=visits())
def test_values_and_uncertainties_agree(library: Any, visit: Visit) -> None:
    if not agreeing(visit):
        visit = with_value(visit, "string_to_band", 1.0)
        visit = replace(visit, readings=tuple(one for one in visit.readings if one.slug != "string_to_band"))
    ours = derive(visit)
    reference = ReferenceVisit(visit, library.make, library())
    for row, theirs in zip(ours.dimensions, reference.plan.outcomes, strict=True):
        assert (row.slug, row.mast, row.method) == (theirs.slug, theirs.mast, theirs.method)
        if theirs.value is None:
            assert row.value is None
            continue
        u = theirs.value.std_dev if library is ByUncertainties else theirs.value.u
        assert row.value == pytest.approx(value_of(theirs.value), rel=1e-9, abs=1e-9)
        assert row.standard_uncertainty == pytest.approx(u, rel=1e-9)


@settings(max_examples=5, deadline=None)
@given(visit=visits())
def test_covariances_agree(visit: Visit) -> None:
    ours = derive(visit)
    reference = ReferenceVisit(visit, ByUncertainties.make, ByUncertainties())
    theirs = [one for one in reference.plan.outcomes if one.value is not None]
    matrix = uncertainties.covariance_matrix([one.value for one in theirs])
    told = [
        i for i, one in enumerate(theirs) if (row := ours.get(one.slug, one.mast, one.method)) and row.value is not None
    ]
    if not agreeing(visit):
        return
    for i in told:
        for j in told:
            a, b = theirs[i], theirs[j]
            covariance = ours.covariance((a.slug, a.mast, a.method), (b.slug, b.mast, b.method))
            scale = math.sqrt(matrix[i][i] * matrix[j][j])
            assert covariance == pytest.approx(matrix[i][j], rel=1e-9, abs=1e-9 * scale)


@settings(max_examples=15, deadline=None)
@given(visit=visits())
def test_degrees_of_freedom_agree(visit: Visit) -> None:
    # With 0.5 mm the scatter of four takes can equal the least that is allowed for, and either library may be right.
    assumptions = Assumptions(reading_end_mm=0.45)
    ours = derive(visit, assumptions)
    adopted = ours.get("BAS")
    if adopted is None or adopted.value is None:
        return
    reference = ReferenceVisit(visit, ByGtc.make, ByGtc(), assumptions)
    for row, theirs in zip(ours.dimensions, reference.plan.outcomes, strict=True):
        assert theirs.value is not None
        if row.degrees_of_freedom is None:
            assert math.isinf(theirs.value.df)
        else:
            assert row.degrees_of_freedom == pytest.approx(theirs.value.df, rel=1e-6)
            assert row.coverage_factor == coverage_factor(row.degrees_of_freedom)
            if theirs.value.df < 1e5:  # beyond, that library takes the normal distribution
                k = GTC.reporting.k_factor(theirs.value.df, 100 * probability_within(2.0))
                assert row.coverage_factor == pytest.approx(k, rel=1e-6)


@settings(max_examples=10, deadline=None)
@given(visit=visits(), seed=st.integers(0, 2**32 - 1))
def test_columns_give_what_one_visit_gives(visit: Visit, seed: int) -> None:
    random = np.random.default_rng(seed)
    shifts = random.integers(-2, 3, (len(visit.readings), 9)).astype(np.float64)
    table = np.array([one.value for one in visit.readings])[:, None] + shifts
    temperatures = random.uniform(-5, 35, 9)
    columns = derive_columns(visit, table, temperatures, chunk=4)
    expanded = columns.expanded_uncertainties
    each = [
        replace(
            visit,
            air_temperature_c=float(temperatures[i]),
            readings=tuple(
                replace(one, value=float(value)) for one, value in zip(visit.readings, table[:, i], strict=True)
            ),
        )
        for i in range(9)
    ]
    for i, together in enumerate(derive_many(each)):
        one = derive(each[i])
        for row, same in zip(one.dimensions, together.dimensions, strict=True):
            place = columns.row(row.slug, row.mast, row.method)
            if row.value is None:
                assert same.value is None
                assert math.isnan(columns.values[place, i])
            else:
                assert same.value == pytest.approx(row.value, rel=1e-13)
                assert columns.values[place, i] == pytest.approx(row.value, rel=1e-13, abs=1e-12)
                assert expanded[place, i] == pytest.approx(row.expanded_uncertainty, rel=1e-8)


def test_a_ketch_agrees_too() -> None:
    visit = ketch()
    ours = derive(visit)
    reference = ReferenceVisit(visit, ByGtc.make, ByGtc())
    assert len(ours.dimensions) == len(reference.plan.outcomes)
    for row, theirs in zip(ours.dimensions, reference.plan.outcomes, strict=True):
        if theirs.value is not None:
            assert row.standard_uncertainty == pytest.approx(theirs.value.u, rel=1e-9)
    mizzen = ours.get("BAS", "mizzen")
    assert mizzen is not None
    assert mizzen.value == pytest.approx((902 + 905) / 2 - 37, abs=0.2)


def test_an_instrument_without_a_record_counts_as_the_default_class() -> None:
    visit = full_visit()
    unknown = replace(visit, instruments=tuple(one for one in visit.instruments if one.identifier != "T-07"))
    named = replace(visit, instruments=(Instrument("T-07", accuracy_class="II"), *unknown.instruments))
    for row, same in zip(derive(unknown).dimensions, derive(named).dimensions, strict=True):
        assert row.standard_uncertainty == pytest.approx(same.standard_uncertainty, rel=1e-12)
