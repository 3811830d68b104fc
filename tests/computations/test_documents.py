"""Documents for JSON: the names agreed for the headless commands, nothing that JSON cannot hold."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from computations.checks import check
from computations.comparison import compare
from computations.derivation import derive
from computations.documents import comparison_document, derivation_document
from computations.inputs import Visit
from computations.results import ReadingRef
from tests.computations.visits import full_visit, ketch, with_value, without


@pytest.mark.parametrize(
    "visit", [full_visit(), full_visit(3), ketch(), Visit(), without(full_visit(), "foot_distance")]
)
def test_a_derivation(visit: Visit) -> None:
    derivation = derive(visit)
    document = derivation_document(visit, derivation, check(visit, derivation))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert list(document) == ["visit", "rig", "dimensions", "checks"]
    for one in document["dimensions"]:
        assert list(one)[:8] == [
            "name",
            "slug",
            "mast",
            "value",
            "unit",
            "standard_uncertainty",
            "expanded_uncertainty",
            "method",
        ]
        assert one["unit"] in {"mm", "kg", "m2", "kg.m", "1"}
        assert ("reason" in one) == (one["value"] is None)
    for one in document["checks"]:
        assert {"check", "grade", "readings", "message"} <= set(one)
        assert all(isinstance(reading, str) for reading in one["readings"])


def test_all_three_boom_heights_stand_under_one_symbol() -> None:
    document = derivation_document(full_visit(), derive(full_visit()), ())
    heights = {one["method"]: one["value"] for one in document["dimensions"] if one["name"] == "BAS"}
    assert set(heights) == {"string", "two_mark", "adopted"}
    assert document["visit"]["date"] == "2026-04-03"
    assert document["rig"]["masts"][0]["mast_material"] == "aluminium"


def test_a_comparison_with_a_diagnosis() -> None:
    part = SimpleNamespace(
        kind="digits_swapped", probability=0.9, readings=(ReadingRef("foot_distance"),), size=9.0, unit="mm",
        explanation="Two digits.", parts=(),
    )  # fmt: skip
    joint = SimpleNamespace(
        kind="joint",
        probability=0.9,
        readings=part.readings,
        size=0.0,
        unit="mm",
        explanation="Both.",
        parts=(part, part),
    )
    comparison = compare(derive(full_visit()), derive(with_value(full_visit(), "foot_distance", 5240.0)))
    document = comparison_document(comparison, (joint,))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    foot = next(one for one in document["changes"] if one["name"] == "E")
    assert set(foot) >= {"slug", "mast", "previous", "current", "change", "expanded_uncertainty", "en", "verdict"}
    assert foot["change"] == pytest.approx(9.0, rel=1e-3)
    assert sum(one["amount"] for one in foot["carried_by"]) == pytest.approx(foot["change"])
    assert foot["carried_by"][0] == {
        "reading": "foot_distance", "mast": "main", "position": "", "amount": pytest.approx(9.0, rel=1e-3),
    }  # fmt: skip
    assert [one["kind"] for one in document["diagnosis"][0]["parts"]] == ["digits_swapped"] * 2
    assert document["diagnosis"][0]["parts"][0]["readings"] == [
        {"reading": "foot_distance", "mast": "main", "position": ""}
    ]
