"""One's own calendar: make its address, end it; and the feed itself, which a calendar program reads."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from office.people.access import OFFICE, require_roles
from office.people.models import Role
from office.policy import queries as policy_queries
from surveys import days, icalendar
from surveys.actions import calendars
from surveys.views.common import person_of

for_the_field = require_roles(Role.MEASURER, *OFFICE)


@for_the_field
def show(request: HttpRequest) -> HttpResponse:
    feed = person_of(request).calendar_feeds.filter(revoked_at=None).first()
    return render(request, "surveys/calendar.html", {"feed": feed})


@sensitive_variables("token", "address")
@require_POST
@for_the_field
def make(request: HttpRequest) -> HttpResponse:
    """The address is on this one page only."""
    feed, token = calendars.make_calendar(by=person_of(request))
    address = settings.PUBLIC_URL + reverse("surveys:calendar_feed", args=[token])
    response = render(request, "surveys/calendar.html", {"feed": feed, "address": address})
    add_never_cache_headers(response)
    return response


@require_POST
@for_the_field
def revoke(request: HttpRequest) -> HttpResponse:
    calendars.revoke_calendar(by=person_of(request))
    messages.success(request, "The calendar's address is ended; whoever still has it gets nothing any more.")
    return redirect("surveys:calendar")


@login_not_required
@require_safe
@sensitive_variables("token")
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Whoever holds the address reads it: no sign-in, and nothing in it but boat, harbour and day."""
    found = calendars.find_calendar(token)
    if found is None:
        raise Http404("There is no such calendar.")
    name = policy_queries.current().office_name
    content = icalendar.calendar_of(days.for_calendar(found.person), name=name, now=timezone.now())
    headers = {"Content-Disposition": 'inline; filename="visits.ics"', "Cache-Control": "private, no-store"}
    return HttpResponse(content, content_type=icalendar.CONTENT_TYPE, headers=headers)
