"""The first page: what waits for the one who looks at it."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from boats.models import Access, Boat, Ownership
from boats.rules import on_day
from office.certificates import declaring
from office.certificates.models import Certificate
from office.certificates.queries import accepted_without_certificate
from office.certificates.standing import standing
from office.complaints import queries as complaints
from office.lookups import beyond
from office.people.access import is_office
from office.people.models import Person, Role
from office.upkeep import backups
from surveys.models import Visit, VisitState

COMPLAINTS = 10  # named on the page, the oldest first
TO_REVIEW = (VisitState.SIGNED, VisitState.UNDER_REVIEW)
WITH_MEASURER = (VisitState.PLANNED, VisitState.DRAFT, VisitState.RETURNED)


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
        context["begins"] = not Boat.objects.exists()
        context["administers"] = person.holds(Role.ADMINISTRATOR)
        context["to_review"] = Visit.objects.filter(state__in=TO_REVIEW).count()
        context["declared"] = declaring.open_ones().count()
        context["asked_for"] = (
            Visit.objects.filter(state=VisitState.ASKED_FOR).select_related("boat").order_by("asked_at")[:20]
        )
        still_open = complaints.open_ones()
        context["complaints"] = [(one, complaints.age_in_days(one)) for one in still_open[:COMPLAINTS]]
        context["complaints_behind"] = beyond(still_open, COMPLAINTS)
    if person.holds(Role.CERTIFIER):
        context["to_certify"] = accepted_without_certificate()[:20]
    if person.holds(Role.ADMINISTRATOR):
        context["backup"] = backups.state()
    if person.holds(Role.OWNER):
        context["boats"] = own_boats(person)
    return render(request, "desk/home.html", context)


def own_boats(person: Person) -> list[tuple[Boat, Certificate | None, str]]:
    """The boats a person owns or sails, each with the certificate that counts today and how it stands; four queries."""
    today, mine = timezone.localdate(), on_day(timezone.localdate())
    owned, entrusted = (table.objects.filter(mine, person=person).values("boat") for table in (Ownership, Access))
    boats = list(Boat.objects.filter(Q(pk__in=owned) | Q(pk__in=entrusted)))
    rows = Certificate.objects.filter(boat__in=boats).defer("snapshot").prefetch_related("suspensions")
    counting: dict[int, Certificate] = {}
    for one in rows.order_by("valid_from", "issued_at"):
        if one.valid_from <= today or one.boat_id not in counting:
            counting[one.boat_id] = one
    held = [(boat, counting.get(boat.pk)) for boat in boats]
    return [(boat, one, str(standing(one, today)) if one else "none") for boat, one in held]
