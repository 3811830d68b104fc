"""The office's kit: list, one piece, its calibrations."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from office.people.access import OFFICE, require_roles
from office.people.models import Role
from surveys import actions, rules
from surveys.forms.instruments import CalibrationForm, InstrumentFilter, InstrumentForm, OutOfUseForm
from surveys.models import Instrument
from surveys.queries import listed_instruments
from surveys.views.common import person_of, posted, sent, status_of

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
SOON = dt.timedelta(days=60)
SORTS = {"identifier": ("identifier",), "kind": ("kind", "identifier"), "due": ("due", "identifier")}
READERS = (Role.MEASURER, *OFFICE)


def standing(due: dt.date | None, today: dt.date) -> str:
    """in_date, due_soon or overdue; "" where there is no calibration."""
    if due is None:
        return ""
    if due < today:
        return "overdue"
    return "due_soon" if due <= today + SOON else "in_date"


def _filtered(request: HttpRequest, form: InstrumentFilter) -> tuple[QuerySet[Any], str]:
    rows, today = listed_instruments(), timezone.localdate()
    if form.is_valid():
        data = form.cleaned_data
        if data["kind"]:
            rows = rows.filter(kind=data["kind"])
        if not data["out_of_use"]:
            rows = rows.filter(out_of_use_since__isnull=True)
        if data["due"] == "overdue":
            rows = rows.filter(due__lt=today)
        elif data["due"] == "due_soon":
            rows = rows.filter(due__gte=today, due__lte=today + SOON)
        elif data["due"] == "in_date":
            rows = rows.filter(due__gt=today + SOON)
    sort = request.GET.get("sort", "identifier")
    keys = SORTS.get(sort.removeprefix("-"), SORTS["identifier"])
    return rows.order_by(*(f"-{key}" if sort.startswith("-") else key for key in keys)), sort


@require_roles(*READERS)
def show_all(request: HttpRequest) -> HttpResponse:
    form = InstrumentFilter(request.GET)
    rows, sort = _filtered(request, form)
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    today = timezone.localdate()
    listed = [(one, standing(one.due, today)) for one in page.object_list]
    context = {
        "form": form,
        "page": page,
        "listed": listed,
        "sort": sort,
        "keeps": rules.may_keep_instruments(person_of(request)),
    }
    return render(request, "instruments/list.html", context)


@require_roles(*OFFICE)
def record(request: HttpRequest) -> HttpResponse:
    form = InstrumentForm(sent(request))
    made = posted(request, form, lambda data: actions.record_instrument(by=person_of(request), **data))
    if made:
        messages.success(request, f"{made.identifier} is on record. Add its calibration next.")
        return redirect("instruments:calibrate", made.identifier)
    return render(request, "instruments/record.html", {"form": form}, status=status_of(form))


@require_roles(*READERS)
def show(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(listed_instruments(), identifier=identifier)
    today = timezone.localdate()
    calibrations = list(instrument.calibrations.all())
    context = {
        "instrument": instrument,
        "calibrations": calibrations,
        "counting": next((one.pk for one in calibrations if one.calibrated_on <= today), None),
        "standing": standing(instrument.due, today),
        "keeps": rules.may_keep_instruments(person_of(request)),
    }
    return render(request, "instruments/instrument.html", context)


@require_roles(*OFFICE)
def calibrate(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, identifier=identifier)
    form = CalibrationForm(sent(request))
    done = posted(
        request, form, lambda data: actions.add_calibration(by=person_of(request), instrument=instrument, **data)
    )
    if done:
        messages.success(request, f"The calibration counts for visits from {done.calibrated_on} on.")
        return redirect("instruments:instrument", instrument.identifier)
    return render(
        request, "instruments/calibrate.html", {"instrument": instrument, "form": form}, status=status_of(form)
    )


@require_roles(*OFFICE)
def take_out_of_use(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, identifier=identifier)
    form = OutOfUseForm(sent(request), initial={"edition": instrument.edition})
    done = posted(
        request,
        form,
        lambda data: actions.take_out_of_use(by=person_of(request), instrument=instrument, **data),
        lambda: instrument.edition,
    )
    if done:
        messages.success(request, f"{instrument.identifier} is out of use.")
        return redirect("instruments:instrument", instrument.identifier)
    return render(
        request, "instruments/out_of_use.html", {"instrument": instrument, "form": form}, status=status_of(form)
    )
