"""The trail's pages: the office reads all of it, an owner what concerns their own boats."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, cast

from django import forms
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone

from boats.models import Ownership
from boats.rules import on_day
from office import spreadsheets
from office.audit import queries, trail
from office.audit.models import Entry
from office.audit.refusals import WrongState
from office.desk import trail_rows
from office.people.access import OFFICE, check_holds, is_office, require_roles
from office.people.models import Person, Role, RoleHolding
from office.templatetags.figures import words

A_PAGE = 50
MOST_SHEET_ROWS = 1_000_000
CONCERNING = ("boat", "visit", "certificate", "person")
DAY = forms.DateInput(attrs={"type": "date"})
MOST_PEOPLE = 300  # to choose one from
NO_DAY = {"invalid": "This is no day; write it as in 2026-05-04."}


class TrailFilter(forms.Form):
    verb = forms.ChoiceField(label="What was done", required=False)
    label = forms.CharField(label="Subject begins with", max_length=100, required=False)
    since = forms.DateField(label="From", required=False, widget=DAY, error_messages=NO_DAY)
    until = forms.DateField(label="To", required=False, widget=DAY, error_messages=NO_DAY)
    person = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    boat = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    visit = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    certificate = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, reader: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        verbs = [("", "Anything"), *((verb, words(verb)) for verb in queries.verbs())]
        self.fields["verb"] = forms.ChoiceField(label="What was done", required=False, choices=verbs)
        if is_office(reader):
            people = [("", "Anybody"), *_to_choose_from(str(self.data.get("person", "")))]
            self.fields["person"] = forms.ChoiceField(label="Person", required=False, choices=people)

    def wanted(self) -> queries.Filter:
        return queries.Filter(**{name: value for name, value in self.cleaned_data.items() if value})

    def concerning(self) -> dict[str, str]:
        """Which one thing the page is about, as the address says."""
        return {name: self.cleaned_data[name] for name in CONCERNING if self.cleaned_data.get(name)}


def _to_choose_from(asked: str) -> list[tuple[str, str]]:
    """Everybody (key and name); of very many, those who are more than owners, and whom the address asks for."""
    people = Person.objects.order_by("name").values_list("key", "name")
    everybody = list(people[: MOST_PEOPLE + 1])
    if len(everybody) <= MOST_PEOPLE:
        return everybody
    staff = RoleHolding.objects.exclude(role=Role.OWNER).values("person")
    return list(people.filter(models.Q(pk__in=staff) | models.Q(key=asked))[:MOST_PEOPLE])


class Place(forms.Form):
    """Where in the rows a page begins. Apart from the filter, so that a changed filter begins with the newest rows."""

    before = forms.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    after = forms.IntegerField(min_value=0, max_value=2**63 - 1, required=False)


def show(request: HttpRequest) -> HttpResponse:
    form, found = _asked(request)
    if not form.is_valid():
        return render(request, "trail/list.html", {"form": form}, status=422)
    place = Place(request.GET)
    if not place.is_valid():
        raise Http404
    page = queries.page(found, A_PAGE, **place.cleaned_data)
    rows = trail_rows.readable(page.entries)
    context = {
        "form": form,
        "page": page,
        "rows": rows,
        "concerning": form.concerning(),
        "can_walk": is_office(request.user),
    }
    return render(request, "trail/list.html", context)


def export(request: HttpRequest, kind: str) -> HttpResponseBase:
    """The whole filter, not only the page."""
    if kind not in spreadsheets.KINDS:
        raise Http404
    form, found = _asked(request)
    if not form.is_valid():
        return render(request, "trail/list.html", {"form": form}, status=422)
    if kind == "csv":
        content = _csv(trail_rows.HEADER, trail_rows.exported(found))
        headers = {"Content-Disposition": 'attachment; filename="trail.csv"', "Cache-Control": "no-store"}
        return StreamingHttpResponse(content, content_type=spreadsheets.KINDS["csv"], headers=headers)
    if found.count() > MOST_SHEET_ROWS:
        raise WrongState("That is more than a spreadsheet holds: take the CSV, or fewer days.")
    return spreadsheets.answer(kind, "trail", trail_rows.HEADER, trail_rows.shortened(trail_rows.exported(found)))


@require_roles(*OFFICE)
def walk(request: HttpRequest) -> HttpResponse:
    """Asked to, walks the whole chain and says what does not fit."""
    number, hash_ = trail.head()
    context: dict[str, Any] = {"number": number, "hash": hash_}
    if request.method == "POST":
        context |= {"walked": True, "findings": trail.verify()}
    return render(request, "trail/walk.html", context)


def _asked(request: HttpRequest) -> tuple[TrailFilter, models.QuerySet[Entry]]:
    """The filter of the address, and the rows it lets through of those the reader may see."""
    check_holds(request.user, *OFFICE, Role.OWNER)
    reader = cast("Person", request.user)
    form = TrailFilter(request.GET, reader=reader)
    wanted = form.wanted() if form.is_valid() else queries.Filter()
    return form, queries.entries(wanted, among=_readable_by(reader))


def _readable_by(person: Person) -> models.QuerySet[Entry]:
    if is_office(person):
        return Entry.objects.all()
    # Not `boats_visible_to`: an owner who also measures sees every boat there, and still only their own here.
    own = Ownership.objects.filter(on_day(timezone.localdate()), person=person)
    return Entry.objects.filter(boat__in=own.values("boat__key"))


def _csv(header: Sequence[str], rows: Iterable[list[Any]]) -> Iterator[bytes]:
    """One piece for each row, as it comes out of the database."""

    class Echo:
        def write(self, text: str) -> bytes:
            return text.encode()

    writer = csv.writer(Echo())
    yield writer.writerow(header)
    for row in rows:
        yield writer.writerow([spreadsheets.safe(cell) for cell in row])
