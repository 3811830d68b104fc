"""Pages of signed statements: those of an event with their deadline, and one settled by hand."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from boats.views.common import posted, status_of
from office.people.access import person_of
from office.racing import queries, rules, statements
from office.racing.deadlines import FOLLOWS
from office.racing.event_forms import SettleStatementForm
from office.racing.event_views import event_for


def show(request: HttpRequest, key: str) -> HttpResponse:
    event = event_for(request, key)
    entry_list = queries.standing_list(event)
    found = queries.look(event, entry_list)[1] if entry_list else []
    statements.settle_by_certificates(event, found)
    every = list(event.statements.select_related("recorded_by", "settled_by"))
    deadline, today = statements.deadline_of(event), timezone.localdate()
    context = {
        "event": event,
        "deadline": deadline,
        "passed": deadline.passed(today),
        "is_today": deadline.is_today(today),
        "follows": FOLLOWS,
        "open": statements.with_results([one for one in every if one.settled_at is None], found),
        "settled": [one for one in every if one.settled_at is not None],
        "entry_list": entry_list,
    }
    return render(request, "racing/events/statements.html", context)


def settle(request: HttpRequest, key: str, statement_key: str) -> HttpResponse:
    event = event_for(request, key)
    statement = get_object_or_404(event.statements, key=statement_key)
    form = SettleStatementForm(request.POST if request.method == "POST" else None)
    done = posted(
        request, form, lambda data: statements.settle_by_hand(by=person_of(request), statement=statement, **data)
    )
    if done is not None:
        messages.success(request, f"The statement for {done.written} is settled.")
        return redirect("events:statements", key)
    context = {"event": event, "statement": statement, "form": form, "why_not": rules.why_not_open(statement)}
    return render(request, "racing/events/settle_statement.html", context, status=status_of(form))
