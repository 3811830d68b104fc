"""Long work about all visits together."""

from __future__ import annotations

from django.urls import reverse

from office.people.access import OFFICE
from office.work.kinds import kind
from office.work.progress import Progress
from surveys.fleet import solve_fleet


@kind("fleet", "Tapes and measurers of the whole fleet", *OFFICE)
def fleet(progress: Progress) -> None:
    """Stores nothing but its sentences; may be done again at any time."""
    findings = solve_fleet(progress.step).findings
    progress.leads_to(reverse("desk:fleet"))
    if not findings.tapes:
        progress.say("No length has been read in more than one accepted visit yet: nothing can be said.")
    for tape in findings.tapes:
        progress.say(tape.sentence)
    beyond = sum(1 for one in findings.biases if one.beyond_noise)
    progress.say(f"{beyond} biases of measurers stand out of the noise; {len(findings.changes)} changes of rigs.")
