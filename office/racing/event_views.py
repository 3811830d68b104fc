"""Pages of events: the list, one event with its entries, making and changing it, its committee."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from boats.views.common import posted, status_of
from office.audit.refusals import Stale
from office.people.access import person_of, require_roles
from office.people.models import Person
from office.racing import actions, event_pages, queries, results, rules, statements
from office.racing.changes import changes
from office.racing.event_forms import EventForm, MemberForm
from office.racing.models import Event
from office.racing.rules import MAKERS

MOST_CHANGES = 100


def event_for(request: HttpRequest, key: str) -> Event:
    """The event, for someone of its committee or the office."""
    event = get_object_or_404(Event.objects.select_related("made_by"), key=key)
    rules.check_may_run(person_of(request), event)
    return event


@require_roles(*MAKERS)
def show_all(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    events = list(queries.listed(person_of(request)))
    context = {
        "now": [one for one in events if one.first_day <= today <= one.last_day],
        "coming": [one for one in reversed(events) if one.first_day > today],
        "past": [one for one in events if one.last_day < today],
    }
    return render(request, "racing/events/list.html", context)


@require_roles(*MAKERS)
def make(request: HttpRequest) -> HttpResponse:
    form = EventForm(request.POST if request.method == "POST" else None)
    made = posted(request, form, lambda data: actions.make_event(by=person_of(request), **_fields(data)))
    if made is not None:
        return redirect("events:upload", made.key)
    return render(request, "racing/events/form.html", {"form": form}, status=status_of(form))


def change(request: HttpRequest, key: str) -> HttpResponse:
    event = event_for(request, key)
    form = EventForm(request.POST if request.method == "POST" else None, event=event)
    changed = posted(
        request, form,
        lambda data: actions.change_event(
            by=person_of(request), event=event, edition=data["edition"] or event.edition, **_fields(data)
        ),
    )  # fmt: skip
    if changed is not None:
        messages.success(request, "The event is changed; entries and deadlines follow its days.")
        return redirect("events:event", key)
    return render(request, "racing/events/form.html", {"form": form, "event": event}, status=status_of(form))


def _fields(data: dict[str, Any]) -> dict[str, Any]:
    return {name: data[name] for name in actions.FIELDS}


def show(request: HttpRequest, key: str) -> HttpResponse:
    """The event and its list as of now; statements whose certificate is there by now are settled on the way."""
    event = event_for(request, key)
    entry_list = queries.standing_list(event)
    context: dict[str, Any] = {"event": event, "deadline": statements.deadline_of(event), "today": timezone.localdate()}
    made: list[str] = []
    if entry_list is not None:
        file, found = queries.look(event, entry_list)
        for one in statements.settle_by_certificates(event, found):
            messages.success(
                request, f"{one.written}: certificate {one.certificate} is there, the statement is settled."
            )
        entries, made = _entries(request, event, found)
        context |= entries | {"entry_list": entry_list, "extra": file.extra}
        former = queries.last_check(event)
        if former is not None:
            changed = changes(results.loads(former.results), found)
            context |= {"former": former, "changed": changed[:MOST_CHANGES], "changes": len(changed)}
    context["spot_checks"] = event.spot_checks.count()
    context["open_statements"] = statements.open_statements(event).count()
    return HttpResponse(event_pages.page(request, "racing/events/event.html", context, made))


def _entries(request: HttpRequest, event: Event, found: list[results.Result]) -> tuple[dict[str, Any], list[str]]:
    """What the template says of the entries, and their rows."""
    counts = results.count(found)
    wanted = request.GET.get("status", "")
    shown = [one for one in found if one.status == wanted] if wanted in counts else found
    address = reverse("events:entry", kwargs={"key": event.key, "row": 0})
    said = {
        "counts": counts,
        "size": len(found),
        "wanted": wanted if wanted in counts else "",
        "shown": len(shown),
    }
    return said, event_pages.rows(shown, address)


def check(request: HttpRequest, key: str, number: int) -> HttpResponse:
    """A stored check as it was, and what had changed since the one before it."""
    event = event_for(request, key)
    stored = get_object_or_404(event.checks.select_related("checked_by", "entry_list"), number=number)
    found = results.loads(stored.results)
    former = queries.last_check(event, before=number)
    changed = changes(results.loads(former.results), found) if former else []
    entries, made = _entries(request, event, found)
    context = {
        "event": event, "check": stored, "former": former, "changed": changed[:MOST_CHANGES], "changes": len(changed),
        "checks": event.checks.select_related("checked_by", "entry_list").defer("results", "entry_list__content"),
        **entries,
    }  # fmt: skip
    return HttpResponse(event_pages.page(request, "racing/events/check.html", context, made))


def people(request: HttpRequest, key: str) -> HttpResponse:
    event = event_for(request, key)
    form = MemberForm(request.POST if request.method == "POST" else None)
    added = posted(request, form, lambda data: actions.add_member(by=person_of(request), event=event, **data))
    if added is not None:
        messages.success(request, f"{added.person.name} is on the committee.")
        return redirect("events:people", key)
    members = event.members.filter(ended_at=None).select_related("person")
    context = {"event": event, "form": form, "members": members}
    return render(request, "racing/events/people.html", context, status=status_of(form))


@require_POST
def end_member(request: HttpRequest, key: str, person_key: str) -> HttpResponse:
    event = event_for(request, key)
    person = get_object_or_404(Person, key=person_key)
    actions.end_member(by=person_of(request), event=event, person=person)
    messages.success(request, f"{person.name} is no longer on the committee.")
    return redirect("events:people", key) if rules.may_run(person_of(request), event) else redirect("events:list")


def check_entry(shown: str, written: str) -> None:
    """Raises Stale where the page was made from another list."""
    if shown != written:
        raise Stale("The entry list has been replaced meanwhile: look at the entry again.")
