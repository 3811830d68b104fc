"""The public pages: no sign-in, nothing personal, nothing stored."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from boats.models import Boat
from office.certificates import paper, queries, snapshot
from office.certificates.standing import standing
from office.racing import answers
from office.racing.forms import CheckForm, DayForm
from office.replica import from_replica


@login_not_required
@never_cache
@require_safe
@from_replica
def check(request: HttpRequest) -> HttpResponse:
    """One box: sail number, name or certificate number, and a date."""
    form = CheckForm(_asked(request) if "q" in request.GET else None)
    found = None
    if form.is_bound and form.is_valid():
        found = answers.look_up(form.cleaned_data["q"], form.cleaned_data["on"])
    context = {"form": form, "found": found, "today": timezone.localdate()}
    return render(request, "racing/check.html", context, status=422 if form.errors else 200)


@login_not_required
@never_cache
@require_safe
@from_replica
def certificate(request: HttpRequest, number: str) -> HttpResponse:
    """What the code on a paper points at: how that certificate stands, and what it states, to compare the paper."""
    form = DayForm(_asked(request))
    on = form.cleaned_data["on"] if form.is_valid() else timezone.localdate()
    asked = answers.find_certificate(answers.normal_number(number) or number, on, whole=True)
    if asked is None:
        return render(request, "racing/unknown.html", {"number": number}, status=404)
    issued = asked.certificate
    document = snapshot.read(issued)
    context = {
        "form": form,
        "on": on,
        "paper": asked,
        "certificate": issued,
        "document": document,
        "masts": paper.mast_names(document),
        "lengths": paper.groups(document)[:1],
        "renamed": _renamed(issued.boat, document),
        "chain": [(one, standing(one, on)) for one in queries.chain_of(issued)],
        "hash_fits": snapshot.sha256(issued.snapshot) == issued.snapshot_sha256,
    }
    return render(request, "racing/certificate.html", context)


def _renamed(boat: Boat, document: dict[str, Any]) -> Boat | None:
    """The boat where the register no longer knows her by what the paper states."""
    stated = (document["boat"]["name"], document["boat"]["sail_number"])
    return boat if (boat.name, boat.sail_number) != stated else None


def _asked(request: HttpRequest) -> dict[str, str]:
    """What the address says, the day filled in with today so that the form shows what is answered."""
    given = {name: request.GET.get(name, "") for name in ("q", "on")}
    return {**given, "on": given["on"] or timezone.localdate().isoformat()}
