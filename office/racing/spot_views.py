"""Pages of spot checks: begun from an entry, read on plain forms or at the dock, finished, reported."""

from __future__ import annotations

import hashlib
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_POST

from boats.models import Boat
from boats.views.common import posted, status_of
from office import papers
from office.certificates import queries as certificate_queries
from office.certificates import snapshot
from office.people.access import person_of
from office.people.models import Person
from office.policy import queries as policy_queries
from office.racing import spot_checks, spot_rows
from office.racing.entry_views import one_entry
from office.racing.event_views import event_for
from office.racing.models import SpotCheck, SpotReading
from office.racing.spot_figures import findings, stated
from office.racing.spot_forms import BeginForm, FinishForm, InstrumentForm
from surveys import competence


def spot_for(request: HttpRequest, key: str, spot_key: str) -> SpotCheck:
    """The spot check, for someone of its event's committee or the office."""
    event = event_for(request, key)
    wanted = SpotCheck.objects.select_related("boat", "certificate__visit__boat", "begun_by", "finished_by", "event")
    return get_object_or_404(wanted, event=event, key=spot_key)


def show_all(request: HttpRequest, key: str) -> HttpResponse:
    event = event_for(request, key)
    spots = event.spot_checks.select_related("boat", "begun_by").defer("certificate")
    return render(request, "racing/events/spot_checks.html", {"event": event, "spots": spots})


def begin(request: HttpRequest, key: str, row: int) -> HttpResponse:
    """Against the certificate of the boat that an entry of the list means."""
    event = event_for(request, key)
    one, _ = one_entry(event, row)
    if one.matched is None:
        raise Http404("It is not settled which boat this entry means.")
    boat = get_object_or_404(Boat, key=one.matched.key)
    certificate = certificate_queries.certificate_on(boat, timezone.localdate())
    rows = stated(snapshot.read(certificate)) if certificate else {}
    form = BeginForm(request.POST if request.method == "POST" else None, rows=rows)
    begun = posted(request, form, lambda data: spot_checks.begin(by=person_of(request), event=event, boat=boat, **data))
    if begun is not None:
        return redirect("events:spot_check", key, begun.key)
    context = {"event": event, "one": one, "boat": boat, "certificate": certificate, "form": form}
    return render(request, "racing/events/spot_begin.html", context, status=status_of(form))


def show(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    """What was found so far, and a plain form for every reading."""
    spot = spot_for(request, key, spot_key)
    rows = spot_rows.rows_of(spot)
    if request.method == "POST":
        spot_rows.read_form(rows, request.POST)
        stored = spot_rows.store(person_of(request), spot, rows)
        refused = [row for row in rows if row.error]
        if stored:
            messages.success(request, f"{stored} reading{'s' * (stored != 1)} stored.")
        if not refused:
            return redirect("events:spot_check", key, spot_key)
        return _page(request, spot, _with_takes(spot, rows), status=422)
    return _page(request, spot, rows)


def _with_takes(spot: SpotCheck, typed: list[spot_rows.SpotRow]) -> list[spot_rows.SpotRow]:
    """The rows as they are now, with what could not be stored still typed in."""
    rows = spot_rows.rows_of(spot)
    left = {row.key: row for row in typed if row.error}
    for row in rows:
        if row.key in left:
            row.typed, row.error = left[row.key].typed, left[row.key].error
    return rows


def _page(
    request: HttpRequest,
    spot: SpotCheck,
    rows: list[spot_rows.SpotRow],
    *,
    status: int = 200,
    instrument_form: InstrumentForm | None = None,
    finish_form: FinishForm | None = None,
) -> HttpResponse:
    context = {
        "event": spot.event,
        "spot": spot,
        "rows": rows,
        "found": findings(spot),
        "gaps": competence.gaps_of_spot_check(_checkers(spot), spot.day, policy_queries.current()),
        "tools": spot_rows.tools_of(spot),
        "instrument_form": instrument_form or InstrumentForm(),
        "finish_form": finish_form or FinishForm(),
    }
    return render(request, "racing/events/spot_check.html", context, status=status)


def _checkers(spot: SpotCheck) -> list[Person]:
    """Who began it and who took its readings, each once."""
    recorders = Person.objects.filter(pk__in=spot.readings.values("recorded_by")).order_by("name", "pk")
    return [spot.begun_by, *(one for one in recorders if one.pk != spot.begun_by_id)]


@require_POST
def describe_instrument(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    spot = spot_for(request, key, spot_key)
    form = InstrumentForm(request.POST)
    made = posted(request, form, lambda data: spot_checks.describe_instrument(by=person_of(request), spot=spot, **data))
    if made is None:
        return _page(request, spot, spot_rows.rows_of(spot), status=422, instrument_form=form)
    messages.success(request, f"{made.identifier} can be chosen for the readings.")
    return redirect("events:spot_check", key, spot_key)


@require_POST
def take_away(request: HttpRequest, key: str, spot_key: str, token: str) -> HttpResponse:
    spot = spot_for(request, key, spot_key)
    reading = get_object_or_404(SpotReading.objects.filter(spot_check=spot), token=token)
    spot_checks.replace_reading(by=person_of(request), reading=reading, text=None, reason="taken away at the check")
    messages.success(request, "The reading is taken away; it stays in the trail.")
    return redirect("events:spot_check", key, spot_key)


@require_POST
def finish(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    spot = spot_for(request, key, spot_key)
    form = FinishForm(request.POST)
    done = posted(request, form, lambda data: spot_checks.finish(by=person_of(request), spot=spot, **data))
    if done is None:
        return _page(request, spot, spot_rows.rows_of(spot), status=422, finish_form=form)
    messages.success(request, "The spot check is finished; its report can be printed and signed.")
    return redirect("events:spot_check", key, spot_key)


def report(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    """The report to sign, on A4 or Letter."""
    spot = spot_for(request, key, spot_key)
    size = request.GET.get("size", "A4")
    if size not in papers.SIZES:
        raise Http404("There is no such paper.")
    html = report_html(spot, size)
    return HttpResponse(
        papers.write_pdf(html, identifier=hashlib.sha256(html.encode()).digest()[:16]),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="spot-check-{spot.day}.pdf"', "Cache-Control": "no-store"},
    )


def report_html(spot: SpotCheck, size: str) -> str:
    rows = spot_rows.rows_of(spot)
    context: dict[str, Any] = {
        "event": spot.event,
        "spot": spot,
        "found": findings(spot),
        "rows": [row for row in rows if row.takes],
        "tools": [tool for tool in spot_rows.tools_of(spot) if tool.identifier in _used(rows)],
        "page_size": papers.SIZES[size],
    }
    return render_to_string("racing/events/spot_report.html", context)


def _used(rows: list[spot_rows.SpotRow]) -> set[str]:
    return {take.instrument for row in rows for take in row.takes}
