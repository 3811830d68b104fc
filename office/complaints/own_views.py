"""What an owner sees: sending a complaint about their own boat, and its course."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats.models import Boat
from office.complaints import actions, queries, rules
from office.complaints.forms import SendForm
from office.complaints.models import State
from office.complaints.views import complaint_of
from office.people.access import is_office, person_of
from office.people.limits import limited
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


def own(request: HttpRequest) -> HttpResponse:
    """Every complaint whose course the person may see."""
    found = queries.followed_by(person_of(request))
    return render(request, "complaints/own.html", {"complaints": found})


def course(request: HttpRequest, key: str) -> HttpResponse:
    """What has happened so far; what was decided, once the complainant has been told."""
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
