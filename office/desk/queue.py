"""The queue: signed visits, riskiest first, and accepted ones that wait for their certificate.

A page holds those that have waited longest, and says how many wait behind them: nobody is passed over for being
harmless, and the page of a large office costs what that of a small one does.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from computations.comparison import Comparison
from computations.diagnosis.sisters import Sisters
from office.certificates import declaring
from office.certificates.queries import accepted_without_certificate
from office.desk.risk import Risk, assess
from office.lookups import beyond
from office.people.access import OFFICE, person_of, require_roles
from office.people.models import Role
from office.policy import queries as policy_queries
from office.policy.models import PolicyEdition
from surveys.figures import Figures, compare_figures, derive_visit, figures_alone
from surveys.models import Visit, VisitState
from surveys.queries import previous_accepted_of, with_content


@dataclass(frozen=True, slots=True)
class Waiting:
    """One row of the queue."""

    visit: Visit
    figures: Figures
    previous: Visit | None
    previous_figures: Figures | None
    comparison: Comparison | None
    risk: Risk


def weigh(
    visit: Visit, previous: Visit | None, edition: PolicyEdition | None = None, *, sisters: Sisters | None = None
) -> Waiting:
    """Derive and compare one visit. Everything it reads must have been fetched with `with_content`.

    `sisters`: boats of the same design to hold it against, where the page shows what that finds.
    """
    figures = derive_visit(visit, sisters=sisters.dimensions if sisters else None)
    previous_figures = figures_alone(previous) if previous else None
    comparison = compare_figures(previous_figures, figures, edition) if previous_figures else None
    risk = assess(
        changes=comparison.changes if comparison else None,
        checks=figures.checks,
        amendments=sum(1 for reading in visit.readings.all() if reading.replaces_id),
        exceptions=len(visit.interest_exceptions.all()),
        open_queries=sum(1 for query in visit.queries.all() if query.settled_at is None),
    )
    return Waiting(visit, figures, previous, previous_figures, comparison, risk)


SHOWN = 30  # of each kind on one page


def signed_visits() -> QuerySet[Visit]:
    """All that wait for review, the longest first, in the order of an index."""
    return Visit.objects.filter(state__in=[VisitState.SIGNED, VisitState.UNDER_REVIEW]).order_by("signed_at", "pk")


def waiting_for_review() -> list[Waiting]:
    """The signed visits of a page with their risk, riskiest first, in as many queries however many there are."""
    shown = list(signed_visits().values_list("pk", flat=True)[:SHOWN])
    visits = list(with_content(Visit.objects.filter(pk__in=shown)).select_related("measurer", "reviewer"))
    previous = previous_accepted_of(visits)
    edition = policy_queries.current()
    rows = [weigh(visit, previous.get(visit.pk), edition) for visit in visits]
    rows.sort(key=lambda row: (-row.risk.score, row.visit.signed_at))
    return rows


@require_roles(*OFFICE)
def step(request: HttpRequest, key: str, direction: str) -> HttpResponse:
    """On to the visit after this one in the queue, or back to the one before; past either end, to the queue."""
    keys = [row.visit.key for row in waiting_for_review()]
    if key not in keys:
        get_object_or_404(Visit.objects.only("pk"), key=key)  # one that has left the queue, but a visit
    here = keys.index(key) if key in keys else -1 if direction == "next" else len(keys)
    there = here + (1 if direction == "next" else -1)
    if 0 <= there < len(keys):
        return redirect("desk:review", keys[there])
    messages.info(request, "That was the last visit of the queue." if keys and there > 0 else "That was the first one.")
    return redirect("desk:queue")


@require_roles(*OFFICE)
def show(request: HttpRequest) -> HttpResponse:
    declared, to_certify = declaring.open_ones(), accepted_without_certificate()
    context = {
        "waiting": waiting_for_review(),
        "behind": beyond(signed_visits(), SHOWN),
        "declared": declared[:SHOWN],
        "declared_behind": beyond(declared, SHOWN),
        "to_certify": to_certify[:SHOWN],
        "to_certify_behind": beyond(to_certify, SHOWN),
        "certifies": person_of(request).holds(Role.CERTIFIER),
    }
    return render(request, "desk/queue.html", context)
