"""The steps of a complaint: which are open to whom, and the page of each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from office.complaints import actions, forms, rules
from office.complaints.models import Complaint, Kind
from office.people.access import OFFICE, person_of, require_roles
from office.people.models import Person
from surveys.views.common import posted, sent, status_of


@dataclass(frozen=True, slots=True)
class Step:
    """One verb: its form, its action, and its words. `for_office`: what it says of the office's own finding."""

    verb: str
    form: type[forms.StepForm]
    do: Callable[..., object]
    label: str
    what: str
    done: str
    for_office: str = ""


STEPS = {
    "acknowledge": Step(
        "acknowledge", forms.AcknowledgeForm, actions.acknowledge, "Acknowledge",
        "Who complained is told that it has been received. A person the office knows gets a letter; anybody else you "
        "tell yourself first.",
        "It is acknowledged.",
    ),
    "assign": Step(
        "assign", forms.AssignForm, actions.assign, "Give it to somebody",
        "Somebody of the office who had no part in the work in question, and has no interest in the boat.",
        "It is being looked into.",
    ),
    "about": Step(
        "name_subject", forms.SubjectStepForm, actions.name_subject, "Say what it is about",
        "As far as it is known now; who measured, reviewed or issued what is named here does not judge it.",
        "It is noted what it is about.",
    ),
    "note": Step(
        "note", forms.NoteForm, actions.note, "Add a note",
        "It stays as it is written. The complainant does not see it.",
        "The note is added.",
        for_office="It stays as it is written.",
    ),
    "decide": Step(
        "decide", forms.DecideForm, actions.decide, "Decide",
        "The complainant reads this once it is closed.",
        "It is decided. Now whoever is to know is told, and it is closed.",
        for_office="What was found, whether the work can stand, and what is done.",
    ),
    "close": Step(
        "close", forms.CloseForm, actions.close, "Close",
        "A person the office knows gets what was decided as a letter; anybody else you tell yourself first.",
        "It is closed.",
        for_office="Whoever the work touches is told, where that is needed.",
    ),
    "again": Step(
        "take_up_again", forms.ReasonForm, actions.take_up_again, "Take it up again",
        "Something new has come up. What was decided stays readable.",
        "It is being looked into again.",
    ),
    "consequence": Step(
        "note_consequence", forms.ConsequenceForm, actions.note_consequence, "Note what came of it",
        "Suspend, withdraw, replace or amend the certificate on its own page first.",
        "It is noted.",
    ),
    "remove-name": Step(
        "remove_complainant", forms.ReasonForm, actions.remove_complainant, "Remove the complainant's name",
        "Name and contact go for good. What was said and decided stays.",
        "The name is removed.",
    ),
}  # fmt: skip
WITHOUT_EDITION = {"note", "consequence", "remove-name"}


@dataclass(frozen=True, slots=True)
class OpenStep:
    label: str
    url: str
    first: bool


def open_steps(complaint: Complaint, person: Person) -> list[OpenStep]:
    """What this person may do with it now; the usual next step is marked."""
    found: list[OpenStep] = []
    for name, step in STEPS.items():
        allowed = rules.holds(rules.check_role, person, step.verb) and rules.holds(
            rules.check_state, complaint, step.verb
        )
        if name == "decide":
            allowed = allowed and rules.holds(rules.check_may_decide, person, complaint)
        if name == "remove-name":
            allowed = allowed and bool(complaint.complainant_name or complaint.complainant_contact)
        if allowed:
            url = reverse(f"complaints:{name.replace('-', '_')}", args=[complaint.key])
            begins = not complaint.investigator_id and name in {"acknowledge", "assign"}
            found.append(OpenStep(_label(name, complaint), url, not found and begins))
    return sorted((_marked(one, found) for one in found), key=lambda one: not one.first)


def _label(name: str, complaint: Complaint) -> str:
    return "Give it to somebody else" if name == "assign" and complaint.investigator_id else STEPS[name].label


def _marked(one: OpenStep, found: list[OpenStep]) -> OpenStep:
    leading = next((each for each in found if each.label in {"Decide", "Close"}), None)
    return OpenStep(one.label, one.url, one == leading if leading else one.first)


@require_roles(*OFFICE)
def show(request: HttpRequest, key: str, name: str) -> HttpResponse:
    """One step's page: what it does, its form; done, back to the complaint."""
    step, by = STEPS[name], person_of(request)
    rows = Complaint.objects.select_related("boat", "visit", "certificate", "instrument", "concerned", "investigator")
    complaint = get_object_or_404(rows, key=key)
    rules.check_role(by, step.verb)
    if name == "decide":
        rules.check_state(complaint, step.verb)
        rules.check_may_decide(by, complaint)
    given = {"certificate": request.GET.get("certificate", "")[:20]} if name == "consequence" else None
    form = step.form(sent(request), complaint=complaint, **({"initial": given} if given else {}))

    def act(data: dict[str, Any]) -> object:
        about = data.pop("about", {})
        if name in WITHOUT_EDITION:
            data.pop("edition", None)
        return step.do(by=by, complaint=complaint, **data, **about)

    if posted(request, form, act, lambda: Complaint.objects.get(pk=complaint.pk).edition):
        messages.success(request, step.done)
        return redirect("complaints:complaint", complaint.key)
    own = complaint.kind == Kind.NONCONFORMING
    context = {
        "complaint": complaint,
        "form": form,
        "heading": _label(name, complaint),
        "what": step.for_office if own and step.for_office else step.what,
        "why_not": rules.why_not(rules.check_state, complaint, step.verb),
        "kept_out": _kept_out(form, complaint) if name == "assign" else [],
    }
    return render(request, "complaints/step.html", context, status=status_of(form))


def _kept_out(form: forms.StepForm, complaint: Complaint) -> list[str]:
    """Sentences for those of the office who may not look into it."""
    field = form.fields["investigator"]
    people = list(getattr(field, "queryset", []))
    return [why for one in people if (why := rules.why_not(rules.check_may_look_into, one, complaint))]
