"""From an instrument found wrong to the certificates that rest on it: page, files, and what is done with the ticked."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.utils import timezone

from computations.typesetting import unit_word
from office import papers, spreadsheets
from office.audit.refusals import NotAllowed, Refusal
from office.certificates import recalling
from office.certificates.forms import RecallActForm, RecallForm, ticked_numbers
from office.certificates.models import Certificate
from office.certificates.standing import WORDS
from office.people.access import OFFICE, person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role
from surveys.models import Instrument

ROWS = 100
MOST_ON_PAPER = 2000
HEADER = (
    "certificate", "boat", "sail_number", "measured", "in_force_from", "in_force_until", "standing_today",
    "readings_with_it", "dimension", "mast", "unit", "certified", "expanded_uncertainty", "would_move_by",
    "beyond_uncertainty", "office_limit", "beyond_limit",
)  # fmt: skip


def _asked(request: HttpRequest) -> RecallForm:
    today = timezone.localdate()
    given = request.GET if "first" in request.GET else {"first": "", "last": today.isoformat(), "error": ""}
    return RecallForm(given)


@require_roles(*OFFICE)
@confirmed
def show(request: HttpRequest, identifier: str) -> HttpResponse:
    """Asked with days it lists; sent by a certifier it suspends or withdraws the ticked ones."""
    instrument, form, by = get_object_or_404(Instrument, identifier=identifier), _asked(request), person_of(request)
    outcomes: list[recalling.Outcome] = []
    act = RecallActForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        recalling.check_may_recall(by)
        if act.is_valid():
            try:
                outcomes = recalling.recall(
                    by=by, instrument=instrument, numbers=ticked_numbers(request), verb=act.cleaned_data["verb"],
                    reason=act.cleaned_data["reason"],
                )  # fmt: skip
            except NotAllowed:
                raise
            except Refusal as refusal:
                act.add_error(None, str(refusal))
    found = _found(instrument, form)
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    error = form.cleaned_data.get("error") if form.is_valid() else None
    context = {
        "instrument": instrument, "form": form, "act": act, "page": page, "outcomes": outcomes, "error": error,
        "rows": list(recalling.weigh(page.object_list, instrument, error)), "unit": _unit(instrument),
        "certifier": by.holds(Role.CERTIFIER), "ticked": set(ticked_numbers(request)),
        "asked": "first" in request.GET,
    }  # fmt: skip
    return render(request, "certificates/recall.html", context, status=422 if act.errors or form.errors else 200)


def _found(instrument: Instrument, form: RecallForm) -> QuerySet[Certificate]:
    if not form.is_valid():
        return Certificate.objects.none()
    asked = form.cleaned_data
    return recalling.resting_on(instrument, asked["first"] or dt.date.min, asked["last"] or timezone.localdate())


def _unit(instrument: Instrument) -> str:
    return "kg" if instrument.kind == "scale" else "mm"


@require_roles(*OFFICE)
def export(request: HttpRequest, identifier: str, kind: str) -> HttpResponse:
    """The whole list: a row for each dimension that would move, or for the certificate alone."""
    instrument, form = get_object_or_404(Instrument, identifier=identifier), _asked(request)
    if kind not in {*spreadsheets.KINDS, "pdf"}:
        raise Http404("There is no such kind of file.")
    error = form.cleaned_data.get("error") if form.is_valid() else None
    found = _found(instrument, form)
    name = f"recall-{instrument.identifier}"
    if kind != "pdf":
        return spreadsheets.answer(kind, name, HEADER, _lines(recalling.weigh(found.iterator(200), instrument, error)))
    rows = list(recalling.weigh(found[:MOST_ON_PAPER], instrument, error))
    context = {
        "instrument": instrument, "rows": rows, "asked": form.cleaned_data if form.is_valid() else {}, "error": error,
        "unit": _unit(instrument), "today": timezone.localdate(), "more": found.count() - len(rows),
    }  # fmt: skip
    html = render_to_string("certificates/recall_paper.html", context, request)
    content = papers.write_pdf(html, identifier=hashlib.sha256(html.encode()).digest()[:16])
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}.pdf"', "Cache-Control": "private, no-store"},
    )


def _lines(rows: Iterator[recalling.Recalled]) -> Iterator[spreadsheets.Row]:
    for row in rows:
        one = row.certificate
        head: spreadsheets.Row = (
            one.number, one.boat.name, one.boat.sail_number, one.visit.date, one.valid_from, one.valid_until,
            WORDS[row.standing], row.readings,
        )  # fmt: skip
        if not row.effects:
            yield (*head, *([None] * 9))
            continue
        for effect in row.effects:
            was = effect.result
            yield (
                *head, was.slug, was.mast, unit_word(was.unit), was.value, was.expanded_uncertainty,
                round(effect.shift, 6), effect.beyond_uncertainty, effect.limit or None, effect.beyond_limit,
            )  # fmt: skip
