"""Roles given and ended, people disabled and enabled again: former holdings are kept."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.people import rules, second
from office.people.actions.invitations import cancel_open_links
from office.people.models import Person, Role, RoleHolding


def give_role(*, by: Person, person: Person, role: str, reason: str = "") -> RoleHolding:
    rules.check_may_manage(by)
    role = Role(role).value
    with transaction.atomic():
        person = _as_it_stands(person)
        rules.check_active(person)
        rules.check_lacks_role(person, role)
        holding = RoleHolding.objects.create(person=person, role=role)
        trail.record(
            by=by,
            verb="give_role",
            subject=trail.subject_of(person),
            before={"roles": sorted(person.roles)},
            after={"roles": sorted({*person.roles, role})},
            reason=reason.strip(),
        )
    return holding


def end_role(*, by: Person, person: Person, role: str, reason: str) -> RoleHolding:
    """The role ends at once; the office's last administrator keeps theirs."""
    rules.check_may_manage(by)
    role, reason = Role(role).value, rules.check_reason(reason)
    with transaction.atomic():
        person = _as_it_stands(person)
        rules.check_holds_role(person, role)
        if role == Role.ADMINISTRATOR:
            rules.check_an_administrator_remains(without=person)
        holding = person.role_holdings.get(role=role, ended_at=None)
        holding.ended_at = timezone.now()
        holding.save(update_fields=["ended_at"])
        trail.record(
            by=by,
            verb="end_role",
            subject=trail.subject_of(person),
            before={"roles": sorted(person.roles)},
            after={"roles": sorted(person.roles - {role})},
            reason=reason,
        )
    return holding


def disable(*, by: Person, person: Person, reason: str) -> Person:
    """The person can no longer sign in, and their sessions end with their next click.

    The password and the second factor go too, so that no former session comes back to life when the person is enabled
    again.
    """
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        person = _as_it_stands(person)
        rules.check_active(person)
        rules.check_an_administrator_remains(without=person)
        person.is_active = False
        person.set_unusable_password()
        person.save(update_fields=["is_active", "password"])
        second.forget(person)
        _record_active(by, "disable_person", person, reason)
        cancel_open_links(by=by, person=person, reason="the person was disabled")
    return person


def enable(*, by: Person, person: Person, reason: str) -> Person:
    """The person may sign in again, once a new link has let them set a password."""
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        person = _as_it_stands(person)
        rules.check_disabled(person)
        person.is_active = True
        person.save(update_fields=["is_active"])
        _record_active(by, "enable_person", person, reason)
    return person


def _record_active(by: Person, verb: str, person: Person, reason: str) -> None:
    trail.record(
        by=by,
        verb=verb,
        subject=trail.subject_of(person),
        before={"active": not person.is_active},
        after={"active": person.is_active},
        reason=reason,
    )


def _as_it_stands(person: Person) -> Person:
    """The person as stored now, with nobody else able to change people until the transaction ends."""
    trail.hold()
    return Person.objects.get(pk=person.pk)
