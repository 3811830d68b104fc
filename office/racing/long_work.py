"""Long work about events."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from office.people.models import Person
from office.racing import report
from office.racing.models import Event
from office.racing.rules import check_may_run, may_run
from office.work.kinds import kind
from office.work.progress import Progress


def _still_runs_it(person: Person, arguments: dict[str, Any]) -> bool:
    event = Event.objects.filter(key=arguments["event"]).first()
    return event is not None and may_run(person, event)


@kind("event_report", "Report on an event's entries", still=_still_runs_it)
def event_report(progress: Progress, *, event: str, check: int | None, size: str) -> None:
    """The PDF, kept for who asked; made anew where a worker was killed over it."""
    meant = Event.objects.get(key=event)
    if progress.work.asked_by is not None:
        check_may_run(progress.work.asked_by, meant)
    found = report.of(meant, meant.checks.select_related("entry_list").get(number=check) if check else None)
    if found is None:
        progress.say("There is no entry list yet.")
        return
    sheet, _ = found
    progress.step(0, len(sheet.found))
    content = report.pdf(sheet, size)
    progress.keep(f"{report.name_of(meant)}.pdf", "application/pdf", content)
    progress.leads_to(reverse("work:file", args=[progress.work.key]))
    progress.step(len(sheet.found), len(sheet.found))
    progress.say(f"{len(sheet.found)} entries on {size}. It is kept for two weeks.")
