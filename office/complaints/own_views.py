"""What owners and measurers see: a complaint about their boat, what went wrong in their visit, and the course of it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats.models import Boat
from office.complaints import actions, queries, rules
from office.complaints.forms import ReportForm, SendForm
from office.complaints.models import State
from office.complaints.views import complaint_of
from office.people.access import is_office, person_of
from office.people.limits import limited
from surveys.models import Visit
from surveys.views.common import posted, sent, status_of


@limited("complaint", "10/m/user")
def send(request: HttpRequest, boat_key: str) -> HttpResponse:
    boat, by = get_object_or_404(Boat, key=boat_key), person_of(request)
    rules.check_may_send(by, boat)
    form = SendForm(sent(request), boat=boat, initial={"about": request.GET.get("about", "")[:40]})

    def act(_: dict[str, Any]) -> object:
        return actions.send(by=by, boat=boat, **form.chosen())

    if posted(request, form, act):
        messages.success(request, "The office has your complaint. Its course is on this page.")
        return redirect("complaints:own")
    return render(request, "complaints/send.html", {"boat": boat, "form": form}, status=status_of(form))


@limited("complaint", "10/m/user")
def report(request: HttpRequest, visit_key: str) -> HttpResponse:
    visit, by = get_object_or_404(Visit.objects.select_related("boat"), key=visit_key), person_of(request)
    rules.check_may_report(by, visit)
    form = ReportForm(sent(request), visit=visit)
    if posted(request, form, lambda data: actions.report(by=by, visit=visit, **data)):
        messages.success(request, "The office knows; somebody without a part in it looks into it.")
        return redirect("complaints:own")
    return render(request, "complaints/report.html", {"visit": visit, "form": form}, status=status_of(form))


def own(request: HttpRequest) -> HttpResponse:
    """Every complaint and finding whose course the person may see."""
    found = queries.followed_by(person_of(request))
    return render(request, "complaints/own.html", {"complaints": found})


def course(request: HttpRequest, key: str) -> HttpResponse:
    """What has happened so far; what was decided, once it is closed: then a complainant has been told."""
    complaint, person = complaint_of(key), person_of(request)
    rules.check_may_follow(person, complaint)
    closed = complaint.state == State.CLOSED
    context = {
        "complaint": complaint,
        "decision": complaint.decisions.last() if closed else None,
        "consequences": complaint.consequences.select_related("certificate") if closed else [],
        "office": is_office(person),
    }
    return render(request, "complaints/course.html", context)
