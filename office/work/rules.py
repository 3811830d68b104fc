"""Who may look at a piece of long work."""

from __future__ import annotations

from office.audit.refusals import NotAllowed
from office.people.models import Person, Role
from office.work.models import Work


def may_see(person: Person, work: Work) -> bool:
    return work.asked_by_id == person.pk or person.holds(Role.ADMINISTRATOR)


def check_may_see(person: Person, work: Work) -> None:
    """Raises NotAllowed."""
    if not may_see(person, work):
        raise NotAllowed("Only who asked for this work, and an administrator, looks at how far it is.")
