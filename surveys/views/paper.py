"""The log sheet of one visit, to print."""

from __future__ import annotations

import datetime as dt

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from office import papers
from surveys import rules
from surveys.models import Visit
from surveys.paper import pages
from surveys.paper.visits import for_paper
from surveys.views.common import person_of


def show(request: HttpRequest, key: str) -> HttpResponse:
    """`?paper=A4` or Letter; `?blank=1` leaves previous values away where the policy would show them."""
    visit = get_object_or_404(for_paper(Visit.objects.all()), key=key)
    rules.check_may_print(person_of(request), visit)
    size, blank = asked_for(request)
    day = visit.date or visit.planned_on
    name = f"{visit.boat.sail_number_normal}-{day or 'undated'}-log-sheet.pdf"
    return answer(pages.one_visit(visit, size, blank=blank), name)


def asked_for(request: HttpRequest) -> tuple[str, bool]:
    """The paper and whether it is to be blank. Http404 for a paper there is none of."""
    size = request.GET.get("paper", "A4")
    if size not in papers.SIZES:
        raise Http404("There is no such paper; expected A4 or Letter.")
    return size, request.GET.get("blank") == "1"


def day_asked_for(request: HttpRequest, default: dt.date) -> dt.date:
    """`?on=2026-05-04`. Http404 where that is no day."""
    try:
        return dt.date.fromisoformat(request.GET["on"]) if request.GET.get("on") else default
    except ValueError as error:
        raise Http404("Expected a day as in 2026-05-04.") from error


def answer(content: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"}
    return HttpResponse(content, content_type="application/pdf", headers=headers)
