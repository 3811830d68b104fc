"""Coming in and going out: sign-in, sign-out and the one-time link."""

from __future__ import annotations

from typing import Any

from allauth.account.internal.flows.login import record_authentication
from allauth.account.utils import perform_login
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from office.audit.refusals import Refusal
from office.people.actions import invitations
from office.people.forms import AcceptForm, SignInForm
from office.people.limits import limited
from office.people.models import Person


def let_in(request: HttpRequest, person: Person, to: str) -> HttpResponse:
    """Signs in whoever has shown a password or a link, once they have shown their second factor, where there is one.

    The session gets a new key.
    """
    record_authentication(request, person, method="password")
    answer: HttpResponse = perform_login(request, person, email_verification="none", redirect_url=to)
    return answer


class SignIn(LoginView):
    form_class = SignInForm
    template_name = "people/sign_in.html"
    extra_context = {"second_factor_lifted": not settings.SECOND_FACTOR}
    redirect_authenticated_user = True

    def form_valid(self, form: Any) -> HttpResponse:
        return let_in(self.request, form.get_user(), self.get_success_url())


_sign_in = limited("sign_in", "30/m/ip")(SignIn.as_view())


@login_not_required
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Failures are counted by name and address, and all that is sent by address."""
    return _sign_in(request)


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    messages.success(request, "You are signed out.")
    return redirect("home")


@sensitive_post_parameters("new_password", "again")
@never_cache
@login_not_required
@limited("one_time_link", "30/m/ip", reading=True)
def accept_invitation(request: HttpRequest, token: str) -> HttpResponse:
    invitation = invitations.find_invitation(token)
    form = AcceptForm(request.POST or None, invitation=invitation)
    if form.is_valid():
        data = form.cleaned_data
        try:
            person = invitations.accept_invitation(
                token=token, name=data.get("name", ""), password=data["new_password"]
            )
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            logout(request)  # whoever was signed in here before
            messages.success(request, f"Welcome, {person.name}. The link is used up; from now on you sign in.")
            return let_in(request, person, resolve_url("home"))
    context = {"form": form, "invitation": invitation}
    return render(request, "people/accept_invitation.html", context, status=422 if form.errors else 200)
