"""Registering a boat and changing her particulars."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, particulars
from boats.forms.particulars import ChangeForm, ParticularsForm
from boats.models import Boat
from boats.views.common import posted, status_of
from office.audit.refusals import Refusal, Stale
from office.people.access import OFFICE, person_of, require_roles

Differing = tuple[str, object]  # a field's label and what stands now


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
    standing_now: list[Differing] = []
    if request.method == "POST" and form.is_valid():
        said = {name: form.cleaned_data[name] for name in ("edition", "reason")}
        try:
            actions.change_particulars(by=person_of(request), boat=boat, **said, **form.particulars())
        except Stale as stale:
            form, standing_now = _made_anew(request, boat, form, str(stale))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"The particulars of {boat.name} are changed; the former ones are kept.")
            return redirect("desk:boat", boat.key)
    context = {"form": form, "boat": boat, "standing_now": standing_now}
    return render(request, "boats/particulars.html", context, status=status_of(form))


def _made_anew(
    request: HttpRequest, boat: Boat, typed: ChangeForm, sentence: str
) -> tuple[ChangeForm, list[Differing]]:
    """The form made from what stands now, with everything the person changed; and where the two differ.

    What the person left as they saw it is taken from what stands now, so that sending the form again does not undo
    the other's change.
    """
    boat = Boat.objects.select_related("design").get(pk=boat.pk)
    stands, wanted = particulars.plain(boat), particulars.plain_of(typed.particulars())
    seen = boat.former.filter(edition=typed.cleaned_data["edition"]).first()
    initial = ChangeForm.initial_of(boat)
    data = request.POST.copy()
    data["edition"] = str(boat.edition)
    for name in particulars.FIELDS:
        if seen and wanted[name] == seen.particulars[name]:
            data[name] = str(initial[name] or "")
    form = ChangeForm(data, changing=boat)
    if form.is_valid():
        wanted = particulars.plain_of(form.particulars())
    form.add_error(None, sentence)
    differing = [name for name in particulars.FIELDS if wanted[name] != stands[name]]
    return form, [(str(form.fields[name].label), stands[name] or "nothing") for name in differing]
