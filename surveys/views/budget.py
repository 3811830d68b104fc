"""What makes each figure of a visit unsure: the budget of every dimension, source by source."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from computations.documents import budgets_document, visit_document
from surveys.budgets import budgets
from surveys.figures import Figures, derive_visit
from surveys.models import Visit
from surveys.paper import pages
from surveys.views.common import visit_for
from surveys.views.paper import answer, asked_for


def show(request: HttpRequest, key: str) -> HttpResponse:
    visit = visit_for(request, key)
    return render(request, "surveys/budget.html", _shown(visit, derive_visit(visit)))


def on_paper(request: HttpRequest, key: str) -> HttpResponse:
    """`?paper=A4` or Letter."""
    visit = visit_for(request, key)
    size, _ = asked_for(request)
    return answer(pages.all_budgets(_shown(visit, derive_visit(visit)), size), f"{_file_name(visit)}.pdf")


def as_json(request: HttpRequest, key: str) -> HttpResponse:
    """Every source of every dimension, the smallest too, unrounded."""
    visit = visit_for(request, key)
    figures = derive_visit(visit)
    document = {"visit": visit_document(figures.inputs), "dimensions": budgets_document(figures.derivation)}
    headers = {"Content-Disposition": f'attachment; filename="{_file_name(visit)}.json"', "Cache-Control": "no-store"}
    return JsonResponse(document, headers=headers)


def _shown(visit: Visit, figures: Figures) -> dict[str, Any]:
    return {
        "visit": visit,
        "budgets": budgets(figures),
        "several_masts": len(figures.inputs.rig.masts) > 1,
        "spar_to_20_c": figures.derivation.assumptions.spar_to_20_c,
        "factor": figures.derivation.assumptions.coverage_factor,
    }


def _file_name(visit: Visit) -> str:
    return f"{visit.boat.sail_number_normal}-{visit.date or 'undated'}-how-sure"
