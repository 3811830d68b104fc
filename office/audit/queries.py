"""Reading the trail: what fits a filter, a page at a time, without ever counting or skipping rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db import connection, models
from django.utils import timezone

from office.audit.models import Entry
from office.audit.trail import instant

EARLIEST = dt.date(1900, 1, 1)  # long before any row


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """What is asked of the trail; empty means anything. Days are the office's own, both included."""

    boat: str = ""
    visit: str = ""
    certificate: str = ""
    person: str = ""  # who acted, or whom it is about
    verb: str = ""
    label: str = ""  # how the subject's name begins
    since: dt.date | None = None
    until: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """Some rows, newest first, and the numbers from which the neighbouring pages go on (None: there is none)."""

    entries: list[Entry]
    newer: int | None
    older: int | None


def entries(wanted: Filter, among: models.QuerySet[Entry] | None = None) -> models.QuerySet[Entry]:
    """The rows that fit, newest first, out of those in `among`."""
    found = Entry.objects.all() if among is None else among
    for name in ("boat", "visit", "certificate", "verb"):
        if value := getattr(wanted, name):
            found = found.filter(**{name: value})
    if wanted.person:
        found = found.filter(models.Q(actor=wanted.person) | models.Q(subject=wanted.person))
    if wanted.label:
        found = found.filter(subject_label__istartswith=wanted.label)
    if wanted.since:
        found = found.filter(at__gte=_beginning_of(wanted.since))
    if wanted.until and wanted.until < dt.date.max:
        found = found.filter(at__lt=_beginning_of(wanted.until + dt.timedelta(days=1)))
    return found.order_by("-number")


def page(found: models.QuerySet[Entry], size: int, *, before: int | None = None, after: int | None = None) -> Page:
    """The `size` rows next below number `before`, or next above `after`, or the newest ones: one query."""
    if after is not None:
        rows = list(found.filter(number__gt=after).order_by("number")[: size + 1])
        more, rows = len(rows) > size, rows[:size][::-1]
        return Page(rows, rows[0].number if more else None, rows[-1].number if rows else None)
    rows = list((found.filter(number__lt=before) if before is not None else found)[: size + 1])
    more, rows = len(rows) > size, rows[:size]
    return Page(rows, rows[0].number if rows and before is not None else None, rows[-1].number if more else None)


def verbs() -> list[str]:
    """Every verb that the trail knows: one step through the index for each, however long the trail."""
    with connection.cursor() as cursor:
        cursor.execute(
            "WITH RECURSIVE known (verb) AS (SELECT min(verb) FROM audit_entry UNION ALL "
            "SELECT (SELECT min(verb) FROM audit_entry WHERE verb > known.verb) FROM known WHERE verb IS NOT NULL) "
            "SELECT verb FROM known WHERE verb IS NOT NULL"
        )
        return [verb for (verb,) in cursor.fetchall()]


def _beginning_of(day: dt.date) -> str:
    """Years before 1000 would lack a digit in the text, and the first day of all has no beginning east of Greenwich."""
    return instant(timezone.make_aware(dt.datetime.combine(max(day, EARLIEST), dt.time.min)))
