"""Personal data: what the office keeps and why, all it keeps of one person as a file, and the removal of a name."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.db import models
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from boats.models import Ownership
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.complaints import queries as complaints
from office.people import rules
from office.people.access import person_of, require_roles
from office.people.actions import personal
from office.people.forms import ReasonForm
from office.people.models import Person, Role
from surveys.models import Instrument, Visit, VisitState

UNFINISHED = (
    VisitState.PLANNED, VisitState.DRAFT, VisitState.SIGNED, VisitState.UNDER_REVIEW, VisitState.RETURNED
)  # fmt: skip
# What is no data about a person: secrets, and contents that a row names by its hash.
LEFT_OUT = frozenset({"password", "token_sha256", "content", "snapshot", "pdf", "session_data"})
# Who complained is told to nobody else, by key neither (ISO/IEC 17025:2017 4.2.3, from memory). An owner who sends a
# complaint records it too. Whoever it is finds it under these very columns, which name the list of rows.
OF_OTHERS = frozenset({
    "complaint.complainant", "complaint.recorded_by", "complaint.complainant_name", "complaint.complainant_contact",
})  # fmt: skip


@require_safe
def notice(request: HttpRequest) -> HttpResponse:
    """What is kept of people, why and for how long."""
    return render(request, "desk/personal.html", {})


@require_safe
def take_away(request: HttpRequest, key: str) -> HttpResponse:
    """All that is kept of one person, as a file: for themselves, and for an administrator who is asked for it."""
    reader = person_of(request)
    person = get_object_or_404(Person, key=key)
    if reader != person and not rules.may_manage(reader):
        raise NotAllowed("Only the person, and an administrator, take away what is kept of a person.")
    text = json.dumps(document_of(person), ensure_ascii=False, indent=1, default=str)
    answer = HttpResponse(text, content_type="application/json; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="kept-of-{person.key}.json"'
    return answer


@require_roles(Role.ADMINISTRATOR)
def remove(request: HttpRequest, key: str) -> HttpResponse:
    """The name's removal, after its reasons not to have been said."""
    person = get_object_or_404(Person, key=key)
    form = ReasonForm(request.POST or None)
    if form.is_valid():
        try:
            check_nothing_needs(person)
            personal.remove_name(by=person_of(request), person=person, reason=form.cleaned_data["reason"])
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The name is removed. The trail and every signature stand as they were.")
            return redirect("people:person", person.key)
    context = {"form": form, "person": person, "heading": "Remove the name", "submit": "Remove the name", "what": WHAT}
    return render(request, "people/step.html", context, status=422 if form.errors else 200)


WHAT = (
    "Name, e-mail address and password of this person are removed for good. What they did stays in the trail under "
    "their key; issued certificates keep what is printed on them."
)


def check_nothing_needs(person: Person) -> None:
    """Raises WrongState while the office still works with this person."""
    if visit := Visit.objects.filter(measurer=person, state__in=UNFINISHED).select_related("boat").first():
        raise WrongState(f"{person.name} is the measurer of an unfinished {visit}; give it to somebody else first.")
    if owned := Ownership.objects.filter(person=person, until=None).select_related("boat").first():
        raise WrongState(f"{person.name} owns {owned.boat} today; end the ownership first.")
    if kept := Instrument.objects.filter(keeper=person, out_of_use_since=None).first():
        raise WrongState(f"{person.name} keeps {kept}; give it to somebody else first.")
    part = models.Q(complainant=person) | models.Q(investigator=person) | models.Q(concerned=person)
    if running := complaints.open_ones().filter(part).first():
        raise WrongState(f"{person.name} has to do with an open {running}; close it first.")


def document_of(person: Person) -> dict[str, Any]:
    """Every row that names the person, table by table, and the trail's rows by and about them."""
    rows = {name: list(found) for name, found in _rows_about(person) if found}
    about = Entry.objects.filter(models.Q(actor=person.key) | models.Q(subject=person.key)).order_by("number")
    return {
        "made_at": timezone.now().isoformat(timespec="seconds"),
        "person": _plain(person),
        "roles": [f"{one.role}, given {one.given_at:%Y-%m-%d}" for one in person.role_holdings.all()],
        "rows": rows,
        "trail": [{"number": one.number, "at": one.at, "verb": one.verb, "of": one.subject_kind} for one in about],
    }


def _rows_about(person: Person) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """Asked of the tables themselves, so that one added later is not forgotten."""
    for relation in Person._meta.get_fields(include_hidden=True):
        if not isinstance(relation, (models.ManyToOneRel, models.OneToOneRel)) or relation.field.model is Person:
            continue
        field, model = relation.field, relation.related_model
        found = model._base_manager.filter(**{field.name: person}).order_by("pk")
        yield f"{model._meta.verbose_name}, {field.verbose_name}", [_plain(one) for one in found]


def _plain(row: models.Model) -> dict[str, Any]:
    fields = [field for field in row._meta.concrete_fields if not field.primary_key and not _is_left_out(field)]
    return {field.name: _value(row, field) for field in fields}


def _is_left_out(field: models.Field[Any, Any]) -> bool:
    of_others = f"{field.model._meta.model_name}.{field.name}" in OF_OTHERS
    return of_others or field.name in LEFT_OUT or isinstance(field, models.BinaryField)


def _value(row: models.Model, field: models.Field[Any, Any]) -> Any:
    """Other people by their key alone: what is kept of them is theirs."""
    if not field.is_relation:
        return getattr(row, field.attname)
    other = getattr(row, field.name)
    return getattr(other, "key", None) if isinstance(other, Person) else str(other) if other is not None else None
