"""Describing a boat's rig."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, queries
from boats.forms.rigs import RigForms
from boats.models import Boat
from office.audit.refusals import Refusal, Stale
from office.people.access import OFFICE, person_of, require_roles


@require_roles(*OFFICE)
def describe(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat, key=key)
    current = queries.current_rig(boat)
    forms = RigForms(current, request.POST or None)
    if request.method == "POST" and forms.is_valid():
        try:
            actions.describe_rig(
                by=person_of(request), boat=boat, masts=forms.described_masts(), **forms.rig.description()
            )
        except Stale as stale:
            forms = _made_anew(request, boat, str(stale))
        except Refusal as refusal:
            forms.rig.add_error(None, str(refusal))
        else:
            messages.success(request, f"The rig of {boat.name} is described.")
            return redirect("desk:boat", boat.key)
    context = {"forms": forms, "boat": boat, "current": current, "rejected": forms.rejected()}
    return render(request, "boats/rig.html", context, status=422 if forms.rejected() else 200)


def _made_anew(request: HttpRequest, boat: Boat, sentence: str) -> RigForms:
    """The form with everything typed, made from the rig that stands now."""
    current = queries.current_rig(boat)
    typed = request.POST.copy()
    typed["number"] = str(current.number if current else 0)
    forms = RigForms(current, typed)
    forms.is_valid()
    forms.rig.add_error(None, sentence)
    return forms
