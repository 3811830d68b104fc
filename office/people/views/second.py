"""One's own second factor, and the removal of somebody else's who lost it."""

from __future__ import annotations

from typing import Any

from allauth.mfa.base.views import IndexView
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from office.audit.refusals import Refusal
from office.people import second
from office.people.access import person_of, require_roles
from office.people.confirming import confirmed
from office.people.forms import ReasonForm
from office.people.models import Person, Role


class Show(IndexView):
    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        person = person_of(self.request)
        needed, has = second.is_needed(person), second.has_one(person)
        return {**super().get_context_data(**kwargs), "needed": needed, "must": needed and not has, "has_one": has}


show = Show.as_view()


@require_roles(Role.ADMINISTRATOR)
@confirmed
def remove(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(Person, key=key)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            second.remove_all(by=person_of(request), person=person, reason=form.cleaned_data["reason"])
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "Done; the trail tells it.")
            return redirect("people:person", key=person.key)
    context = {
        "form": form,
        "person": person,
        "heading": f"Remove the second factor of {person.name}",
        "what": f"{person.name} signs in with the password alone the next time, and sets up a new one where the role "
        "needs it. Be sure that it is they who ask.",
        "submit": "Remove it",
    }
    return render(request, "people/step.html", context, status=422 if form.errors else 200)
