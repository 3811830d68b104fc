"""The report of a check on paper: what the committee has to look at first, then the whole list. Black and white."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils import timezone

from office import marks, papers
from office.racing import queries, results, statements
from office.racing.deadlines import FOLLOWS
from office.racing.models import Check, Event
from office.racing.results import Result


@dataclass(frozen=True, slots=True)
class Report:
    """`check`: the number of the stored check; None for the list as of `at`."""

    event: Event
    first_day: dt.date
    last_day: dt.date
    at: dt.datetime
    check: int | None
    found: tuple[Result, ...]


def of(event: Event, check: Check | None) -> tuple[Report, tuple[str, ...]] | None:
    """The report of a stored check, or of the list as of now, with the list's own columns; None without a list."""
    if check is not None:
        found, extra = results.loads(check.results), queries.entries_of(check.entry_list).extra
        return Report(event, check.first_day, check.last_day, check.checked_at, check.number, tuple(found)), extra
    entry_list = queries.standing_list(event)
    if entry_list is None:
        return None
    file, found = queries.look(event, entry_list)
    return Report(event, event.first_day, event.last_day, timezone.now(), None, tuple(found)), file.extra


def name_of(event: Event) -> str:
    return f"entries-{event.first_day.isoformat()}"


def html_of(report: Report, size: str) -> str:
    """KeyError where the size is not one of `papers.SIZES`."""
    context = {
        "report": report,
        "event": report.event,
        "page_size": papers.SIZES[size],
        "counts": [
            (marks.STATES[status].word, number) for status, number in results.count(report.found).items() if number
        ],
        "first": [(marks.STATES[one.status].word, one) for one in report.found if one.status != "in_force"],
        "in_force": [one for one in report.found if one.status == "in_force"],
        "open": statements.open_statements(report.event),
        "deadline": statements.deadline_of(report.event),
        "follows": FOLLOWS,
    }
    return render_to_string("racing/events/report.html", context)


def pdf(report: Report, size: str) -> bytes:
    html = html_of(report, size)
    return papers.write_pdf(html, identifier=hashlib.sha256(html.encode()).digest()[:16])
