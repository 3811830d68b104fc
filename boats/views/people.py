"""Owners of a boat and other interests in her."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import actions, rules
from boats.forms.people import EndForm, InterestForm, OwnerForm, OwnInterestForm
from boats.models import Boat, Interest, Ownership
from boats.views.common import posted, status_of
from office.people.access import OFFICE, person_of, require_roles


def _page(request: HttpRequest, boat: Boat, **forms: OwnerForm | InterestForm) -> HttpResponse:
    context = {
        "boat": boat,
        "ownerships": boat.ownerships.select_related("person"),
        "interests": boat.interests.select_related("person"),
        "owner_form": forms.get("owner_form") or OwnerForm(auto_id="id_owner_%s"),
        "interest_form": forms.get("interest_form") or InterestForm(auto_id="id_interest_%s"),
    }
    return render(request, "boats/owners.html", context, status=422 if forms else 200)


@require_roles(*OFFICE)
def owners(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat, key=key)
    if request.method != "POST":
        return _page(request, boat)
    form = OwnerForm(request.POST, auto_id="id_owner_%s")
    ownership = posted(request, form, lambda data: actions.add_owner(by=person_of(request), boat=boat, **data))
    if ownership is None:
        return _page(request, boat, owner_form=form)
    messages.success(request, f"{ownership.person.name} is named as an owner of {boat.name}.")
    return redirect("boats:owners", boat.key)


@require_roles(*OFFICE)
def record_interest(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat, key=key)
    if request.method != "POST":
        return redirect("boats:owners", boat.key)
    form = InterestForm(request.POST, auto_id="id_interest_%s")
    interest = posted(request, form, lambda data: actions.declare_interest(by=person_of(request), boat=boat, **data))
    if interest is None:
        return _page(request, boat, interest_form=form)
    messages.success(request, f"{interest.person.name}'s interest in {boat.name} is recorded.")
    return redirect("boats:owners", boat.key)


def own_interest(request: HttpRequest, key: str) -> HttpResponse:
    """Anyone who sees the boat declares an interest of their own."""
    boat = get_object_or_404(Boat, key=key)
    person = person_of(request)
    rules.check_sees(person, boat)
    form = OwnInterestForm(request.POST or None)
    done = posted(request, form, lambda data: actions.declare_interest(by=person, boat=boat, person=person, **data))
    if done:
        messages.success(request, f"Your interest in {boat.name} is recorded.")
        return redirect("desk:boat", boat.key)
    declared = Interest.objects.filter(boat=boat, person=person)
    context = {"form": form, "boat": boat, "declared": declared}
    return render(request, "boats/own_interest.html", context, status=status_of(form))


@require_roles(*OFFICE)
def end_ownership(request: HttpRequest, key: str, person_key: str) -> HttpResponse:
    held = Ownership.objects.select_related("boat", "person").filter(boat__key=key, person__key=person_key)
    ownership = held.order_by("-since", "-pk").first()
    if ownership is None:
        raise Http404("This person never owned this boat.")
    rules.check_ownership_open(ownership)
    form = EndForm(request.POST or None)
    by = person_of(request)
    done = posted(request, form, lambda data: actions.end_ownership(by=by, ownership=ownership, **data))
    if done:
        messages.success(request, f"{ownership.person.name}'s ownership of {ownership.boat.name} has its last day.")
        return redirect("boats:owners", key)
    owner, boat = ownership.person.name, ownership.boat
    what = f"From the day after, {owner} no longer sees {boat.name}. The ownership stays in her history."
    context = {"form": form, "boat": boat, "what": what, "heading": f"End {owner}'s ownership"}
    return render(request, "boats/end.html", context, status=status_of(form))


@require_roles(*OFFICE)
def end_interest(request: HttpRequest, key: str, person_key: str, kind: str) -> HttpResponse:
    held = Interest.objects.select_related("boat", "person").filter(boat__key=key, person__key=person_key, kind=kind)
    interest = held.order_by("-since", "-pk").first()
    if interest is None:
        raise Http404("This person never had this interest in this boat.")
    rules.check_interest_open(interest)
    form = EndForm(request.POST or None)
    by = person_of(request)
    done = posted(request, form, lambda data: actions.end_interest(by=by, interest=interest, **data))
    if done:
        messages.success(request, f"{interest.person.name}'s interest in {interest.boat.name} has its last day.")
        return redirect("boats:owners", key)
    who, boat = interest.person.name, interest.boat
    what = (
        f"From the day after, this interest no longer keeps {who} from measuring, reviewing and certifying {boat.name}."
    )
    context = {"form": form, "boat": boat, "what": what, "heading": f"End {who}'s interest"}
    return render(request, "boats/end.html", context, status=status_of(form))
