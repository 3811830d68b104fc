"""What a person may do with people and invitations, and what their state allows: one sentence each when it is no."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.models import Invitation, Person, Role, RoleHolding


def check_may_manage(by: Person) -> None:
    if not may_manage(by):
        raise NotAllowed("Only an administrator invites people and gives or ends their roles.")


def may_manage(by: Person) -> bool:
    return by.holds(Role.ADMINISTRATOR)


def check_reason(reason: str) -> str:
    """The reason without blanks round it; a step back needs one."""
    if not reason.strip():
        raise Refusal("This needs a reason.")
    return reason.strip()


def check_open(invitation: Invitation) -> None:
    """An invitation can be accepted or cancelled."""
    if invitation.used_at is not None:
        raise WrongState("This link has been used; it works once.")
    if invitation.cancelled_at is not None:
        raise WrongState("This link was cancelled; ask the office for a new one.")
    if invitation.expires_at <= timezone.now():
        raise WrongState("This link has run out; ask the office for a new one.")


def is_open(invitation: Invitation) -> bool:
    return invitation.used_at is None and invitation.cancelled_at is None and invitation.expires_at > timezone.now()


def check_active(person: Person) -> None:
    if not person.is_active:
        raise WrongState(f"{person.name} is disabled.")


def check_disabled(person: Person) -> None:
    if person.is_active:
        raise WrongState(f"{person.name} is not disabled.")


def check_holds_role(person: Person, role: str) -> None:
    if role not in person.roles:
        raise WrongState(f"{person.name} does not hold the role of {Role(role).label.lower()}.")


def check_lacks_role(person: Person, role: str) -> None:
    if role in person.roles:
        raise WrongState(f"{person.name} already holds the role of {Role(role).label.lower()}.")


def check_an_administrator_remains(without: Person) -> None:
    """The office keeps at least one administrator who can sign in, besides `without`."""
    if is_last_administrator(without):
        raise WrongState(f"{without.name} is the last administrator; give somebody else that role first.")


def is_last_administrator(person: Person) -> bool:
    return person.holds(Role.ADMINISTRATOR) and not administrators().exclude(person=person).exists()


def administrators() -> models.QuerySet[RoleHolding]:
    """The holdings of those who administer the office today."""
    return RoleHolding.objects.filter(role=Role.ADMINISTRATOR, ended_at=None, person__is_active=True)
