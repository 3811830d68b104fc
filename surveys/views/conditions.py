"""The day's conditions, the interest declared, the masts' preparation."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from office.people.models import Person
from surveys import actions, rules
from surveys.forms.visits import ConditionsForm
from surveys.models import Visit
from surveys.views.common import person_of, posted, sent, status_of, visit_for


@transaction.atomic
def _store(by: Person, visit: Visit, form: ConditionsForm, data: dict[str, Any]) -> Visit:
    actions.set_conditions(by=by, visit=visit, edition=data["edition"], **form.conditions())
    return actions.answer_preparation(by=by, visit=visit, answers=form.answers())


def show(request: HttpRequest, key: str) -> HttpResponse:
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    form = ConditionsForm(sent(request), visit=visit)
    if posted(request, form, lambda data: _store(person, visit, form, data), lambda: visit.edition):
        messages.success(request, "The conditions are stored.")
        return redirect("surveys:readings", visit.key)
    context = {"visit": visit, "form": form, "why_not": rules.why_not(rules.check_state, visit, "write")}
    return render(request, "surveys/conditions.html", context, status=status_of(form))
