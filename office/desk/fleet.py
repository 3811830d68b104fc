"""The fleet's page: what all accepted visits together say about each tape and each measurer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats.forms.fields import reason
from boats.models import Boat
from computations.fleet.charting import LATEST, Control, measurer_charts, tape_charts
from computations.fleet.findings import BiasFinding, ChangeFinding, TapeFinding
from office.audit.models import Entry
from office.people.access import OFFICE, person_of, require_roles
from office.people.models import Person
from surveys import actions
from surveys.fleet import Solved, solved_fleet
from surveys.models import Instrument
from surveys.views.common import posted, sent, status_of

ROWS = 40
MOST_BIASES = 30


@dataclass(frozen=True, slots=True)
class TapeRow:
    """A tape's finding, and when the office last suggested to calibrate it anew (after this calibration)."""

    finding: TapeFinding
    suggested: str


@dataclass(frozen=True, slots=True)
class ChangeRow:
    finding: ChangeFinding
    boat: str


class SuggestionForm(forms.Form):
    reason = reason("Why", "It stays in the trail, with the finding.")


@require_roles(*OFFICE)
def show(request: HttpRequest) -> HttpResponse:
    solved = solved_fleet()
    findings = solved.findings
    names = dict(Person.objects.filter(key__in=solved.fleet.measurers).values_list("key", "name"))
    chosen = request.GET.get("measurer", "")
    page = Paginator(findings.changes, ROWS).get_page(request.GET.get("page"))
    context = {
        "findings": findings,
        "tapes": _tape_rows(findings.tapes),
        "biases": [(names.get(one.measurer, ""), one) for one in _biases(findings.biases, chosen)],
        "measurers": [(key, names.get(key, "")) for key in solved.fleet.measurers],
        "chosen": chosen,
        "most_biases": MOST_BIASES,
        "page": page,
        "changes": _change_rows(page.object_list),
        "latest": LATEST,
        **_charts(solved, request.GET.get("tape", ""), chosen),
    }
    return render(request, "desk/fleet.html", context)


def _biases(biases: Iterable[BiasFinding], measurer: str) -> list[BiasFinding]:
    """All of one measurer's, or everyone's that stand most out of the noise, those first."""
    if measurer:
        return [one for one in biases if one.measurer == measurer]
    out = [one for one in biases if one.beyond_noise]
    return sorted(out, key=lambda one: -abs(one.mm or 0.0) / (one.expanded or 1.0))[:MOST_BIASES]


def _tape_rows(tapes: Iterable[TapeFinding]) -> list[TapeRow]:
    said = Entry.objects.filter(verb="suggest_recalibration").order_by("number").values_list("subject", "at")
    latest = {identifier: at[:10] for identifier, at in said}
    return [
        TapeRow(one, day if one.tape.since is None or day >= one.tape.since.isoformat() else "")
        for one in tapes
        for day in [latest.get(one.tape.identifier, "")]
    ]


def _change_rows(changes: Iterable[ChangeFinding]) -> list[ChangeRow]:
    listed = list(changes)
    names = dict(Boat.objects.filter(key__in={one.quantity.boat for one in listed}).values_list("key", "name"))
    return [ChangeRow(one, names.get(one.quantity.boat, one.quantity.boat)) for one in listed]


def _charts(solved: Solved, tape: str, measurer: str) -> dict[str, object]:
    """Control charts of one tape's calibrations and of one measurer; of the first of each unless named."""
    fleet = solved.fleet
    known = sorted({one.identifier for one in fleet.tapes})
    tape = tape if tape in known else next(iter(known), "")
    person = measurer if measurer in fleet.measurers else next(iter(fleet.measurers), "")
    of_tape: list[tuple[int, str, Control]] = [
        (one.number, _since(solved, one.number), one)
        for one in tape_charts(solved.fleet, solved.solution)
        if fleet.tapes[one.number].identifier == tape and one.points
    ]
    of_person = [one for one in measurer_charts(fleet, solved.solution) if fleet.measurers[one.number] == person]
    return {"charted_tape": tape, "tape_charts": of_tape, "charted_person": person, "measurer_charts": of_person}


def _since(solved: Solved, number: int) -> str:
    since = solved.fleet.tapes[number].since
    return since.isoformat() if since else ""


@require_roles(*OFFICE)
def suggest(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, identifier=identifier)
    said = [one.sentence for one in solved_fleet().findings.tapes if one.tape.identifier == identifier]
    finding = said[-1] if said else "The fleet says nothing of it yet."
    form = SuggestionForm(sent(request))
    done = posted(
        request,
        form,
        lambda data: actions.suggest_recalibration(
            by=person_of(request), instrument=instrument, finding=finding, **data
        ),
    )
    if done:
        messages.success(request, f"It is in the trail that {identifier} should be calibrated anew.")
        return redirect("desk:fleet")
    context = {"instrument": instrument, "finding": finding, "form": form}
    return render(request, "desk/suggest_recalibration.html", context, status=status_of(form))
