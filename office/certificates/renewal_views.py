"""Renewing in bulk: the list to tick, and the page that works it off and shows how far it has got."""

from __future__ import annotations

import datetime as dt
import re

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from office.audit.refusals import NotAllowed, Refusal
from office.certificates import renewing
from office.certificates.forms import RenewalsForm, ticked_numbers
from office.certificates.models import Renewal
from office.keys import new_key
from office.people.access import person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role

ROWS = 100
AHEAD = dt.timedelta(days=60)  # what "ends soon" means until another day is asked for (common practice, no source)
A_STEP = 3  # certificates in one request: two papers each, well under a second apiece


@require_roles(Role.CERTIFIER)
@confirmed
def choose(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    usual = {"until": (today + AHEAD).isoformat(), "since": (today - AHEAD).isoformat()}
    form = RenewalsForm(request.GET if "until" in request.GET else usual)
    until = form.cleaned_data["until"] if form.is_valid() else today
    since = form.cleaned_data["since"] if form.is_valid() else None
    if request.method == "POST":
        try:
            begun = renewing.begin(by=person_of(request), key=_key(request), numbers=ticked_numbers(request))
            return redirect("certificates:renewal", begun.key)
        except NotAllowed:
            raise
        except Refusal as refusal:
            messages.error(request, str(refusal))
    listed = renewing.ending_by(until, today)
    if since:
        listed = (listed | renewing.ended_since(since, today)).order_by("valid_until", "number")
    page = Paginator(listed, ROWS).get_page(request.GET.get("page"))
    rows = [(one, renewing.why_not(one, today)) for one in renewing.weigh(page.object_list)]
    context = {"page": page, "rows": rows, "form": form, "until": until, "key": new_key()}
    return render(request, "certificates/renew.html", context, status=422 if request.method == "POST" else 200)


def _key(request: HttpRequest) -> str:
    """The key the form was made with, so that a repeated click finds what the first one began."""
    given = request.POST.get("key", "")
    return given if re.fullmatch(r"[\w-]{8,32}", given, re.ASCII) else new_key()


@require_roles(Role.CERTIFIER)
def show(request: HttpRequest, key: str) -> HttpResponse:
    """How far it has got; sent, it goes on by a few certificates."""
    renewal = get_object_or_404(Renewal.objects.select_related("by"), key=key)
    if request.method == "POST":
        renewing.go_on(by=person_of(request), renewal=renewal, most=A_STEP)
        if not request.htmx:  # type: ignore[attr-defined]
            return redirect("certificates:renewal", key)
    items = list(renewal.items.select_related("certificate__boat", "made").defer("certificate__snapshot"))
    done = sum(1 for one in items if one.done_at)
    context = {
        "renewal": renewal,
        "items": items,
        "done": done,
        "made": sum(1 for one in items if one.made_id),
        "refused": sum(1 for one in items if one.refusal),
        "waiting": len(items) - done,
        "worked_off": renewing.is_worked_off(renewal),
    }
    name = "certificates/renewal_progress.html" if request.htmx else "certificates/renewal.html"  # type: ignore[attr-defined]
    return render(request, name, context)
