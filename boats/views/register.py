"""Registering a boat and changing her particulars."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, particulars
from boats.forms.particulars import ChangeForm, ParticularsForm
from boats.models import Boat
from boats.views.common import posted, status_of
from office.audit.refusals import Refusal, Stale
from office.people.access import OFFICE, person_of, require_roles


@require_roles(*OFFICE)
def register(request: HttpRequest) -> HttpResponse:
    form = ParticularsForm(request.POST or None)
    boat = posted(request, form, lambda _: actions.register_boat(by=person_of(request), **form.particulars()))
    if boat:
        messages.success(request, f"{boat} is registered. Next: describe her rig.")
        return redirect("boats:rig", boat.key)
    return render(request, "boats/register.html", {"form": form}, status=status_of(form))


@require_roles(*OFFICE)
def change(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat.objects.select_related("design"), key=key)
    initial = ChangeForm.initial_of(boat)
    form = ChangeForm(request.POST or None, initial=initial, changing=boat)
    standing_now: list[tuple[str, object]] = []
    if request.method == "POST" and form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("edition", "reason")}
        try:
            actions.change_particulars(by=person_of(request), boat=boat, **said, **form.particulars())
        except Stale as stale:
            form, standing_now = _made_anew(request, boat, str(stale))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"The particulars of {boat.name} are changed; the former ones are kept.")
            return redirect("desk:boat", boat.key)
    context = {"form": form, "boat": boat, "standing_now": standing_now}
    return render(request, "boats/particulars.html", context, status=status_of(form))


def _made_anew(request: HttpRequest, boat: Boat, sentence: str) -> tuple[ChangeForm, list[tuple[str, object]]]:
    """The form with everything typed, made from what stands now, and where the two differ."""
    boat = Boat.objects.select_related("design").get(pk=boat.pk)
    typed = request.POST.copy()
    typed["edition"] = str(boat.edition)
    form = ChangeForm(typed, changing=boat)
    form.is_valid()
    now: dict[str, Any] = particulars.plain(boat)
    wanted = form.particulars() if not form.errors else {}
    differing = [
        (str(form.fields[name].label), now[name] or "nothing")
        for name in particulars.FIELDS
        if name in wanted and (getattr(wanted[name], "name", wanted[name]) or "") != (now[name] or "")
    ]
    form.add_error(None, sentence)
    return form, differing
