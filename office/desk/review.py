"""The review page: the evidence from the top down, the decision at its end."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from office.audit.refusals import Refusal
from office.desk import evidence, history
from office.desk.forms import DecisionForm, QueryForm, ReturnForm
from office.desk.queue import waiting_for_review, weigh
from office.people.access import OFFICE, person_of, require_roles
from office.people.confirming import confirmed
from office.policy import queries as policy_queries
from surveys import competence, rules
from surveys.actions import review as actions
from surveys.diagnosis import sisters_among
from surveys.history import before_and_alike
from surveys.models import Query, Visit, VisitState
from surveys.queries import beside_readings, with_content


def _visit(key: str) -> Visit:
    visits = with_content(Visit.objects.all()).select_related("measurer", "reviewer", "boat", "rig")
    return get_object_or_404(visits, key=key)


def _to_decide(request: HttpRequest, key: str) -> Visit:
    """The visit, for somebody who may decide about it, whatever the form says."""
    visit = _visit(key)
    rules.check_may_review(person_of(request), visit)
    return visit


def _page(request: HttpRequest, visit: Visit, *, status: int = 200, **forms: object) -> HttpResponse:
    """The whole page; `forms` are bound ones that were refused, so that nothing typed is lost."""
    earlier, alike = before_and_alike(visit)
    previous = earlier[-1] if earlier else None
    edition = policy_queries.current()
    sisters = sisters_among(alike, edition)
    waiting = weigh(visit, previous, edition, sisters=sisters)
    courses = history.courses_of(waiting, earlier)
    person = person_of(request)
    context = {
        "office_name": edition.office_name,  # asked once
        "visit": visit,
        "waiting": waiting,
        "previous": previous,
        "stories": evidence.stories(waiting),
        "stations": evidence.stations(visit, previous),
        "causes": evidence.causes(waiting, sisters),
        "findings": evidence.findings(waiting),
        "past_reasons": evidence.past_reasons(waiting),
        "moved": [one for one in courses if one.moved],
        "steady": [one for one in courses if not one.moved],
        "earlier": len(earlier),
        "drawing": evidence.drawing(waiting),
        **beside_readings(visit),
        "why_not_begin": rules.why_not(rules.check_may_begin_review, person, visit),
        "gaps": competence.gaps(visit, edition, person if visit.state != VisitState.ACCEPTED else visit.reviewer),
        "why_not_accept": rules.why_not(competence.check_authorised, visit, person, edition),
        "why_not_decide": rules.why_not(rules.check_may_decide, person, visit),
        "query_form": QueryForm(visit=visit),
        "decision_form": DecisionForm(initial={"edition": visit.edition}),
        "return_form": ReturnForm(),
    }
    return render(request, "desk/review.html", {**context, **forms}, status=status)


@require_roles(*OFFICE)
def show(request: HttpRequest, key: str) -> HttpResponse:
    return _page(request, _visit(key))


@require_POST
@require_roles(*OFFICE)
def begin(request: HttpRequest, key: str) -> HttpResponse:
    actions.begin_review(by=person_of(request), visit=_visit(key))
    messages.success(request, "The review is yours. The measurer's figures stay as they were signed.")
    return redirect("desk:review", key)


@require_POST
@require_roles(*OFFICE)
def ask(request: HttpRequest, key: str) -> HttpResponse:
    visit = _to_decide(request, key)
    form = QueryForm(request.POST, visit=visit)
    if not form.is_valid():
        return _page(request, visit, status=422, query_form=form)
    actions.ask_query(by=person_of(request), visit=visit, question=form.cleaned_data["question"], **form.place())
    messages.success(request, "The question is noted. It reaches the measurer when you return the visit.")
    return redirect("desk:review", key)


@require_POST
@require_roles(*OFFICE)
def settle(request: HttpRequest, key: str, query_key: str) -> HttpResponse:
    query = get_object_or_404(Query.objects.select_related("visit"), key=query_key, visit__key=key)
    actions.settle_query(by=person_of(request), query=query)
    messages.success(request, "The question is settled.")
    return redirect("desk:review", key)


@require_POST
@require_roles(*OFFICE)
def send_back(request: HttpRequest, key: str) -> HttpResponse:
    visit = _to_decide(request, key)
    form = ReturnForm(request.POST)
    if not form.is_valid():
        return _page(request, visit, status=422, return_form=form)
    actions.return_visit(by=person_of(request), visit=visit, reason=form.cleaned_data["reason"])
    messages.success(request, f"Returned to {visit.measurer} with your questions; nothing is lost.")
    return redirect("desk:queue")


@require_POST
@require_roles(*OFFICE)
@confirmed
def accept(request: HttpRequest, key: str) -> HttpResponse:
    visit = _to_decide(request, key)
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return _page(request, visit, status=422, decision_form=form)
    try:
        actions.accept_visit(by=person_of(request), visit=visit, **form.cleaned_data)
    except Refusal as refusal:
        form.add_error(None, str(refusal))
        return _page(request, _visit(key), status=refusal.status, decision_form=form)
    messages.success(request, f"{visit.boat.name}: the visit is accepted.")
    following = waiting_for_review()
    return redirect("desk:review", following[0].visit.key) if following else redirect("desk:queue")
