"""Asked for, planned, begun, called off; exceptions for interested parties."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from boats import queries as boat_queries
from boats.models import Boat, Ownership
from boats.rules import on_day
from office.people.access import OFFICE, is_office, require_roles
from office.people.models import Person, Role
from surveys import actions, rules
from surveys.candidates import candidates
from surveys.forms.visits import AskForm, PlanForm, ReasonForm
from surveys.views.common import person_of, posted, sent, status_of, visit_for


@require_roles(Role.OWNER, *OFFICE)
def choose_boat(request: HttpRequest) -> HttpResponse:
    """Which boat is the visit for? Links to the boats that match."""
    text, person = request.GET.get("q", "")[:80], person_of(request)
    boats = boat_queries.boats_visible_to(person).order_by("name_normal", "pk")
    if not is_office(person):  # an owner who also measures sees every boat, and asks for their own
        own = Ownership.objects.filter(on_day(timezone.localdate()), person=person)
        boats = boats.filter(pk__in=own.values("boat"))
    found = list(boat_queries.search(boats, text)[:20])
    return render(request, "surveys/choose_boat.html", {"boats": found, "q": text, "office": is_office(person)})


def ask(request: HttpRequest, boat_key: str) -> HttpResponse:
    boat = get_object_or_404(Boat, key=boat_key)
    rules.check_may_ask(person_of(request), boat)
    form = AskForm(sent(request))
    visit = posted(request, form, lambda data: actions.ask_for_visit(by=person_of(request), boat=boat, **data))
    if visit:
        messages.success(request, f"A visit to {boat.name} is asked for; the office plans it.")
        return redirect("surveys:visit", visit.key)
    return render(request, "surveys/ask.html", {"boat": boat, "form": form}, status=status_of(form))


@require_roles(*OFFICE)
def plan(request: HttpRequest, key: str) -> HttpResponse:
    visit = visit_for(request, key)
    people = candidates(visit)
    initial = {
        "measurer": visit.measurer.key if visit.measurer else "",
        "harbour": visit.harbour or visit.boat.harbour,
        **({"planned_on": visit.planned_on} if visit.planned_on else {}),
    }
    form = PlanForm(sent(request), candidates=people, initial=initial)
    done = posted(
        request,
        form,
        lambda data: actions.plan_visit(
            by=person_of(request),
            visit=visit,
            measurer=form.people[data["measurer"]],
            planned_on=data["planned_on"],
            harbour=data["harbour"],
        ),
    )
    if done:
        messages.success(request, "The visit is planned.")
        return redirect("surveys:visit", visit.key)
    kept_out = [one for one in people if not one.free]
    context = {
        "visit": visit,
        "form": form,
        "kept_out": kept_out,
        "why_not": rules.why_not(rules.check_state, visit, "plan"),
    }
    return render(request, "surveys/plan.html", context, status=status_of(form))


@require_roles(*OFFICE)
def grant_exception(request: HttpRequest, key: str) -> HttpResponse:
    """For the person the address names, or first the choice among those with an interest."""
    visit = visit_for(request, key)
    interested = [one for one in candidates(visit) if one.interest and not one.excepted]
    person = Person.objects.filter(key=request.GET.get("person", "").replace("\0", "")).first()
    form = ReasonForm(sent(request))
    if person is not None:
        granted = posted(
            request,
            form,
            lambda data: actions.grant_exception(by=person_of(request), visit=visit, person=person, **data),
        )
        if granted:
            messages.success(request, f"The exception for {person.name} stands for this visit.")
            return redirect("surveys:plan" if rules.state_allows(visit, "plan") else "surveys:visit", visit.key)
    context = {
        "visit": visit,
        "form": form,
        "person": person,
        "interested": interested,
        "interest": rules.interest_in(person, visit) if person else "",
        "everybody": Person.objects.filter(is_active=True, role_holdings__ended_at=None).distinct()
        if person is None
        else [],
    }
    return render(request, "surveys/exception.html", context, status=status_of(form))


@require_roles(*OFFICE)
def call_off(request: HttpRequest, key: str) -> HttpResponse:
    visit = visit_for(request, key)
    form = ReasonForm(sent(request))
    if posted(request, form, lambda data: actions.call_off_visit(by=person_of(request), visit=visit, **data)):
        messages.success(request, "The visit is called off.")
        return redirect("surveys:visit", visit.key)
    return render(request, "surveys/call_off.html", {"visit": visit, "form": form}, status=status_of(form))


@require_POST
def begin(request: HttpRequest, key: str) -> HttpResponse:
    visit = visit_for(request, key)
    actions.begin_visit(by=person_of(request), visit=visit)
    messages.success(request, "The visit has begun. First state the conditions, then take the readings.")
    return redirect("surveys:conditions", visit.key)


@require_POST
def follow_rig(request: HttpRequest, key: str) -> HttpResponse:
    visit = visit_for(request, key)
    actions.follow_rig(by=person_of(request), visit=visit)
    messages.success(request, "The visit now follows the rig as it is described today.")
    return redirect("surveys:visit", visit.key)
