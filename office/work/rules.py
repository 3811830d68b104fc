"""Who may look at a piece of long work."""

from __future__ import annotations

from office.audit.refusals import NotAllowed
from office.people.models import Person, Role
from office.work.kinds import KINDS
from office.work.models import Work


def may_see(person: Person, work: Work) -> bool:
    return work.asked_by_id == person.pk or person.holds(Role.ADMINISTRATOR)


def check_may_see(person: Person, work: Work) -> None:
    """Raises NotAllowed."""
    if not may_see(person, work):
        raise NotAllowed("Only who asked for this work, and an administrator, looks at how far it is.")


def check_may_have_file(person: Person, work: Work) -> None:
    """What came of it is for them as long as they may see what it is about. Raises NotAllowed."""
    check_may_see(person, work)
    still = KINDS[work.kind].still if work.kind in KINDS else None
    if still is not None and not still(person, work.arguments):
        raise NotAllowed("What this file is about is not yours to see any more.")
