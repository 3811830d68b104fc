"""Designs and the limits entered for them."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, rules
from boats.forms.designs import DesignForm, EndLimitForm, LimitForm
from boats.models import Design, DesignLimit
from boats.views.common import posted, status_of
from office.people.access import OFFICE, person_of, require_roles


@require_roles(*rules.SEES_EVERY_BOAT)
def show_all(request: HttpRequest) -> HttpResponse:
    counted = Design.objects.annotate(
        boat_count=Count("boats", distinct=True),
        limit_count=Count("limits", filter=Q(limits__ended_at__isnull=True), distinct=True),
    )
    context = {"designs": counted, "keeps_register": rules.may_keep_register(request.user)}
    return render(request, "boats/designs.html", context)


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
    form = LimitForm(request.POST or None)
    by = person_of(request)
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
