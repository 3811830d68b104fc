"""Designs and the limits entered for them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, queries, rules
from boats.forms.designs import DesignFilter, DesignForm, EndLimitForm, LimitForm
from boats.models import Design, DesignLimit
from boats.views.common import posted, status_of
from office import spreadsheets
from office.people.access import OFFICE, person_of, require_roles

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
SORTS = {
    "name": ("name",),
    "designer": ("designer", "name"),
    "boats": ("boat_count", "name"),
    "limits": ("limit_count", "name"),
}
HEADER = ("design", "designer", "boats", "limits", "remark")


def _listed(request: HttpRequest, form: DesignFilter) -> tuple[QuerySet[Any], str]:
    """The designs asked for, in the order asked for, and that order's key."""
    text = form.cleaned_data["q"] if form.is_valid() else ""
    sort = request.GET.get("sort", "name")
    if sort.removeprefix("-") not in SORTS:
        sort = "name"
    keys = SORTS[sort.removeprefix("-")]
    ordered = [f"-{key}" if sort.startswith("-") else key for key in keys]
    return queries.listed_designs(text).order_by(*ordered), sort


@require_roles(*rules.SEES_EVERY_BOAT)
def show_all(request: HttpRequest) -> HttpResponse:
    form = DesignFilter(request.GET)
    designs, sort = _listed(request, form)
    context = {
        "page": Paginator(designs, ROWS).get_page(request.GET.get("page")),
        "form": form,
        "sort": sort,
        "keeps_register": rules.may_keep_register(request.user),
    }
    return render(request, "boats/designs.html", context)


@require_roles(*rules.SEES_EVERY_BOAT)
def export(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    designs, _ = _listed(request, DesignFilter(request.GET))
    rows = ((one.name, one.designer, one.boat_count, one.limit_count, one.remark) for one in designs)
    return spreadsheets.answer(kind, "designs", HEADER, rows)


@require_roles(*OFFICE)
def add(request: HttpRequest) -> HttpResponse:
    form = DesignForm(request.POST or None)
    design = posted(request, form, lambda data: actions.add_design(by=person_of(request), **data))
    if design:
        messages.success(request, f"The design {design.name} is registered.")
        return redirect("boats:design", design.key)
    return render(request, "boats/design_add.html", {"form": form}, status=status_of(form))


@require_roles(*rules.SEES_EVERY_BOAT)
def show(request: HttpRequest, key: str) -> HttpResponse:
    """One design: its limits, former ones too. A new limit is set here."""
    design = get_object_or_404(Design, key=key)
    by = person_of(request)
    if request.method == "POST":
        rules.check_keeps_register(by)
    form = LimitForm(request.POST or None)
    done = posted(request, form, lambda data: actions.set_limit(by=by, design=design, **data))
    if done:
        messages.success(request, "The limit stands from now on; a former one for the same dimension has ended.")
        return redirect("boats:design", design.key)
    context = {
        "design": design,
        "form": form,
        "limits": design.limits.filter(ended_at__isnull=True),
        "ended": design.limits.filter(ended_at__isnull=False).order_by("-ended_at", "-pk"),
        "boat_count": design.boats.count(),
        "keeps_register": rules.may_keep_register(request.user),
    }
    return render(request, "boats/design.html", context, status=status_of(form))


@require_roles(*OFFICE)
def end_limit(request: HttpRequest, key: str, dimension: str, mast: str) -> HttpResponse:
    limits = DesignLimit.objects.select_related("design").filter(design__key=key, dimension=dimension, mast=mast)
    limit = limits.order_by("-since", "-pk").first()
    if limit is None:
        raise Http404("This design never had such a limit.")
    rules.check_limit_open(limit)
    form = EndLimitForm(request.POST or None)
    by = person_of(request)
    done = posted(request, form, lambda data: actions.end_limit(by=by, limit=limit, **data))
    if done:
        messages.success(request, "The limit has ended.")
        return redirect("boats:design", key)
    context = {"form": form, "limit": limit}
    return render(request, "boats/end_limit.html", context, status=status_of(form))
