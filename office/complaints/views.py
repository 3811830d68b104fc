"""The office's register of complaints and non-conforming work: the list, one matter, receiving one."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from office import spreadsheets
from office.audit.models import Entry
from office.certificates.standing import standing
from office.certificates.verification.findings import parsed
from office.complaints import actions, queries, rules
from office.complaints.forms import ListFilter, ReceiveForm
from office.complaints.models import Complaint, State
from office.complaints.steps import open_steps
from office.people.access import OFFICE, person_of, require_roles
from office.people.queries import names_by_key
from surveys.views.common import posted, sent, status_of

if TYPE_CHECKING:
    from django.db.models import QuerySet

ROWS = 50
HEADER = (
    "kind", "received", "state", "days_open", "boat", "certificate", "instrument", "acknowledged", "outcome", "told",
)  # fmt: skip
WORDS = {
    "receive_complaint": "received it",
    "name_complaint_subject": "said what it is about",
    "acknowledge_complaint": "acknowledged it",
    "assign_complaint": "gave it to {investigator} to look into",
    "note_on_complaint": "added a note",
    "decide_complaint": "decided it",
    "close_complaint": "closed it",
    "take_up_again_complaint": "took it up again",
    "note_complaint_consequence": "noted that {certificate} was {became}",
    "remove_complainant": "removed the complainant's name",
}


def _listed(request: HttpRequest) -> tuple[ListFilter, QuerySet[Complaint], str]:
    form, sort = ListFilter(request.GET), request.GET.get("sort", "-received")
    if not form.is_valid():
        return form, Complaint.objects.none(), sort
    data = form.cleaned_data
    return form, queries.listed(state=data["state"], kind=data["kind"], text=data["q"], sort=sort), sort


@require_roles(*OFFICE)
def show_all(request: HttpRequest) -> HttpResponse:
    form, found, sort = _listed(request)
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    rows = [(one, queries.age_in_days(one)) for one in page.object_list]
    context = {"form": form, "page": page, "rows": rows, "sort": sort}
    return render(request, "complaints/list.html", context)


@require_roles(*OFFICE)
def export(request: HttpRequest, kind: str) -> HttpResponse:
    """Without the words and without who complained: those stay in the register."""
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    found = _listed(request)[1].prefetch_related("decisions")
    rows = (
        (
            one.get_kind_display(), one.received_on, one.get_state_display(),
            None if one.state == State.CLOSED else queries.age_in_days(one), one.boat.name if one.boat else "",
            one.certificate.number if one.certificate else "", one.instrument.identifier if one.instrument else "",
            one.acknowledged_on, _outcome(one), one.told_on,
        )
        for one in found
    )  # fmt: skip
    return spreadsheets.answer(kind, "complaints", HEADER, rows)


def _outcome(one: Complaint) -> str:
    decisions = list(one.decisions.all())
    return decisions[-1].get_outcome_display() if decisions else ""


@require_roles(*OFFICE)
def receive(request: HttpRequest) -> HttpResponse:
    given = {name: request.GET.get(name, "")[:40] for name in ("boat", "certificate", "instrument")}
    form = ReceiveForm(sent(request), initial=given)
    made = posted(request, form, lambda data: _received(request, data))
    if made is not None:
        messages.success(request, "It is in the register.")
        return redirect("complaints:complaint", made.key)
    return render(request, "complaints/receive.html", {"form": form}, status=status_of(form))


def _received(request: HttpRequest, data: dict[str, Any]) -> Complaint:
    about = data.pop("about")
    return actions.receive(by=person_of(request), **data, **about)


def complaint_of(key: str) -> Complaint:
    rows = Complaint.objects.select_related(
        "boat", "visit", "certificate", "instrument", "complainant", "concerned", "investigator", "recorded_by"
    )
    return get_object_or_404(rows, key=key)


@require_roles(*OFFICE)
def show(request: HttpRequest, key: str) -> HttpResponse:
    """One matter: what was said, what it is about, what was found, its steps, and what can be done next."""
    one, today = complaint_of(key), timezone.localdate()
    context = {
        "complaint": one,
        "age": queries.age_in_days(one),
        "steps": open_steps(one, person_of(request)),
        "why_not_decide": _why_not_decide(one),
        "notes": one.notes.select_related("noted_by"),
        "decisions": one.decisions.select_related("decided_by"),
        "consequences": one.consequences.select_related("certificate", "noted_by"),
        "in_question": [(each, standing(each, today)) for each in rules.certificates_in_question(one)],
        "course": course(one),
    }
    return render(request, "complaints/complaint.html", context)


def _why_not_decide(one: Complaint) -> str:
    """Why the one who looks into it cannot decide it any more: a part in it that was named since."""
    if one.state != State.LOOKED_INTO or one.investigator is None:
        return ""
    return rules.why_not(rules.check_may_look_into, one.investigator, one)


def course(one: Complaint) -> list[dict[str, Any]]:
    """Its rows of the trail in words."""
    entries = list(Entry.objects.filter(subject_kind="complaint", subject=one.key).order_by("number"))
    told = [parsed(entry.after) for entry in entries]
    names = names_by_key([*(entry.actor for entry in entries), *(str(row.get("investigator", "")) for row in told)])
    rows = []
    for entry, after in zip(entries, told, strict=True):
        investigator = names.get(str(after.get("investigator", "")), "somebody")
        known = {"certificate": after.get("certificate", ""), "became": after.get("became", "")}
        words = WORDS.get(entry.verb, entry.verb).format(investigator=investigator, **known)
        if entry.verb == "receive_complaint" and one.complainant_id == one.recorded_by_id:
            words = "sent it"
        at = dt.datetime.fromisoformat(entry.at)
        rows.append({"entry": entry, "at": at, "who": names.get(entry.actor, ""), "words": words})
    return rows
