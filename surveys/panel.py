"""The live panel beside the readings: what the figures are now, how sure, what the checks say, the drawing."""

from __future__ import annotations

from typing import Any

from django.utils.safestring import mark_safe

from computations import drawing
from computations.next_reading import next_readings
from office.policy import queries as policy_queries
from surveys import competence
from surveys.figures import Figures, change_limits
from surveys.models import Visit

_GRADES = {"stop": 0, "ask": 1, "note": 2}


def panel_context(visit: Visit, figures: Figures, *, drawn: bool = True) -> dict[str, Any]:
    """What templates/surveys/panel.html draws; without the drawing where the page has one of its own."""
    edition = policy_queries.current()
    results = [one for one in figures.derivation.dimensions if one.method in ("", "adopted") or one.value is not None]
    return {
        "visit": visit,
        "figures": figures,
        "results": results,
        "several_masts": len(figures.inputs.rig.masts) > 1,
        "checks": sorted(figures.checks, key=lambda one: (one.key in figures.settled, _GRADES[one.grade])),
        "settled": figures.settled,
        "gaps": competence.gaps(visit, edition),
        "unsettled": len(figures.unsettled_stops),
        "drawing": draw(visit, figures) if drawn else "",
        "next": next_readings(figures.derivation, change_limits(edition)),
    }


def draw(visit: Visit, figures: Figures) -> str:
    """The rig to scale from the figures; the drawing escapes every text it takes."""
    plan = drawing.draw_for_page(drawn(figures), title=f"Rig of {visit.boat.name}", id_prefix="rig")
    return mark_safe(plan)  # noqa: S308


def drawn(figures: Figures) -> drawing.RigFigures:
    return drawing.figures_from(figures.derivation.dimensions, figures.inputs.rig, figures.inputs.readings)
