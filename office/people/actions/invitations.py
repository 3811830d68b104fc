"""One-time links: made by an administrator, shown once, kept only as a hash, used once."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Iterable

from django.db import models, transaction
from django.utils import timezone

from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people import rules
from office.people.models import Invitation, Person, Role, RoleHolding

LIFETIME = dt.timedelta(days=7)
TOKEN_BYTES = 32


def invite(*, by: Person, email: str, name: str, roles: Iterable[str], reason: str = "") -> tuple[Invitation, str]:
    """Invites somebody new; returns the invitation and the token of its link, which is kept nowhere."""
    rules.check_may_manage(by)
    wanted = sorted({Role(role).value for role in roles})
    if not wanted:
        raise Refusal("An invitation names at least one role.")
    with transaction.atomic():
        trail.hold()
        email = email.strip().lower()
        if Person.objects.filter(email__iexact=email).exists():
            raise WrongState("Somebody with this e-mail address is already among the people.")
        if _open_ones().filter(email__iexact=email).exists():
            raise WrongState("An invitation to this e-mail address is still open; cancel it before sending another.")
        return _make(by=by, email=email, name=name, roles=wanted, reason=reason)


def invite_first_administrator(*, email: str, name: str) -> tuple[Invitation, str]:
    """Invites the one who starts the office. Asked again before it is used, it cancels the former link."""
    with transaction.atomic():
        trail.hold()
        if rules.administrators().exists():
            raise WrongState("The office has an administrator, who can invite others.")
        email = email.strip().lower()
        if Person.objects.filter(email__iexact=email).exists():
            raise WrongState("Somebody with this e-mail address is already among the people.")
        for former in _open_ones().filter(invited_by=None):
            _cancel(None, former, "a new link for the first administrator")
        roles = [Role.ADMINISTRATOR.value]
        return _make(by=None, email=email, name=name, roles=roles, reason="the office's first administrator")


def send_new_link(*, by: Person, person: Person, reason: str) -> tuple[Invitation, str]:
    """A link by which somebody who cannot sign in any more sets a new password; former open ones end."""
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        trail.hold()
        rules.check_active(person)
        cancel_open_links(by=by, person=person, reason="a new link took its place")
        return _make(by=by, email=person.email, name=person.name, roles=[], reason=reason, person=person)


def cancel_invitation(*, by: Person, invitation: Invitation, reason: str) -> Invitation:
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        trail.hold()
        invitation.refresh_from_db()
        rules.check_open(invitation)
        return _cancel(by, invitation, reason)


def cancel_open_links(*, by: Person, person: Person, reason: str) -> None:
    """Part of a larger step, in whose transaction it is called."""
    for invitation in _open_ones().filter(person=person):
        _cancel(by, invitation, reason)


def find_invitation(token: str) -> Invitation:
    """The open invitation of this token. Raises NotAllowed for an unknown one, WrongState when it is no longer open."""
    invitation = Invitation.objects.filter(token_sha256=_hash(token)).select_related("person").first()
    if invitation is None:
        raise NotAllowed("This link is not one of the office's; it may have been cut short on its way.")
    rules.check_open(invitation)
    if invitation.person is not None:
        rules.check_active(invitation.person)
    return invitation


def accept_invitation(*, token: str, name: str, password: str) -> Person:
    """Uses a link up: somebody new joins with the roles it names, somebody known gets a new password."""
    with transaction.atomic():
        trail.hold()
        invitation = find_invitation(token)
        person = invitation.person or _join(invitation, name)
        person.set_password(password)
        person.save(update_fields=["password"])
        invitation.used_at, invitation.person = timezone.now(), person
        invitation.save(update_fields=["used_at", "person"])
        trail.record(
            by=person,
            verb="accept_invitation",
            subject=trail.subject_of(invitation),
            after={"person": person.key, "roles": sorted(person.roles)},
        )
    return person


def _join(invitation: Invitation, name: str) -> Person:
    return join(email=invitation.email, name=name, password=None, roles=invitation.roles)


def join(*, email: str, name: str, password: str | None, roles: Iterable[str]) -> Person:
    """Somebody new, by a link that names the address; part of a larger step that records it."""
    if Person.objects.filter(email__iexact=email).exists():
        raise WrongState("Somebody with this e-mail address has joined since; ask the office for a new link.")
    person = Person.objects.create_user(email=email, name=name.strip(), password=password)
    RoleHolding.objects.bulk_create(RoleHolding(person=person, role=role) for role in roles)
    return person


def _make(
    *, by: Person | None, email: str, name: str, roles: list[str], reason: str, person: Person | None = None
) -> tuple[Invitation, str]:
    token = secrets.token_urlsafe(TOKEN_BYTES)
    invitation = Invitation.objects.create(
        token_sha256=_hash(token),
        email=email,
        name=name.strip(),
        roles=roles,
        invited_by=by,
        expires_at=timezone.now() + LIFETIME,
        person=person,
    )
    about = {"person": person.key} if person else {"roles": roles}
    trail.record(
        by=by,
        verb="send_new_link" if person else "invite",
        subject=trail.subject_of(invitation),
        after={**about, "expires_at": invitation.expires_at.isoformat(timespec="minutes")},
        reason=reason.strip(),
    )
    return invitation, token


def _cancel(by: Person | None, invitation: Invitation, reason: str) -> Invitation:
    invitation.cancelled_at = timezone.now()
    invitation.save(update_fields=["cancelled_at"])
    trail.record(by=by, verb="cancel_invitation", subject=trail.subject_of(invitation), reason=reason)
    return invitation


def _open_ones() -> models.QuerySet[Invitation]:
    return Invitation.objects.filter(used_at=None, cancelled_at=None, expires_at__gt=timezone.now())


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
