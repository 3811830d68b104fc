"""The office's kit: list, one piece, its calibrations."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from office import spreadsheets
from office.people.access import OFFICE, is_office, require_roles
from office.people.models import Person, Role
from surveys import actions, rules
from surveys.forms.instruments import (
    CalibrationForm,
    InstrumentFilter,
    InstrumentForm,
    MaintenanceForm,
    OutOfUseForm,
)
from surveys.models import Instrument
from surveys.paper import label
from surveys.queries import listed_instruments
from surveys.views.common import person_of, posted, sent, status_of
from surveys.views.paper import answer

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
SOON = dt.timedelta(days=60)
SORTS = {"identifier": ("identifier",), "kind": ("kind", "identifier"), "due": ("due", "identifier")}
HEADER = (
    "instrument", "kind", "maker", "serial_number", "accuracy_class", "limit_of_error", "nominal_length_mm",
    "calibrated_on", "due_on", "standing", "kept_by", "out_of_use_since",
)  # fmt: skip
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
        elif data["due"] == "none":
            rows = rows.filter(due__isnull=True)
        if data["within"] is not None:  # what is overdue is due as well
            rows = rows.filter(due__lte=today + dt.timedelta(days=data["within"]))
        if data["q"]:
            rows = rows.filter(_called(data["q"]))
    sort = request.GET.get("sort", "identifier")
    keys = SORTS.get(sort.removeprefix("-"), SORTS["identifier"])
    return rows.order_by(*(f"-{key}" if sort.startswith("-") else key for key in keys)), sort


def _called(text: str) -> Q:
    """The office's kit is a few hundred pieces at most."""
    columns = ("identifier", "serial_number", "maker", "keeper__name")
    return reduce(or_, [Q(**{f"{column}__istartswith": text}) for column in columns])


@dataclass(frozen=True, slots=True)
class Letter:
    """What is written to a keeper whose pieces are due: an address that opens the viewer's own mail program."""

    keeper: Person
    pieces: int
    address: str


def _letters(listed: list[tuple[Any, str]]) -> list[Letter]:
    """One letter to each keeper of what is listed and due or overdue."""
    due: dict[Person, list[Any]] = {}
    for one, stands in listed:
        if one.keeper is not None and one.keeper.is_active and stands in {"overdue", "due_soon"}:
            due.setdefault(one.keeper, []).append(one)
    return [Letter(keeper, len(pieces), _mailto(keeper, pieces)) for keeper, pieces in due.items()]


def _mailto(keeper: Person, pieces: list[Any]) -> str:
    lines = [f"{one.identifier}, {one.kind.replace('_', ' ')}: due {one.due.isoformat()}" for one in pieces]
    body = "\r\n".join(["These pieces in your keeping are due for calibration:", "", *lines, ""])
    return f"mailto:{quote(keeper.email, safe='@')}?" + urlencode(
        {"subject": "Calibration due", "body": body}, quote_via=quote
    )


@require_roles(*READERS)
def export(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    rows, _ = _filtered(request, InstrumentFilter(request.GET))
    today = timezone.localdate()
    table = (
        (
            one.identifier, one.kind.replace("_", " "), one.maker, one.serial_number, one.accuracy_class,
            one.limit_of_error, one.nominal_length_mm, one.calibrated, one.due,
            standing(one.due, today).replace("_", " "), one.keeper.name if one.keeper else "", one.out_of_use_since,
        )
        for one in rows.iterator(chunk_size=1000)
    )  # fmt: skip
    return spreadsheets.answer(kind, "instruments", HEADER, table)


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
        "letters": _letters(listed) if is_office(request.user) else [],
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
        "maintenance": list(instrument.maintenance.select_related("recorded_by")),
        "keeps": rules.may_keep_instruments(person_of(request)),
    }
    return render(request, "instruments/instrument.html", context)


@require_roles(*READERS)
def print_label(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(listed_instruments(), identifier=identifier)
    return answer(label.of(instrument), f"{instrument.identifier}-label.pdf")


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
def maintain(request: HttpRequest, identifier: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, identifier=identifier)
    form = MaintenanceForm(sent(request))
    done = posted(
        request, form, lambda data: actions.record_maintenance(by=person_of(request), instrument=instrument, **data)
    )
    if done:
        messages.success(request, "It stands in the log of maintenance.")
        return redirect("instruments:instrument", instrument.identifier)
    return render(
        request, "instruments/maintain.html", {"instrument": instrument, "form": form}, status=status_of(form)
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
