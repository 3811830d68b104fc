"""What race committees do with events and entry lists: each one transaction with its row of the trail."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from typing import Any

from django.db import transaction
from django.utils import timezone

from boats.models import Boat
from office.audit import trail
from office.people.models import Person
from office.racing import queries, results, rules
from office.racing.checking import Key, key_of
from office.racing.deadlines import Edition
from office.racing.entry_file import EntryFile
from office.racing.models import Check, CommitteeMember, EntryList, Event, Settlement
from office.racing.results import Result

FIELDS = (
    "name", "place", "first_day", "last_day", "first_series_last_day", "rules_edition", "equipment_rules_by"
)  # fmt: skip


@transaction.atomic
def make_event(
    *,
    by: Person,
    name: str,
    first_day: dt.date,
    last_day: dt.date,
    rules_edition: str,
    place: str = "",
    first_series_last_day: dt.date | None = None,
    equipment_rules_by: str = "",
) -> Event:
    """The maker, where they are of a race committee, is on the event's."""
    rules.check_may_make(by)
    rules.check_days(first_day, last_day, first_series_last_day)
    event = Event.objects.create(
        name=name, place=place, first_day=first_day, last_day=last_day, first_series_last_day=first_series_last_day,
        rules_edition=Edition(rules_edition), equipment_rules_by=equipment_rules_by, made_by=by,
    )  # fmt: skip
    trail.record(by=by, verb="make_event", subject=event, after=_plain(event))
    CommitteeMember.objects.create(event=event, person=by)
    return event


@transaction.atomic
def change_event(*, by: Person, event: Event, edition: int, **fields: Any) -> Event:
    trail.hold()
    event = Event.objects.select_for_update().get(pk=event.pk)
    rules.check_may_run(by, event)
    rules.check_edition(event, edition)
    before = _plain(event)
    for name in FIELDS:
        if name in fields:
            setattr(event, name, fields[name])
    rules.check_days(event.first_day, event.last_day, event.first_series_last_day)
    after = _plain(event)
    changed = [name for name in FIELDS if before[name] != after[name]]
    if not changed:
        return event
    event.edition += 1
    event.save()
    trail.record(
        by=by, verb="change_event", subject=event,
        before={name: before[name] for name in changed}, after={name: after[name] for name in changed},
    )  # fmt: skip
    return event


def _plain(event: Event) -> dict[str, str]:
    """JSON-ready."""
    values = {name: getattr(event, name) for name in FIELDS}
    return {name: "" if value is None else str(value) for name, value in values.items()}


@transaction.atomic
def add_member(*, by: Person, event: Event, email: str) -> CommitteeMember:
    """Somebody of the race committees, by the address they sign in with; one who is there already stays once."""
    rules.check_may_run(by, event)
    trail.hold()
    found = Person.objects.filter(email__iexact=email.strip(), is_active=True).first()
    person = rules.check_can_be_member(found)
    member, new = CommitteeMember.objects.get_or_create(event=event, person=person, ended_at=None)
    if new:
        trail.record(by=by, verb="add_to_committee", subject=event, after={"person": person.key})
    return member


@transaction.atomic
def end_member(*, by: Person, event: Event, person: Person) -> None:
    rules.check_may_run(by, event)
    trail.hold()
    member = CommitteeMember.objects.filter(event=event, person=person, ended_at=None).first()
    if member is None:
        return
    rules.check_committee_remains(event, member)
    member.ended_at = timezone.now()
    member.save(update_fields=["ended_at"])
    trail.record(by=by, verb="end_on_committee", subject=event, before={"person": person.key})


@transaction.atomic
def take_entry_list(*, by: Person, event: Event, file: EntryFile, content: bytes, filename: str) -> Check:
    """The list becomes the version that stands, and is checked; the former ones are kept."""
    rules.check_may_run(by, event)
    trail.hold()
    former = queries.standing_list(event)
    entries = [[one.row, one.sail_number, one.boat, one.extra] for one in file.entries]
    stored = {"extra": file.extra, "entries": entries}
    entry_list = EntryList.objects.create(
        event=event,
        number=former.number + 1 if former else 1,
        taken_by=by,
        filename=filename,
        file_sha256=hashlib.sha256(content).hexdigest(),
        size=len(entries),
        content=json.dumps(stored, ensure_ascii=False, separators=(",", ":")),
    )
    trail.record(
        by=by,
        verb="take_entry_list",
        subject=event,
        before={"list": former.number, "entries": former.size} if former else None,
        after={"list": entry_list.number, "entries": entry_list.size, "file_sha256": entry_list.file_sha256},
    )
    return _check(by, event, entry_list)[0]


@transaction.atomic
def check_again(*, by: Person, event: Event) -> tuple[Check, list[Result]] | None:
    """The list that stands, checked as of now and kept; None where there is none."""
    rules.check_may_run(by, event)
    trail.hold()
    entry_list = queries.standing_list(event)
    return _check(by, event, entry_list) if entry_list else None


def _check(by: Person, event: Event, entry_list: EntryList) -> tuple[Check, list[Result]]:
    _, found = queries.look(event, entry_list)
    former = queries.last_check(event)
    check = Check.objects.create(
        event=event,
        number=former.number + 1 if former else 1,
        entry_list=entry_list,
        checked_by=by,
        first_day=event.first_day,
        last_day=event.last_day,
        counts=results.count(found),
        results=results.dumps(found),
    )
    counts = {status: number for status, number in check.counts.items() if number}
    trail.record(
        by=by, verb="check_entry_list", subject=event,
        after={"check": check.number, "list": entry_list.number, **counts},
    )  # fmt: skip
    return check, found


@transaction.atomic
def settle_entry(
    *, by: Person, event: Event, sail_number: str, name: str, boat: Boat | None, reason: str = ""
) -> Settlement:
    """Which boat an entry means, or that she is none of the register's; for every list of this event that says so."""
    rules.check_may_run(by, event)
    trail.hold()
    key = key_of(sail_number, name)
    before = _standing_settlement(event, key)
    made = _settle(by, event, key, written(sail_number, name), boat, reason=reason)
    trail.record(
        by=by,
        verb="settle_entry",
        subject=event,
        before={"boat": before.boat.key if before.boat else ""} if before and not before.taken_back else None,
        after={"entry": made.written, "boat": boat.key if boat else ""},
        reason=reason.strip(),
        boat=boat.key if boat else "",
    )
    return made


@transaction.atomic
def reopen_entry(*, by: Person, event: Event, sail_number: str, name: str) -> None:
    """A settlement is taken back; the entry is matched as if nobody had settled it."""
    rules.check_may_run(by, event)
    trail.hold()
    key = key_of(sail_number, name)
    before = _standing_settlement(event, key)
    if before is None or before.taken_back:
        return
    made = _settle(by, event, key, written(sail_number, name), before.boat, taken_back=True)
    was = before.boat.key if before.boat else ""
    trail.record(by=by, verb="reopen_entry", subject=event, before={"entry": made.written, "boat": was}, boat=was)


def _standing_settlement(event: Event, key: Key) -> Settlement | None:
    rows = Settlement.objects.filter(event=event, number=key[0], name=key[1]).select_related("boat")
    return rows.order_by("-pk").first()


def _settle(
    by: Person, event: Event, key: Key, entry: str, boat: Boat | None, *, reason: str = "", taken_back: bool = False
) -> Settlement:
    return Settlement.objects.create(
        event=event, number=key[0], name=key[1], written=entry, boat=boat, settled_by=by, reason=reason.strip(),
        taken_back=taken_back,
    )  # fmt: skip


def written(sail_number: str, name: str) -> str:
    """An entry in one line, as the list has it."""
    return ", ".join(text for text in (sail_number, name) if text)[:200]
