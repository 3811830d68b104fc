"""The list of visits and the page of one visit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from computations.catalogue import STATIONS
from computations.drawing import draw_file
from office import papers, spreadsheets
from office.audit.refusals import WrongState
from office.people.access import OFFICE, is_office, require_roles
from office.people.models import Person, Role
from surveys import rules
from surveys.figures import derive_visit
from surveys.forms.visits import ListFilter
from surveys.listing import listed_visits, visits_visible_to
from surveys.models import Visit, VisitState
from surveys.panel import drawn, panel_context
from surveys.queries import all_readings, beside_readings
from surveys.transitions import OPEN
from surveys.views.common import person_of, visit_for

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
HEADER = ("boat", "sail_number", "state", "date", "planned_on", "harbour", "measurer", "readings", "open_queries")


def _listed(request: HttpRequest, form: ListFilter) -> tuple[QuerySet[Any], str]:
    sort = request.GET.get("sort", "-date")
    if not form.is_valid():
        return visits_visible_to(person_of(request)).none(), sort
    data = form.cleaned_data
    visits = listed_visits(
        person_of(request), search=data["q"], state=data["state"], since=data["since"], until=data["until"], sort=sort
    )
    return visits, sort


@require_roles(Role.MEASURER, Role.OWNER, *OFFICE)
def show_all(request: HttpRequest) -> HttpResponse:
    form = ListFilter(request.GET)
    visits, sort = _listed(request, form)
    page = Paginator(visits, ROWS).get_page(request.GET.get("page"))
    office = is_office(request.user)
    context = {
        "form": form,
        "page": page,
        "sort": sort,
        "office": office,
        "ticks": office or person_of(request).holds(Role.MEASURER),
    }
    return render(request, "surveys/list.html", context)


@require_roles(Role.MEASURER, Role.OWNER, *OFFICE)
def export_list(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    visits, _ = _listed(request, ListFilter(request.GET))
    rows = (
        (
            one.boat.name, one.boat.sail_number, one.get_state_display(), one.date, one.planned_on, one.harbour,
            one.measurer.name if one.measurer else "", one.readings_read, one.open_queries,
        )
        for one in visits.iterator(chunk_size=1000)
    )  # fmt: skip
    return spreadsheets.answer(kind, "visits", HEADER, rows)


def show(request: HttpRequest, key: str) -> HttpResponse:
    """One visit: where it stands, what to do next, its figures, checks, readings, queries and signatures."""
    visit, person = visit_for(request, key), person_of(request)
    context = {
        "visit": visit,
        "steps": steps(visit, person),
        "writes": rules.may_write(person, visit),
        "office": is_office(person),
        "owns": person.holds(Role.OWNER) and rules.owns(person, visit.boat),
        "measures": person.holds(Role.MEASURER) and visit.measurer_id == person.pk,
        "prints": _has_rig(visit) and rules.may_print(person, visit),
        "new_rig": _new_rig(visit),
        "queries": visit.queries.select_related("asked_by", "answered_by", "settled_by"),
        "sign_offs": visit.sign_offs.select_related("signed_by"),
        "exceptions": visit.interest_exceptions.select_related("person", "granted_by"),
        "settlements": visit.settlements.select_related("settled_by"),
        "preparation": visit.preparation.all(),
        "readings": all_readings(visit),
        **beside_readings(visit),
        "stations": STATIONS,
        "own_interest": rules.why_not(rules.check_no_interest, person, visit) if visit.measurer == person else "",
    }
    if visit.rig is not None:
        context |= panel_context(visit, derive_visit(visit))
        if not (context["office"] or visit.measurer == person):
            context["gaps"] = []  # what the office makes of its people is not the owner's
    return render(request, "surveys/visit.html", context)


def drawing_file(request: HttpRequest, key: str) -> HttpResponse:
    """The rig as far as it has been read, as an SVG file."""
    visit = visit_for(request, key)
    if visit.rig is None:
        raise WrongState("The visit has not begun: it has no rig to draw yet.")
    day = visit.date or visit.planned_on
    svg = draw_file(drawn(derive_visit(visit)), title=f"Rig of {visit.boat.name}, visit of {day}")
    return papers.drawing_answer(svg, f"{visit.boat.sail_number_normal}-rig-{day}")


def _has_rig(visit: Visit) -> bool:
    """Whether a log sheet can be made: the visit has its rig, or the boat the one it will take."""
    return visit.rig is not None or visit.boat.rigs.filter(until__isnull=True).exists()


def _new_rig(visit: Visit) -> bool:
    """Whether the boat's rig was described anew since the visit took it."""
    if visit.state not in OPEN or visit.rig is None:
        return False
    return visit.rig.until is not None


@dataclass(frozen=True, slots=True)
class Step:
    """What can be done next: a link, or a button (`post`); greyed with the rule's sentence where `why_not`."""

    label: str
    url: str
    post: bool = False
    first: bool = False
    why_not: str = ""


def steps(visit: Visit, person: Person) -> list[Step]:
    """The steps open to this person in this state, the usual next one first."""

    def url(name: str) -> str:
        return reverse(f"surveys:{name}", args=[visit.key])

    found = []
    if person.pk == visit.measurer_id and visit.state == VisitState.PLANNED:
        why_not = rules.why_not(rules.check_may_begin, person, visit)
        found.append(Step("Begin the visit", url("begin"), post=True, first=True, why_not=why_not))
    if rules.may_write(person, visit):
        found += [
            Step("At the dock", url("dock"), first=True),
            Step("Readings", url("readings")),
            Step("Conditions and preparation", url("conditions")),
            Step("Upload a log sheet", url("upload")),
            Step("Sign", url("sign"), why_not=rules.why_not(rules.check_may_sign, person, visit)),
        ]
    if rules.may_plan(person) and rules.state_allows(visit, "plan"):
        again = visit.state == VisitState.PLANNED
        found.append(Step("Plan anew" if again else "Plan and assign", url("plan"), first=not again))
    if rules.may_plan(person) and rules.state_allows(visit, "grant_exception"):
        found.append(Step("Grant an exception", url("exception")))
    if rules.may_plan(person) and rules.state_allows(visit, "call_off"):
        found.append(Step("Call off", url("call_off")))
    return found
