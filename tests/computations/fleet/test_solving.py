"""The fleet's least squares on invented offices, where the truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from computations.fleet.observations import Datum, Observations, Sizes
from computations.fleet.solving import solve
from tests.computations.fleet.office import InventedOffice, invent


def errors_and_u(office: InventedOffice, data: tuple[Datum, ...] | None = None):
    solution = solve(office.observations, office.sizes, office.data if data is None else data)
    return np.array([[one.mm_per_m, one.u] for one in solution.tapes]).T, solution


def test_tapes_and_biases_are_found_within_their_uncertainty():
    """As the acceptance asks of the whole office: at least 93 in 100 within U, U at most 0.03 mm/m."""
    tapes_within, biases_within = [], []
    for seed in range(6):
        office = invent(seed)
        (errors, u), solution = errors_and_u(office)
        tapes_within += list(np.abs(errors - office.errors) <= 2 * u)
        found = np.array([[one.mm, one.u] for one in solution.biases])
        biases_within += list(np.abs(found[:, 0] - office.biases.ravel()) <= 2 * found[:, 1])
        assert 2 * u.max() <= 0.03
        assert 0.9 < solution.variance_ratio < 1.1
        assert all(one.tied_to_datum for one in solution.tapes)
    assert np.mean(tapes_within) >= 0.93
    assert np.mean(biases_within) >= 0.90


def test_u_is_not_larger_than_need_be():
    """The errors found scatter as their u says: by chi-squared, within what 60 tapes can show."""
    ratios = []
    for seed in range(6):
        office = invent(seed)
        (errors, u), _ = errors_and_u(office)
        ratios += list((errors - office.errors) / u)
    assert 0.5 < np.std(ratios) < 1.5


def test_real_changes_of_a_rig_are_found_and_hardly_anything_else():
    office = invent(11)
    found = {(one.quantity, one.day) for one in solve(office.observations, office.sizes, office.data).changes}
    assert len(office.changes & found) >= 0.97 * len(office.changes)
    assert len(found - office.changes) <= 0.03 * len(office.changes)


def test_blunders_do_not_pull_the_tapes():
    office = invent(3, blunders=0.02)
    (errors, u), _ = errors_and_u(office)
    assert np.mean(np.abs(errors - office.errors) <= 2 * u) >= 0.9


def test_without_a_certificate_only_differences_are_known():
    office = invent(5)
    (errors, _), solution = errors_and_u(office, data=())
    assert not any(one.tied_to_datum for one in solution.tapes)
    assert abs(errors.mean()) < 1e-9
    assert np.abs(errors - (office.errors - office.errors.mean())).max() < 0.02


def test_a_common_error_of_all_tapes_cannot_be_seen():
    """With every reading a millimetre in the metre longer, nothing changes: the lengths take it."""
    office = invent(5, boats=60)
    longer = replace(office.observations, value_mm=office.observations.value_mm * 1.001)
    (errors, _), _ = errors_and_u(office, data=())
    moved = solve(longer, office.sizes, ())
    assert np.abs(errors - [one.mm_per_m for one in moved.tapes]).max() < 1e-3


def test_two_groups_without_a_boat_in_common_are_not_compared():
    """Tapes 0 and 1 read some boats, 2 and 3 others: a certificate for tape 0 says nothing of the other two."""
    office = invent(7, boats=80, tapes=2, measurers=1, certificates=1)
    one = office.observations
    apart = replace(one, tape=np.where(one.boat % 2 == 0, one.tape, one.tape + 2))
    solution = solve(apart, Sizes(4, 1, office.sizes.kinds), office.data)
    assert [tape.tied_to_datum for tape in solution.tapes] == [True, True, False, False]
    assert sum(tape.mm_per_m or 1.0 for tape in solution.tapes[2:]) == pytest.approx(0.0, abs=1e-9)


def test_biases_of_each_reading_have_mean_zero():
    office = invent(2, boats=60)
    found = np.array([one.mm for one in solve(office.observations, office.sizes, office.data).biases])
    assert np.abs(found.reshape(office.sizes.measurers, -1).mean(axis=0)).max() < 1e-6


def test_a_tape_that_stands_alone_is_not_known():
    office = invent(2, boats=40)
    solution = solve(office.observations, Sizes(11, 5, 12), office.data)
    assert (solution.tapes[10].mm_per_m, solution.tapes[10].u, solution.tapes[10].readings) == (None, None, 0)


def test_nothing_at_all():
    none, zero = np.zeros(0, np.int64), np.zeros(0)
    nothing = Observations(none, none, none, none, none, none, zero, zero, zero)
    assert solve(nothing, Sizes(0, 0, 0)).tapes == ()


def test_the_order_of_the_rows_does_not_matter():
    office = invent(4, boats=30)
    one = office.observations
    turn = np.random.default_rng(0).permutation(len(one))
    place = np.argsort(turn)
    columns = ("boat", "quantity", "visit", "tape", "measurer", "kind", "day", "value_mm", "independent_u_mm")
    turned = replace(
        one, **{name: getattr(one, name)[turn] for name in columns}, shared_row=place[one.shared_row].astype(np.int64)
    )
    here, there = (solve(rows, office.sizes, office.data) for rows in (one, turned))
    assert [tape.mm_per_m for tape in here.tapes] == pytest.approx([tape.mm_per_m for tape in there.tapes], abs=1e-9)
    assert {(one.quantity, one.day) for one in here.changes} == {(one.quantity, one.day) for one in there.changes}


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("tape", 99, "tape"),
        ("measurer", -1, "measurer"),
        ("value_mm", np.nan, "finite"),
        ("independent_u_mm", 0.0, "above zero"),
    ],
)
def test_bad_input_is_refused(column, value, words):
    office = invent(1, boats=2)
    spoilt = getattr(office.observations, column).copy()
    spoilt[3] = value
    with pytest.raises(ValueError, match=words):
        solve(replace(office.observations, **{column: spoilt}), office.sizes)
    with pytest.raises(ValueError, match="above zero"):
        solve(office.observations, office.sizes, (Datum(0, 0.1, 0.0),))
