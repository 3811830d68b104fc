"""One's own account: name, roles, password."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from office.audit.refusals import Refusal
from office.people import authorisations
from office.people.actions import account
from office.people.forms import ChangePasswordForm, LengthsForm, NameForm
from office.people.limits import limited
from office.people.models import Person


def show(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = NameForm(request.POST or None, initial={"name": person.name})
    if form.is_valid():
        account.change_own_name(by=person, name=form.cleaned_data["name"])
        messages.success(request, "Your name is changed.")
        return redirect("people:account")
    lengths = LengthsForm(initial={"lengths": person.lengths})
    context = {
        "form": form,
        "lengths_form": lengths,
        "holdings": person.role_holdings.all(),
        "authorisations": authorisations.listed(person),
    }
    return render(request, "people/account.html", context, status=422 if form.errors else 200)


@require_POST
def choose_lengths(request: HttpRequest) -> HttpResponse:
    """From the account page, or from the foot of any page, to which it leads back."""
    form = LengthsForm(request.POST)
    if form.is_valid():
        account.choose_lengths(by=signed_in(request), lengths=form.cleaned_data["lengths"])
    else:
        messages.error(request, "Nothing is changed: expected millimetres only, or feet and inches beside them.")
    back = str(request.POST.get("next", ""))
    inside = back.startswith("/") and url_has_allowed_host_and_scheme(back, {request.get_host()})
    return HttpResponseRedirect(back if inside else reverse("people:account"))


@sensitive_post_parameters()
@limited("password", "10/m/user")
def change_password(request: HttpRequest) -> HttpResponse:
    form = ChangePasswordForm(request.POST or None, person=signed_in(request))
    if form.is_valid():
        data = form.cleaned_data
        try:
            person = account.change_own_password(
                by=signed_in(request), present=data["present"], new=data["new_password"]
            )
        except Refusal as refusal:
            form.add_error("present", str(refusal))
        else:
            update_session_auth_hash(request, person)
            messages.success(request, "Your password is changed; wherever else you were signed in, you no longer are.")
            return redirect("people:account")
    return render(request, "people/change_password.html", {"form": form}, status=422 if form.errors else 200)


def signed_in(request: HttpRequest) -> Person:
    """The person of a page that only signed-in people reach: LoginRequiredMiddleware sees to it."""
    return cast("Person", request.user)
