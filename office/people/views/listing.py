"""The list of people: what is shown stands in the address, and goes out as a file as well."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from office import spreadsheets
from office.people import queries
from office.people.forms import PeopleFilter
from office.people.models import Person
from office.people.views.people import administrators_only

ROWS = 50
SORTS = {"name": ("name", "pk"), "email": ("email", "pk"), "joined": ("joined_at", "pk")}
HEADER = ("name", "email", "roles", "state", "joined")


def _listed(request: HttpRequest, form: PeopleFilter) -> tuple[QuerySet[Person], str]:
    """The people asked for, in the order asked for, and that order's key."""
    wanted = form.cleaned_data if form.is_valid() else {}
    active = {"active": True, "disabled": False}.get(wanted.get("state", ""))
    found = queries.people(name=wanted.get("name", ""), role=wanted.get("role", ""), active=active)
    sort = request.GET.get("sort", "name")
    if sort.removeprefix("-") not in SORTS:
        sort = "name"
    keys = SORTS[sort.removeprefix("-")]
    return found.order_by(*(f"-{key}" if sort.startswith("-") else key for key in keys)), sort


@administrators_only
def list_people(request: HttpRequest) -> HttpResponse:
    form = PeopleFilter(request.GET)
    found, sort = _listed(request, form)
    context = {
        "form": form,
        "sort": sort,
        "page": Paginator(found, ROWS).get_page(request.GET.get("page")),
        "invitations": queries.open_invitations(),
    }
    return render(request, "people/list.html", context)


@administrators_only
def export(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    found, _ = _listed(request, PeopleFilter(request.GET))
    rows = (
        (
            one.name, one.email, ", ".join(one.role_labels), "active" if one.is_active else "disabled",
            timezone.localdate(one.joined_at),
        )
        for one in found.iterator(chunk_size=1000)
    )  # fmt: skip
    return spreadsheets.answer(kind, "people", HEADER, rows)
