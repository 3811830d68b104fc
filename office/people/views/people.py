"""The people of the office, for its administrators."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.cache import add_never_cache_headers

from office.audit.refusals import Refusal
from office.letters import actions as letters
from office.letters.models import Letter
from office.people import authorisations, queries, rules, second
from office.people.access import require_roles
from office.people.actions import invitations, roles
from office.people.confirming import confirmed
from office.people.forms import GiveRoleForm, InviteForm, ReasonForm
from office.people.models import Invitation, Person, Role
from office.people.views.account import signed_in

administrators_only = require_roles(Role.ADMINISTRATOR)


@administrators_only
def show(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(queries.people(), key=key)
    context = {
        "person": person,
        "held": [holding for holding in person.role_holdings.all() if holding.ended_at is None],
        "former": [holding for holding in person.role_holdings.all() if holding.ended_at is not None],
        "invitations": queries.open_invitations().filter(person=person),
        "has_second_factor": second.has_one(person),
        "authorisations": authorisations.listed(person),
        "is_last_administrator": rules.is_last_administrator(person),
    }
    return render(request, "people/person.html", context)


@administrators_only
@confirmed
def invite(request: HttpRequest) -> HttpResponse:
    form = InviteForm(request.POST or None)
    if form.is_valid():
        try:
            made = _with_letter(request, partial(invitations.invite, by=signed_in(request), **form.cleaned_data))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            return _show_link(request, *made)
    return render(request, "people/invite.html", {"form": form}, status=422 if form.errors else 200)


@administrators_only
@confirmed
def send_new_link(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(Person, key=key)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            new_link = partial(invitations.send_new_link, by=signed_in(request), person=person)
            made = _with_letter(request, partial(new_link, reason=form.cleaned_data["reason"]))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            return _show_link(request, *made)
    return _ask(
        request,
        form,
        person=person,
        heading=f"New link for {person.name}",
        what=f"{person.name} gets a one-time link to set a new password. The present password works until then.",
        submit="Make the link",
    )


@administrators_only
@confirmed
def give_role(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(Person, key=key)
    return _step(
        request,
        GiveRoleForm(request.POST or None),
        lambda data: roles.give_role(by=signed_in(request), person=person, **data),
        person=person,
        heading=f"Give {person.name} a role",
        what="It counts from now on. Nobody reviews or certifies what they measured, whatever roles they hold.",
        submit="Give the role",
    )


@administrators_only
def end_role(request: HttpRequest, key: str, role: str) -> HttpResponse:
    if role not in Role.values:
        raise Http404
    person = get_object_or_404(Person, key=key)
    return _step(
        request,
        ReasonForm(request.POST or None),
        lambda data: roles.end_role(by=signed_in(request), person=person, role=role, **data),
        person=person,
        heading=f"End a role of {person.name}",
        what=f"The role of {Role(role).label.lower()} ends now; what was done in it stands.",
        submit="End the role",
    )


@administrators_only
def disable(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(Person, key=key)
    return _step(
        request,
        ReasonForm(request.POST or None),
        lambda data: roles.disable(by=signed_in(request), person=person, **data),
        person=person,
        heading=f"Disable {person.name}",
        what=f"{person.name} is signed out everywhere at once and can no longer sign in; what they did stands.",
        submit="Disable",
    )


@administrators_only
def enable(request: HttpRequest, key: str) -> HttpResponse:
    person = get_object_or_404(Person, key=key)
    return _step(
        request,
        ReasonForm(request.POST or None),
        lambda data: roles.enable(by=signed_in(request), person=person, **data),
        person=person,
        heading=f"Enable {person.name} again",
        what=f"{person.name} holds the same roles as before, and needs a new link to set a password.",
        submit="Enable",
    )


@administrators_only
def cancel_invitation(request: HttpRequest, key: str) -> HttpResponse:
    invitation = get_object_or_404(Invitation, key=key)
    return _step(
        request,
        ReasonForm(request.POST or None),
        lambda data: invitations.cancel_invitation(by=signed_in(request), invitation=invitation, **data),
        heading="Cancel an invitation",
        what=f"The link for {invitation.name} stops working.",
        submit="Cancel the link",
    )


def _step(
    request: HttpRequest,
    form: ReasonForm | GiveRoleForm,
    do: Callable[[dict[str, Any]], object],
    *,
    person: Person | None = None,
    **texts: str,
) -> HttpResponse:
    """A page that says what will be done, asks for the reason, does it, and goes back to where it came from."""
    if form.is_valid():
        try:
            do(form.cleaned_data)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "Done; the trail tells it.")
            return redirect("people:person", key=person.key) if person else redirect("people:list")
    return _ask(request, form, person=person, **texts)


def _ask(
    request: HttpRequest, form: ReasonForm | GiveRoleForm, *, person: Person | None = None, **texts: str
) -> HttpResponse:
    context = {"form": form, "person": person, **texts}
    return render(request, "people/step.html", context, status=422 if form.errors else 200)


def _with_letter(request: HttpRequest, make: Callable[[], tuple[Invitation, str]]) -> tuple[Invitation, str, Letter]:
    """A link is made and its letter written, both or neither."""
    with transaction.atomic():
        invitation, token = make()
        link = request.build_absolute_uri(reverse("people:accept_invitation", args=[token]))
        text = render_to_string("people/invitation.txt", {"invitation": invitation, "link": link})
        letter = letters.write(to=invitation.email, subject="Your way into the office", text=text, about="invitation")
    return invitation, link, letter


def _show_link(request: HttpRequest, invitation: Invitation, link: str, letter: Letter) -> HttpResponse:
    """The only page that ever shows the link; the browser keeps it not at all, the office sealed until it is sent."""
    context = {"invitation": invitation, "link": link, "unsent": not letters.send(letter)}
    response = render(request, "people/link.html", context)
    add_never_cache_headers(response)
    return response
