"""What probably happened, for stored visits; and what boats of the same design have in common."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from boats import actions as boat_actions
from boats.models import Boat
from surveys import actions
from surveys.diagnosis import probable_causes, sisters_of
from surveys.figures import derive_visit
from surveys.history import of_sisters
from surveys.models import Visit
from tests.surveys.makers import Stage, register_boat

pytestmark = pytest.mark.django_db


def amended(stage: Stage, visit: Visit, slug: str, value: float) -> None:
    """Every take of the reading is amended by so many millimetres."""
    for row in visit.readings.filter(slug=slug, replaced_by__isnull=True):
        text = f"{(row.value or 0.0) + value:g}"
        actions.amend_reading(
            by=stage.cast.measurer, reading=row, text=text, unit="mm", instrument=row.instrument, reason="Read again."
        )


def of_one_design(stage: Stage, number: int) -> list[Boat]:
    """The stage's boat and `number` sisters with an accepted visit each."""
    design = boat_actions.add_design(by=stage.cast.administrator, name="Skerrin 33")
    boats = [stage.boat, *(register_boat(stage.cast, f"Sister {i}", f"SKE {300 + i}") for i in range(number))]
    Boat.objects.filter(pk__in=[boat.pk for boat in boats]).update(design=design)
    for boat in boats[1:]:
        boat.refresh_from_db()
        Stage(stage.cast, boat, stage.kit).visit("accepted")
    stage.boat.refresh_from_db()
    return boats


def test_against_the_last_visit(stage: Stage):
    before = stage.visit("accepted")
    now = stage.visit("draft")
    stage.fill(now)
    assert probable_causes(derive_visit(before), derive_visit(now))[0].kind == "nothing_changed"
    amended(stage, now, "foot_distance", 1000.0)
    first = probable_causes(derive_visit(before), derive_visit(now))[0]
    assert first.kind == "tape_start"
    assert [ref.reading for ref in first.readings] == ["foot_distance"]


def test_a_first_visit_alone(stage: Stage):
    visit = stage.visit("draft")
    stage.fill(visit)
    assert probable_causes(None, derive_visit(visit))[0].kind == "nothing_changed"


def test_a_first_visit_against_her_sisters(stage: Stage):
    boats = of_one_design(stage, 5)
    visit = stage.visit("draft")
    stage.fill(visit)
    sisters = sisters_of(boats[0])
    assert sisters.readings["foot_distance", "main", ""].boats == 5
    assert not [one for one in derive_visit(visit, sisters=sisters.dimensions).checks if one.check == "unlike_sisters"]
    amended(stage, visit, "foot_distance", 100.0)
    figures = derive_visit(visit, sisters=sisters.dimensions)
    first = probable_causes(None, figures, sisters)[0]
    assert (first.kind, first.size) == ("tape_start", 100.0)
    odd = [one for one in figures.checks if one.check == "unlike_sisters"]
    assert "Foot" in " ".join(one.message for one in odd)
    assert {one.grade for one in odd} == {"ask"}


def test_sisters_need_a_design_and_five_boats(stage: Stage):
    assert sisters_of(stage.boat).readings == {}
    boats = of_one_design(stage, 4)
    assert sisters_of(boats[0]).readings == {}


def test_queries_do_not_grow_with_the_sisters(stage: Stage):
    boats = of_one_design(stage, 2)
    with CaptureQueriesContext(
        connection,
    ) as few:
        sisters_of(boats[0])
    more = register_boat(stage.cast, "Sister 9", "SKE 399")
    Boat.objects.filter(pk=more.pk).update(design=boats[0].design)
    more.refresh_from_db()
    Stage(stage.cast, more, stage.kit).visit("accepted")
    with CaptureQueriesContext(connection) as many:
        sisters_of(boats[0])
    assert len(many) == len(few)


def test_a_rare_design_is_looked_for_among_all_visits(stage: Stage, monkeypatch: pytest.MonkeyPatch):
    boats = of_one_design(stage, 3)
    usual = {one.pk for one in of_sisters(boats[0])}
    monkeypatch.setattr("surveys.history.LAST_VISITS", 1)
    assert {one.pk for one in of_sisters(boats[0])} == usual
    assert len(usual) == 3
