"""The list of boats: what is shown stands in the address, and goes out as a file as well."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from boats import queries, rules
from boats.forms.particulars import FilterForm, SparForm
from boats.models import Boat
from office import spreadsheets
from office.people.access import person_of, require_roles
from office.people.models import Role

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
SORTS = {
    "name": ("name_normal", "pk"),
    "sail": ("sail_number_normal", "pk"),
    "design": ("design__name", "name_normal", "pk"),
    "year": ("year", "name_normal", "pk"),
    "harbour": ("harbour", "name_normal", "pk"),
    "registered": ("registered_at", "pk"),
}
HEADER = (
    "boat", "sail_number", "hull_identification_number", "design", "designer", "builder", "year", "harbour",
    "registered",
)  # fmt: skip


def _listed(
    request: HttpRequest, form: FilterForm, most: int | None = queries.MOST_FOUND
) -> tuple[QuerySet[Boat], str]:
    """The boats asked for, in the order asked for, and that order's key."""
    boats = queries.boats_visible_to(person_of(request)).select_related("design")
    if form.is_valid():
        if form.cleaned_data["design"]:
            boats = boats.filter(design=form.cleaned_data["design"])
        boats = queries.search(boats, form.cleaned_data["q"], most=most)
    else:
        boats = boats.none()
    sort = request.GET.get("sort", "name")
    if sort.removeprefix("-") not in SORTS:
        sort = "name"
    keys = SORTS[sort.removeprefix("-")]
    return boats.order_by(*(f"-{key}" if sort.startswith("-") else key for key in keys)), sort


@require_roles(*rules.SEES_EVERY_BOAT, Role.OWNER)
def show(request: HttpRequest) -> HttpResponse:
    form = FilterForm(request.GET)
    boats, sort = _listed(request, form)
    page = Paginator(boats, ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "form": form,
        "sort": sort,
        "cut_short": bool(form.data.get("q")) and page.paginator.count >= queries.MOST_FOUND,
        "sees_all": person_of(request).holds(*rules.SEES_EVERY_BOAT),
        "keeps_register": rules.may_keep_register(person_of(request)),
    }
    return render(request, "boats/list.html", context)


@require_roles(*rules.SEES_EVERY_BOAT, Role.OWNER)
def export(request: HttpRequest, kind: str) -> HttpResponse:
    """Every row of the list as it is filtered and sorted, not only one page."""
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    boats, _ = _listed(request, FilterForm(request.GET), most=None)
    rows = (
        (
            boat.name, boat.sail_number, boat.hin, boat.design.name if boat.design else "",
            boat.design.designer if boat.design else "", boat.builder, boat.year, boat.harbour,
            timezone.localdate(boat.registered_at),
        )
        for boat in boats.iterator(chunk_size=1000)
    )  # fmt: skip
    return spreadsheets.answer(kind, "boats", HEADER, rows)


@require_roles(*rules.SEES_EVERY_BOAT)
def spars(request: HttpRequest) -> HttpResponse:
    """Where a mast, boom or pole is and was: a spar can move between boats."""
    form = SparForm(request.GET if "mark" in request.GET else None)
    mark = form.cleaned_data["mark"] if form.is_valid() else ""
    places = queries.spar_places([mark]).get(mark, [])
    places.sort(key=lambda place: (place[1].until is not None, place[1].since), reverse=False)
    return render(request, "boats/spars.html", {"form": form, "mark": mark, "places": places})
