"""Authorisations for methods, given and withdrawn on pages of their own."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from office.audit.refusals import NotAllowed, Refusal
from office.people import authorisations
from office.people.access import person_of, require_roles
from office.people.authorisation_models import Authorisation
from office.people.confirming import confirmed
from office.people.forms import AuthoriseForm, WithdrawAuthorisationForm
from office.people.models import Person, Role


@require_roles(Role.ADMINISTRATOR)
@confirmed
def grant(request: HttpRequest, key: str) -> HttpResponse:
    person, by = get_object_or_404(Person, key=key), person_of(request)
    authorisations.check_not_oneself(by, person)
    form = AuthoriseForm(request.POST or None)
    if form.is_valid():
        try:
            authorisations.grant(by=by, person=person, **form.cleaned_data)
        except NotAllowed:
            raise
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{person.name} is authorised; the trail tells it.")
            return redirect("people:person", key=person.key)
    return _page(
        request,
        form,
        person,
        heading=f"Authorise {person.name}",
        what="For which methods of measuring and kinds of work, from when until when, and on what that rests.",
        submit="Authorise",
    )


@require_roles(Role.ADMINISTRATOR)
@confirmed
def withdraw(request: HttpRequest, key: str) -> HttpResponse:
    one, by = get_object_or_404(Authorisation.objects.select_related("person"), key=key), person_of(request)
    form = WithdrawAuthorisationForm(request.POST or None)
    if form.is_valid():
        try:
            authorisations.withdraw(by=by, authorisation=one, **form.cleaned_data)
        except NotAllowed:
            raise
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The authorisation is withdrawn; it stays on record with its reason.")
            return redirect("people:person", key=one.person.key)
    return _page(
        request,
        form,
        one.person,
        heading="Withdraw an authorisation",
        what=f"{one.person.name}, {one.method_words.lower()}, {authorisations.days_in_words(one)}. "
        "What was signed and certified stands until the office says otherwise.",
        submit="Withdraw",
    )


def _page(
    request: HttpRequest, form: AuthoriseForm | WithdrawAuthorisationForm, person: Person, **texts: str
) -> HttpResponse:
    context = {"form": form, "person": person, **texts}
    return render(request, "people/step.html", context, status=422 if form.errors else 200)
