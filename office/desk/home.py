"""The first page: what waits for the one who looks at it."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from boats.queries import boats_visible_to
from office.backups import making
from office.certificates.queries import accepted_without_certificate
from office.people.access import is_office
from office.people.models import Role
from surveys.models import Visit, VisitState

TO_REVIEW = (VisitState.SIGNED, VisitState.UNDER_REVIEW)
WITH_MEASURER = (VisitState.PLANNED, VisitState.DRAFT, VisitState.RETURNED)

BACKUP_EVERY = dt.timedelta(days=2)  # the office's own habit; common practice, no source


@login_not_required
def show(request: HttpRequest) -> HttpResponse:
    person = request.user
    if not person.is_authenticated:
        return render(request, "desk/welcome.html")
    context: dict[str, object] = {}
    if person.holds(Role.MEASURER):
        mine = Visit.objects.filter(measurer=person, state__in=WITH_MEASURER)
        context["mine"] = mine.select_related("boat").order_by("planned_on", "pk")[:20]
    if is_office(person):
        context["to_review"] = Visit.objects.filter(state__in=TO_REVIEW).count()
        context["asked_for"] = (
            Visit.objects.filter(state=VisitState.ASKED_FOR).select_related("boat").order_by("asked_at")[:20]
        )
    if person.holds(Role.CERTIFIER):
        context["to_certify"] = accepted_without_certificate()[:20]
    if person.holds(Role.ADMINISTRATOR):
        context["backup"] = last_backup()
    if person.holds(Role.OWNER):
        context["boats"] = boats_visible_to(person).filter(ownerships__person=person, ownerships__until=None).distinct()
    return render(request, "desk/home.html", context)


def last_backup() -> dict[str, object]:
    """When everything was last backed up whole, and whether that is too long ago."""
    entry = making.last_good()
    if entry is None:
        return {"at": None, "late": True}
    at = dt.datetime.fromisoformat(entry.at)
    return {"at": at, "late": timezone.now() - at > BACKUP_EVERY}
