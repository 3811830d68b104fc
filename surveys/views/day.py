"""A day's visits by harbour, and their log sheets in one print."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from office.audit.refusals import WrongState
from office.people.access import OFFICE, is_office, require_roles
from office.people.models import Role
from surveys import days
from surveys.forms.visits import DayForm
from surveys.paper import pages
from surveys.views.common import person_of
from surveys.views.paper import answer, asked_for, day_asked_for

for_the_field = require_roles(Role.MEASURER, *OFFICE)


@for_the_field
def show(request: HttpRequest) -> HttpResponse:
    """`?on=2026-05-04`, today by itself; the office can look at one measurer's with `?measurer=KEY`."""
    person, today = person_of(request), timezone.localdate()
    form = DayForm(request.GET if request.GET.get("on") else None, initial={"on": today})
    measurer = request.GET.get("measurer", "").replace("\0", "")
    day = today if not form.is_bound else form.cleaned_data["on"] if form.is_valid() else None
    visits = [] if day is None else days.visits_on(person, day, measurer)
    measurers = sorted({one.measurer for one in visits if one.measurer}, key=lambda one: (one.name, one.pk))
    context = {
        "form": form,
        "day": day,
        "visits": visits,
        "measurers": measurers,
        "kits": [] if day is None else days.kit_on(measurers, day),
        "measurer": measurer,
        "days": days.days_ahead(person, measurer),
        "office": is_office(person),
    }
    return render(request, "surveys/day.html", context, status=422 if form.errors else 200)


@for_the_field
def print_all(request: HttpRequest) -> HttpResponse:
    """One PDF: the day's list, then every log sheet. WrongState where there is nothing to print."""
    size, blank = asked_for(request)
    day = day_asked_for(request, timezone.localdate())
    visits = days.visits_on(person_of(request), day, request.GET.get("measurer", "").replace("\0", ""))
    if not visits:
        raise WrongState(f"No visit is planned for {day}; there is nothing to print.")
    return answer(pages.whole_day(visits, day, size, blank=blank), f"log-sheets-{day}.pdf")
