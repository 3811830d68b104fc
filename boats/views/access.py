"""Whom an owner lets in, the letter with the link, and the page the link leads to."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from boats import actions, rules
from boats.actions.access import open_invitations
from boats.forms.access import LetInForm
from boats.forms.people import EndReasonForm
from boats.models import Access, Boat, BoatInvitation
from boats.views.common import posted, status_of
from office.audit.refusals import Refusal
from office.letters import actions as letters
from office.letters.models import Letter
from office.people.access import person_of
from office.people.confirming import confirmed
from office.people.forms import AcceptForm
from office.people.limits import limited
from office.people.models import Person
from office.people.views.entrance import let_in


@confirmed
def show(request: HttpRequest, key: str) -> HttpResponse:
    """Who owns her, who sees her pages, which links are open; and the form that lets somebody in."""
    boat = get_object_or_404(Boat, key=key)
    by = person_of(request)
    rules.check_owns(by, boat)
    form = LetInForm(request.POST or None)
    made = posted(
        request, form, lambda data: with_letter(request, lambda: actions.invite_to_boat(by=by, boat=boat, **data))
    )
    if made:
        return show_link(request, *made)
    today = rules.on_day(timezone.localdate())
    context = {
        "boat": boat,
        "form": form,
        "ownerships": boat.ownerships.filter(today).select_related("person"),
        "accesses": boat.accesses.filter(today).select_related("person", "given_by"),
        "links": open_invitations(boat),
    }
    return render(request, "boats/access.html", context, status=status_of(form))


def with_letter(
    request: HttpRequest, make: Callable[[], tuple[BoatInvitation, str]]
) -> tuple[BoatInvitation, str, Letter]:
    """A link is made and its letter written, both or neither."""
    with transaction.atomic():
        invitation, token = make()
        link = request.build_absolute_uri(reverse("boats:join", args=[token]))
        text = render_to_string(
            "boats/invitation.txt", {"invitation": invitation, "boat": invitation.boat, "link": link}
        )
        subject = f"{invitation.boat.name}: a link for you"
        letter = letters.write(to=invitation.email, subject=subject, text=text, about="invitation to a boat")
    return invitation, link, letter


def show_link(request: HttpRequest, invitation: BoatInvitation, link: str, letter: Letter) -> HttpResponse:
    """The only page that ever shows the link; it goes out by e-mail as well."""
    context = {"invitation": invitation, "boat": invitation.boat, "link": link, "unsent": not letters.send(letter)}
    response = render(request, "boats/link.html", context)
    add_never_cache_headers(response)
    return response


@require_POST
def cancel(request: HttpRequest, key: str, invitation_key: str) -> HttpResponse:
    invitation = get_object_or_404(BoatInvitation.objects.select_related("boat"), boat__key=key, key=invitation_key)
    actions.cancel_boat_invitation(by=person_of(request), invitation=invitation)
    messages.success(request, f"The link for {invitation.name} is cancelled.")
    return redirect("boats:access", key)


def end(request: HttpRequest, key: str, person_key: str) -> HttpResponse:
    held = Access.objects.select_related("boat", "person").filter(boat__key=key, person__key=person_key)
    access = get_object_or_404(held.order_by("-since", "-pk")[:1])
    by = person_of(request)
    rules.check_owns(by, access.boat)
    form = EndReasonForm(request.POST or None)
    done = posted(request, form, lambda data: actions.end_access(by=by, access=access, **data))
    if done:
        messages.success(request, f"{access.person.name} sees the pages of {access.boat.name} no more.")
        return redirect("boats:access", key)
    return render(request, "boats/end_access.html", {"access": access, "form": form}, status=status_of(form))


@sensitive_post_parameters("new_password", "again")
@never_cache
@login_not_required
@limited("one_time_link", "30/m/ip", reading=True)
def join(request: HttpRequest, token: str) -> HttpResponse:
    """Whoever is known signs in and accepts; whoever is new sets a password on the way."""
    invitation = actions.find_boat_invitation(token)
    context = {"invitation": invitation, "boat": invitation.boat, "here": request.path}
    if isinstance(request.user, Person):
        return _accept(request, token, request.user, context)
    if Person.objects.filter(email__iexact=invitation.email).exists():
        return render(request, "boats/join.html", {**context, "known": True})
    form = AcceptForm(request.POST or None, invitation=invitation)
    person = posted(
        request,
        form,
        lambda data: actions.join_by_boat_invitation(token=token, name=data["name"], password=data["new_password"]),
    )
    if person:
        messages.success(request, f"Welcome, {person.name}. The link is used up; from now on you sign in.")
        return let_in(request, person, reverse("desk:boat", args=[invitation.boat.key]))
    return render(request, "boats/join.html", {**context, "form": form}, status=status_of(form))


def _accept(request: HttpRequest, token: str, person: Person, context: dict[str, object]) -> HttpResponse:
    if request.method == "POST":
        try:
            accepted = actions.accept_boat_invitation(token=token, person=person)
        except Refusal as refusal:
            return render(request, "boats/join.html", {**context, "refusal": str(refusal)}, status=422)
        messages.success(request, f"You are {accepted.get_part_display().lower()} of {accepted.boat.name} from today.")
        return redirect("desk:boat", accepted.boat.key)
    other = person.email.lower() != str(getattr(context["invitation"], "email", "")).lower()
    return render(request, "boats/join.html", {**context, "other": other, "accepts": True})
