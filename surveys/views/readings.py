"""The readings page: the whole list, one reading at a time, and the history of each take."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from computations.catalogue import READINGS
from computations.rounding import format_number
from office.audit.refusals import NotAllowed, WrongState
from office.people.models import Person
from surveys import actions, reading_rows, rules
from surveys.actions.readings import undoable
from surveys.figures import derive_visit
from surveys.forms.readings import AmendForm, WithdrawForm
from surveys.models import Reading, Visit
from surveys.panel import panel_context
from surveys.queries import chain_of
from surveys.reading_rows import ReadingRow
from surveys.reading_words import place_words, reading_token
from surveys.views.common import person_of, posted, sent, status_of, visit_for


def show(request: HttpRequest, key: str) -> HttpResponse:
    """The whole list. Sent as one form it stores everything typed, or nothing where anything cannot be taken."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    rules.check_state(visit, "write")
    rows = reading_rows.rows_of(visit)
    if request.method == "POST":
        reading_rows.take_typed(rows, request.POST)
        stored = _store_all(rows, person, visit)
        if stored is not None:
            messages.success(request, _said(stored))
            return redirect("surveys:readings", visit.key)
    wrong = [row for row in rows if row.errors]
    context = {"stations": reading_rows.stations_of(rows), "wrong": wrong, "feet": "feet" in request.GET}
    context |= {**panel_context(visit, derive_visit(visit)), "undo": _undo(person, visit)}
    return render(request, "surveys/readings.html", context, status=422 if wrong else 200)


def _store_all(rows: list[ReadingRow], by: Person, visit: Visit) -> int | None:
    """How many were stored; None where one could not be, and then none is."""
    with transaction.atomic():
        stored = sum(reading_rows.store(row, by=by, visit=visit) is not None for row in rows)
        if any(row.errors for row in rows):
            transaction.set_rollback(True)
            return None
    return stored


def _said(stored: int) -> str:
    return f"{stored} reading{'s' * (stored != 1)} stored." if stored else "There was nothing new to store."


@require_POST
def store_one(request: HttpRequest, key: str, row_key: str) -> HttpResponse:
    """One reading at a time: the row comes back as it is now, the panel with it."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    row = _row(visit, row_key)
    reading_rows.take_typed([row], request.POST)
    stored = reading_rows.store(row, by=person, visit=visit)
    if row.errors:
        return render(request, "surveys/row_answer.html", {"visit": visit, "row": row}, status=422)
    if stored:
        messages.success(request, _read_back(stored))
    fresh = reading_rows.rows_of(visit)
    told = [one for one in fresh if one.key == row_key]
    if stored and row.open_position:  # the halyard now has a row of its own, before the one for another
        told = [one for one in fresh if one.position == stored.position and one.kind is row.kind] + told
    context: dict[str, Any] = {"visit": visit, "rows": told, "stored": stored, "feet": "feet" in request.GET}
    context |= {**panel_context(visit, derive_visit(visit)), "undo": _undo(person, visit)}
    return render(request, "surveys/row_answer.html", context)


def _read_back(stored: Reading) -> str:
    """The figure said once more, in the unit of the computations and as it was written."""
    kind = READINGS[stored.slug]
    where = f", {stored.position}" if stored.position else ""
    value = format_number(stored.value or 0.0, 0 if kind.resolution == 1.0 else 1)
    return f"{kind.name}{where}, take {stored.take}: {value} {kind.unit} stored, written {stored.as_written}."


def _row(visit: Visit, row_key: str) -> ReadingRow:
    row = next((one for one in reading_rows.rows_of(visit) if one.key == row_key), None)
    if row is None:
        raise Http404("This rig has no such reading.")
    return row


@require_POST
def undo(request: HttpRequest, key: str) -> HttpResponse:
    """Take back what this person stored last, if it still is what the button named."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    last = undoable(person, visit)
    try:
        if last is None or reading_token(last, visit.key) != request.POST.get("reading", ""):
            raise WrongState("That is not what you stored last any more; look at the readings as they are now.")
        actions.undo_reading(by=person, visit=visit, reading=last)
    except WrongState as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Undone: {place_words(READINGS[last.slug], last.mast, last.position)}.")
    return redirect("surveys:readings", visit.key)


def _undo(person: Person, visit: Visit) -> dict[str, str] | None:
    """The button's words, and what it takes back."""
    last = undoable(person, visit)
    if last is None:
        return None
    what = "taken away" if last.withdrawn else last.as_written
    words = f"{place_words(READINGS[last.slug], last.mast, last.position)}, take {last.take}: {what}"
    return {"token": reading_token(last, visit.key), "words": words}


def panel(request: HttpRequest, key: str) -> HttpResponse:
    """The live panel alone."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    rules.check_state(visit, "write")
    context = {**panel_context(visit, derive_visit(visit)), "undo": _undo(person, visit)}
    return render(request, "surveys/panel.html", context)


def one_take(request: HttpRequest, key: str, slug: str, mast: str, take: int) -> HttpResponse:
    """One take: its history, and the form that amends it."""
    visit, person = visit_for(request, key), person_of(request)
    reading = _reading(visit, slug, mast, request.GET.get("position", ""), take)
    if request.method == "POST":
        rules.check_may_measure(person, visit)
    form = AmendForm(sent(request), reading=reading, visit=visit)
    done = posted(
        request,
        form,
        lambda data: actions.amend_reading(
            by=person,
            reading=reading,
            text=data["text"],
            unit=data["unit"],
            instrument=data["instrument"],
            reason=data["reason"],
            remark=data["remark"],
        ),
    )
    if done:
        messages.success(request, "The reading is amended; the former value stays readable here.")
        return redirect("surveys:readings", visit.key)
    context = {
        "visit": visit,
        "reading": reading,
        "chain": chain_of(reading),
        "form": form,
        "writes": rules.may_write(person, visit) and not reading.withdrawn,
        "query": urlencode({"position": reading.position}),
    }
    return render(request, "surveys/reading.html", context, status=status_of(form))


def withdraw(request: HttpRequest, key: str, slug: str, mast: str, take: int) -> HttpResponse:
    visit, person = visit_for(request, key), person_of(request)
    if not rules.may_write(person, visit):
        rules.check_may_measure(person, visit)
        rules.check_state(visit, "write")
        raise NotAllowed("Only the visit's measurer takes a reading away.")
    reading = _reading(visit, slug, mast, request.GET.get("position", ""), take)
    form = WithdrawForm(sent(request))
    if posted(request, form, lambda data: actions.withdraw_reading(by=person, reading=reading, **data)):
        messages.success(request, "The reading is taken away; it stays readable in the take's history.")
        return redirect("surveys:readings", visit.key)
    context = {"visit": visit, "reading": reading, "form": form, "query": urlencode({"position": reading.position})}
    return render(request, "surveys/withdraw.html", context, status=status_of(form))


def _reading(visit: Visit, slug: str, mast: str, position: str, take: int) -> Reading:
    """The latest row of a take."""
    rows = Reading.objects.filter(
        visit=visit, slug=slug, mast=mast, position=position.replace("\0", ""), take=take, replaced_by__isnull=True
    )
    reading = rows.select_related("instrument", "recorded_by").first()
    if reading is None:
        raise Http404("There is no such take.")
    reading.visit = visit
    return reading
