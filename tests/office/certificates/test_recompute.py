"""`recompute`: the present code against what was signed and certified."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

from boats.models import Boat
from computations import formulas
from computations.layout import _located, layout_of
from office.audit import triggers
from office.certificates import actions, paper, pdf, recomputing
from surveys.models import SignOff
from tests.surveys.makers import Stage, register_boat

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))


@pytest.fixture
def certified(cast, stage, accepted):
    return actions.issue(by=cast.certifier, visit=accepted)


def run(*arguments: str) -> tuple[int, str]:
    out = io.StringIO()
    try:
        call_command("recompute", *arguments, stdout=out, stderr=io.StringIO())
    except SystemExit as end:
        return int(str(end.code)), out.getvalue()
    return 0, out.getvalue()


def test_an_empty_office() -> None:
    looked = "0 visits derived; held against 0 signatures and 0 certificates."
    assert run() == (0, f"{looked}\nEvery figure is what was signed and certified.\n")


def test_nothing_differs_where_the_code_is_the_same(certified) -> None:
    status, text = run("--format", "json")
    assert status == 0
    assert json.loads(text) == {"visits": 1, "signatures": 1, "certificates": 1, "differing": 0, "differences": []}


def test_a_visit_that_may_still_be_altered_is_held_against_nothing(stage: Stage) -> None:
    stage.visit("returned")
    assert json.loads(run("--format", "json")[1]) == {
        "visits": 1, "signatures": 0, "certificates": 0, "differing": 0, "differences": [],
    }  # fmt: skip


def test_another_formula_is_reported_for_signature_and_certificate(certified, monkeypatch) -> None:
    triangle: Any = formulas.triangle_area
    monkeypatch.setattr(formulas, "triangle_area", lambda a, b: 1.001 * triangle(a, b))
    for cache in (layout_of, _located):
        cache.cache_clear()
    try:
        status, text = run("--format", "json")
        table = run()[1]
    finally:
        for cache in (layout_of, _located):
            cache.cache_clear()
    rows = json.loads(text)["differences"]
    assert status == 1
    assert {row["dimension"] for row in rows} == {"foretriangle_area", "mainsail_triangle_area"}
    assert {row["where"] for row in rows} == {"signed, round 1", f"certificate {certified.number}"}
    assert {row["what"] for row in rows} == {"value", "standard_uncertainty", "expanded_uncertainty"}
    assert all(float(row["now"]) == pytest.approx(1.001 * float(row["stated"]), abs=2e-6) for row in rows)
    assert "Area of the foretriangle" in table
    assert f"{len(rows)} figures differ." in table


def test_what_was_signed_and_is_no_more_and_the_other_way_round(certified) -> None:
    signed = SignOff.objects.get(meaning="measured")
    content = json.loads(signed.content)
    content["dimensions"][0]["dimension"] = "no_such_dimension"
    with triggers.set_aside(connection):
        SignOff.objects.filter(pk=signed.pk).update(content=json.dumps(content))
    rows = json.loads(run("--format", "json")[1])["differences"]
    assert {(row["dimension"], bool(row["stated"]), bool(row["now"])) for row in rows} >= {
        ("no_such_dimension", True, False)
    }
    assert any(not row["stated"] and row["now"] for row in rows)


def test_chunks_do_not_matter_and_nothing_is_stored(stage: Stage, monkeypatch, django_assert_max_num_queries) -> None:
    for name in ("One", "Two", "Three"):
        Stage(stage.cast, _another(stage, name), stage.kit).visit("signed")
    whole = run("--format", "json")
    monkeypatch.setattr(recomputing, "CHUNK", 2)
    with django_assert_max_num_queries(60) as asked:
        assert run("--format", "json") == whole
    assert json.loads(whole[1])["signatures"] == 3
    verbs = {query["sql"].lstrip().split()[0].upper() for query in asked.captured_queries}
    assert verbs == {"SELECT"}


def _another(stage: Stage, name: str) -> Boat:
    return register_boat(stage.cast, name, f"SKE {len(name)}{ord(name[0])}")


def test_not_all_differences_are_kept_but_all_are_counted(certified, monkeypatch) -> None:
    monkeypatch.setattr(recomputing, "LAST_DECIMAL", -1.0)
    everything = json.loads(run("--format", "json")[1])
    monkeypatch.setattr(recomputing, "MOST_KEPT", 3)
    few = json.loads(run("--format", "json")[1])
    assert few["differing"] == everything["differing"] > 3
    assert few["differences"] == everything["differences"][:3]
