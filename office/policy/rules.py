"""Who may change the office's policy."""

from __future__ import annotations

from office.audit.refusals import NotAllowed
from office.people.models import Person, Role


def check_may_change(by: Person) -> None:
    if not by.holds(Role.ADMINISTRATOR):
        raise NotAllowed("Only an administrator changes the office's policy.")


def may_change(by: Person) -> bool:
    return by.holds(Role.ADMINISTRATOR)
