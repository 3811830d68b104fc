"""Coming in and going out: sign-in, sign-out and the one-time link."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from office.audit.refusals import Refusal
from office.people.actions import invitations
from office.people.forms import AcceptForm, SignInForm


class SignIn(LoginView):
    """Django's own, which gives the session a new key at every sign-in."""

    form_class = SignInForm
    template_name = "people/sign_in.html"
    redirect_authenticated_user = True


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    messages.success(request, "You are signed out.")
    return redirect("home")


@sensitive_post_parameters("new_password", "again")
@never_cache
@login_not_required
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
            login(request, person, backend="django.contrib.auth.backends.ModelBackend")
            messages.success(request, f"Welcome, {person.name}. The link is used up; from now on you sign in.")
            return redirect("home")
    context = {"form": form, "invitation": invitation}
    return render(request, "people/accept_invitation.html", context, status=422 if form.errors else 200)
