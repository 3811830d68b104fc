"""The page of one boat: everything the office knows of her, each reader seeing what is theirs."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch
from django.db.models.functions import Coalesce, TruncDate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from boats import queries as boat_queries
from boats import rules as boat_rules
from boats.models import Boat, FormerParticulars, Rig
from computations.drawing import draw_file, draw_for_page
from computations.results import DimensionResult
from office import papers
from office.audit.refusals import WrongState
from office.certificates import declaring
from office.certificates import rules as certificate_rules
from office.certificates.models import Amendment, Certificate, Document
from office.certificates.standing import standing
from office.desk.timeline import timeline_of
from office.people.access import is_office, person_of
from office.people.models import Person
from office.policy import queries as policy_queries
from surveys import rules as survey_rules
from surveys.figures import Figures, derive_visit
from surveys.listing import visits_visible_to
from surveys.models import Visit
from surveys.panel import drawn
from surveys.queries import latest_accepted
from surveys.transitions import ENDED, FROZEN


@dataclass(frozen=True, slots=True)
class Spar:
    """One spar of the present rig, and where else its identification occurs."""

    what: str
    identification: str
    elsewhere: list[tuple[str, Rig]]


@dataclass(frozen=True, slots=True)
class Held:
    """One certificate as it stands today, with its papers."""

    certificate: Certificate
    standing: str
    papers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """What the last accepted visit gave."""

    visit: Visit
    figures: Figures
    drawing: SafeString

    @property
    def results(self) -> list[DimensionResult]:
        """What has a figure; of the two ways to the boom's height the adopted one."""
        dimensions = self.figures.derivation.dimensions
        return [one for one in dimensions if one.value is not None and one.method in {"", "adopted"}]

    @property
    def several_masts(self) -> bool:
        return len(self.figures.inputs.rig.masts) > 1


@dataclass(frozen=True, slots=True)
class Former:
    """Particulars that stood until a change, and who changed them where the reader may know."""

    was: FormerParticulars
    changed_by: str


def show(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat.objects.select_related("design"), key=key)
    person = person_of(request)
    boat_rules.check_sees(person, boat)
    context = page_of(boat, person)
    context["timeline"] = timeline_of(boat, person, request.GET)
    return render(request, "desk/boat.html", context)


def drawing_file(request: HttpRequest, key: str) -> HttpResponse:
    """The rig as last accepted, as an SVG file."""
    boat = get_object_or_404(Boat, key=key)
    person = person_of(request)
    boat_rules.check_sees(person, boat)
    if figures_hidden_from(person, boat):
        raise WrongState("Former figures are not shown to the measurer of a visit that is still open.")
    visit = latest_accepted(boat)
    if visit is None:
        raise WrongState("No visit to her has been accepted: there are no figures to draw her rig from.")
    svg = draw_file(drawn(derive_visit(visit)), title=f"Rig of {boat.name}, measured {visit.date}")
    return papers.drawing_answer(svg, f"{boat.sail_number_normal}-rig-{visit.date}")


def page_of(boat: Boat, person: Person) -> dict[str, object]:
    """What the page shows to this person; a number of queries that does not grow with the boat's history."""
    rigs = list(boat.rigs.prefetch_related("masts"))
    current = next((rig for rig in rigs if rig.until is None), None)
    held = certificates_of(boat)
    hidden = figures_hidden_from(person, boat)
    return {
        "boat": boat,
        "office": is_office(person),
        "ownerships": boat.ownerships.select_related("person"),
        "interests": boat.interests.select_related("person"),
        "rig": current,
        "spars": spars_of(current) if current else [],
        "former_rigs": [rig for rig in rigs if rig.until is not None],
        "former": former_of(boat, person),
        "visits": visits_visible_to(person)
        .filter(boat=boat)
        .order_by(Coalesce("date", "planned_on", TruncDate("asked_at")).desc(), "-pk"),
        "held": held,
        "now": next((one for one in held if one.standing in {"in_force", "suspended"}), None),
        "reads_papers": bool(held) and not hidden and certificate_rules.may_read(person, held[0].certificate),
        "measured": None if hidden else measured(boat),
        "figures_hidden": hidden,
        "owns": survey_rules.owns(person, boat),
        "may_declare": declaring.may_declare(person, boat),
        "declarations": declaring.open_ones().filter(boat=boat),
        "may_ask": survey_rules.may_ask(person, boat),
        "why_not_ask": survey_rules.why_not(survey_rules.check_nothing_asked, boat),
        "reads_trail": is_office(person) or survey_rules.owns(person, boat),
    }


def certificates_of(boat: Boat) -> list[Held]:
    """Every certificate of the boat, the last issued first; what they state and their papers are not read."""
    today = timezone.localdate()
    papers = Prefetch("documents", Document.objects.only("certificate_id", "paper"))
    rows = (
        Certificate.objects.filter(boat=boat)
        .select_related("successor")
        .defer("snapshot", "successor__snapshot")
        .prefetch_related(papers, "suspensions", Prefetch("amendments", Amendment.objects.defer("snapshot")))
    )
    return [
        Held(row, str(standing(row, today)), tuple(document.paper for document in row.documents.all())) for row in rows
    ]


def measured(boat: Boat) -> Measured | None:
    visit = latest_accepted(boat)
    if visit is None:
        return None
    figures = derive_visit(visit)
    plan = draw_for_page(drawn(figures), title=f"Rig of {boat.name}")
    return Measured(visit, figures, mark_safe(plan))  # noqa: S308  (our own SVG, its texts escaped there)


def figures_hidden_from(person: Person, boat: Boat) -> bool:
    """A measurer with a visit to this boat before them reads the tape unswayed, unless the policy says otherwise."""
    if is_office(person) or survey_rules.owns(person, boat):
        return False
    ahead = Visit.objects.filter(boat=boat, measurer=person).exclude(state__in={*ENDED, *FROZEN})
    return ahead.exists() and not policy_queries.current().show_previous_to_measurer


def spars_of(rig: Rig) -> list[Spar]:
    named = [("pole", rig.pole_identification)]
    for mast in rig.masts.all():
        where = "" if rig.masts.all()[0] == mast and len(rig.masts.all()) == 1 else f"{mast.name} "
        named += [(f"{where}mast", mast.mast_identification), (f"{where}boom", mast.boom_identification)]
    places = boat_queries.spar_places(mark for _, mark in named)
    return [
        Spar(what, mark, [(as_what, other) for as_what, other in places.get(mark, []) if other.boat_id != rig.boat_id])
        for what, mark in named
        if mark
    ]


def former_of(boat: Boat, person: Person) -> list[Former]:
    rows = list(boat.former.all())
    names: dict[str, str] = {}
    if is_office(person):
        known = Person.objects.filter(key__in={row.changed_by_key for row in rows})
        names = dict(known.values_list("key", "name"))
    return [Former(row, names.get(row.changed_by_key, "")) for row in rows]
