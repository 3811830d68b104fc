"""What is asked of events."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from office.people.access import is_office
from office.people.models import Person, Role
from office.racing.checking import Key, check_entries
from office.racing.entry_file import Entry, EntryFile
from office.racing.models import Check, CommitteeMember, EntryList, Event, Settlement
from office.racing.results import Result

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser


def events_visible_to(person: Person | AnonymousUser) -> QuerySet[Event]:
    """The office: all. A race committee: its own. Anybody else: none."""
    if is_office(person):
        return Event.objects.all()
    if isinstance(person, Person) and person.holds(Role.RACE_COMMITTEE):
        own = CommitteeMember.objects.filter(event=OuterRef("pk"), person=person, ended_at=None)
        return Event.objects.filter(Exists(own))
    return Event.objects.none()


def listed(person: Person | AnonymousUser) -> QuerySet[Event]:
    open_ = Count("statements", filter=Q(statements__settled_at=None), distinct=True)
    return events_visible_to(person).annotate(open_statements=open_, list_versions=Count("lists", distinct=True))


def standing_list(event: Event) -> EntryList | None:
    """The version that stands."""
    return EntryList.objects.filter(event=event).select_related("taken_by").order_by("-number").first()


def entries_of(entry_list: EntryList) -> EntryFile:
    content = json.loads(entry_list.content)
    entries = (Entry(row, number, boat, tuple(extra)) for row, number, boat, extra in content["entries"])
    return EntryFile(tuple(content["extra"]), tuple(entries))


def settled(event: Event) -> dict[Key, int | None]:
    """What persons have decided: an entry's key to a boat's row, or None for a boat that is not registered."""
    found: dict[Key, int | None] = {}
    rows = Settlement.objects.filter(event=event).order_by("pk")
    for number, name, boat, taken_back in rows.values_list("number", "name", "boat_id", "taken_back"):
        if taken_back:
            found.pop((number, name), None)
        else:
            found[number, name] = boat
    return found


def look(event: Event, entry_list: EntryList) -> tuple[EntryFile, list[Result]]:
    """The list as it is, and how every entry stands over the event's days as of now."""
    file = entries_of(entry_list)
    return file, check_entries(file.entries, event.first_day, event.last_day, settled(event))


def last_check(event: Event, before: int | None = None) -> Check | None:
    """The last stored check, or the last before that number."""
    checks = Check.objects.filter(event=event).select_related("checked_by", "entry_list")
    return (checks if before is None else checks.filter(number__lt=before)).order_by("-number").first()
