"""The fleet's solution against scipy: the same least squares with every unknown length kept as an unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.sparse import csr_matrix, vstack
from scipy.sparse.linalg import lsqr

from computations.fleet import solving
from computations.fleet.solving import solve
from tests.computations.fleet.office import InventedOffice, invent


def by_scipy(office: InventedOffice) -> np.ndarray:
    """Tapes, biases and lengths together, whitened boat by boat; the biases of each kind held to mean zero."""
    one, sizes = office.observations, office.sizes
    quantities = int(one.quantity.max()) + 1
    metres = (np.bincount(one.quantity, one.value_mm) / np.bincount(one.quantity))[one.quantity] / 1000.0
    rows = np.arange(len(one))
    bias = sizes.tapes + one.measurer * sizes.kinds + one.kind
    total = sizes.parameters + quantities
    design = csr_matrix((metres, (rows, one.tape)), shape=(len(one), total))
    design += csr_matrix((np.ones(len(one)), (rows, bias)), shape=(len(one), total))
    design += csr_matrix((np.ones(len(one)), (rows, sizes.parameters + one.quantity)), shape=(len(one), total))
    shared = csr_matrix(
        (one.shared_mm, (one.shared_row, one.shared_source)), shape=(len(one), one.shared_source.max() + 1)
    )
    covariance = (shared @ shared.T).toarray() + np.diag(one.independent_u_mm**2)
    # The noise enters as unknowns of its own no less than the lengths: here it is whitened by its Cholesky factor.
    white = np.linalg.inv(np.linalg.cholesky(covariance))
    parts, values = [csr_matrix(white @ design.toarray())], [white @ one.value_mm]
    for datum in office.data:
        parts.append(csr_matrix(([1 / datum.u], ([0], [datum.tape])), shape=(1, total)))
        values.append(np.array([datum.mm_per_m / datum.u]))
    for kind in range(sizes.kinds):
        places = sizes.tapes + np.arange(sizes.measurers) * sizes.kinds + kind
        parts.append(
            csr_matrix((np.full(sizes.measurers, 1e3), (np.zeros(sizes.measurers, int), places)), shape=(1, total))
        )
        values.append(np.zeros(1))
    scale = 1.0 / np.sqrt(np.asarray(vstack(parts).power(2).sum(axis=0)).ravel())
    answer = lsqr(
        vstack(parts) @ np.diag(scale), np.concatenate(values), atol=1e-15, btol=1e-15, conlim=0, iter_lim=20000
    )
    return np.asarray((answer[0] * scale)[: sizes.parameters], np.float64)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_small_fleet_agrees(monkeypatch, seed):
    """Without changes and without weighing down, which lsqr knows nothing of."""
    monkeypatch.setattr(solving, "HUBER_LIMIT", 1e9)
    monkeypatch.setattr(solving, "EPOCH_LIMIT", 1e9)
    office = invent(seed, boats=8, tapes=3, measurers=2, certificates=1, changing=0.0)
    ours = solve(office.observations, office.sizes, office.data)
    found = [one.mm_per_m for one in ours.tapes] + [one.mm for one in ours.biases]
    assert found == pytest.approx(list(by_scipy(office)), abs=1e-8)


def test_uncertainties_agree(monkeypatch):
    """Against the inverse of the whole normal matrix, lengths included."""
    monkeypatch.setattr(solving, "HUBER_LIMIT", 1e9)
    monkeypatch.setattr(solving, "EPOCH_LIMIT", 1e9)
    office = invent(3, boats=8, tapes=3, measurers=1, certificates=1, changing=0.0)
    one, sizes = office.observations, office.sizes
    alone = replace(one, shared_row=np.zeros(0, np.int64), shared_source=np.zeros(0, np.int64), shared_mm=np.zeros(0))
    quantities = int(one.quantity.max()) + 1
    metres = (np.bincount(one.quantity, one.value_mm) / np.bincount(one.quantity))[one.quantity] / 1000.0
    design = np.zeros((len(one), sizes.tapes + quantities))
    design[np.arange(len(one)), one.tape] = metres
    design[np.arange(len(one)), sizes.tapes + one.quantity] = 1.0
    normal = design.T @ (design / (one.independent_u_mm**2)[:, None])
    normal[0, 0] += office.data[0].u ** -2
    expected = np.sqrt(np.diag(np.linalg.inv(normal)))[: sizes.tapes]
    ours = solve(alone, sizes, office.data)
    found = np.array([tape.u for tape in ours.tapes]) / max(ours.variance_ratio, 1.0) ** 0.5
    assert found == pytest.approx(expected, rel=1e-8)
