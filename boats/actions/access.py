"""An owner lets others in: a co-owner, a skipper, the new owner; by a link that works once and is kept as a hash."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets

from django.db import models, transaction
from django.utils import timezone

from boats import particulars, rules
from boats.actions.common import reason_of
from boats.models import Access, Boat, BoatInvitation, BoatPart, Ownership
from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.actions.invitations import join
from office.people.models import Person, Role, RoleHolding

LIFETIME = dt.timedelta(days=14)
TOKEN_BYTES = 32
MOST_OPEN = 10  # open links of one boat


@transaction.atomic
def invite_to_boat(*, by: Person, boat: Boat, part: str, email: str, name: str) -> tuple[BoatInvitation, str]:
    """Invites somebody to be co-owner or skipper; returns the invitation and the token, which is kept nowhere."""
    rules.check_owns(by, boat)
    if part not in {BoatPart.CO_OWNER, BoatPart.SKIPPER}:
        raise Refusal(f"An owner lets in a co-owner or a skipper, not “{part}”.")
    return write_invitation(by, boat, part, email, name)


def write_invitation(by: Person, boat: Boat, part: str, email: str, name: str) -> tuple[BoatInvitation, str]:
    """Part of a larger step that has asked who may."""
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)
    email = email.strip().lower()
    running = open_invitations(boat)
    if running.filter(email__iexact=email).exists():
        raise WrongState("A link to this e-mail address is still open; cancel it before sending another.")
    if running.count() >= MOST_OPEN:
        raise WrongState(f"{MOST_OPEN} links of this boat are still open; cancel one before sending another.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    made = BoatInvitation.objects.create(
        token_sha256=_hash(token), boat=boat, part=part, email=email, name=particulars.tidy(name)[:120],
        invited_by=by, expires_at=timezone.now() + LIFETIME,
    )  # fmt: skip
    after = {"part": part, "invitation": made.key, "expires_at": made.expires_at.isoformat(timespec="minutes")}
    trail.record(by=by, verb="invite_to_boat", subject=boat, after=after, boat=boat.key)
    return made, token


@transaction.atomic
def cancel_boat_invitation(*, by: Person, invitation: BoatInvitation) -> BoatInvitation:
    rules.check_owns(by, invitation.boat)
    invitation = BoatInvitation.objects.select_for_update(of=("self",)).select_related("boat").get(pk=invitation.pk)
    _check_open(invitation)
    invitation.cancelled_at = timezone.now()
    invitation.save(update_fields=["cancelled_at"])
    before = {"part": invitation.part, "invitation": invitation.key}
    trail.record(by=by, verb="cancel_boat_invitation", subject=invitation.boat, before=before, boat=invitation.boat.key)
    return invitation


def find_boat_invitation(token: str) -> BoatInvitation:
    """The open invitation of this token. NotAllowed for an unknown one, WrongState where it is no longer open."""
    invitation = BoatInvitation.objects.filter(token_sha256=_hash(token)).select_related("boat", "invited_by").first()
    if invitation is None:
        raise NotAllowed("This link is not one of the office's; it may have been cut short on its way.")
    _check_open(invitation)
    return invitation


@transaction.atomic
def accept_boat_invitation(*, token: str, person: Person) -> BoatInvitation:
    """Uses the link up: from today the person owns the boat, or sees her pages."""
    invitation = find_boat_invitation(token)
    boat = Boat.objects.select_for_update(no_key=True).get(pk=invitation.boat_id)
    invitation = find_boat_invitation(token)
    if person.email.lower() != invitation.email.lower():
        raise NotAllowed(f"This link is for {invitation.email}; sign in with that address.")
    today = timezone.localdate()
    if invitation.part == BoatPart.SKIPPER:
        if Access.objects.filter(boat=boat, person=person, until__isnull=True).exists():
            raise WrongState(f"{person.name} sees the pages of {boat.name} already.")
        Access.objects.create(boat=boat, person=person, given_by=invitation.invited_by, since=today)
    else:
        if Ownership.objects.filter(boat=boat, person=person, until__isnull=True).exists():
            raise WrongState(f"{person.name} is named as an owner of {boat.name} already.")
        Ownership.objects.create(boat=boat, person=person, since=today)
    if Role.OWNER not in person.roles:  # with it the lists of boats and certificates open, to these boats only
        RoleHolding.objects.create(person=person, role=Role.OWNER)
        vars(person).pop("_roles", None)
    invitation.used_at, invitation.person = timezone.now(), person
    invitation.save(update_fields=["used_at", "person"])
    after = {"person": person.key, "part": invitation.part, "since": today.isoformat(), "invitation": invitation.key}
    trail.record(by=person, verb="accept_boat_invitation", subject=boat, after=after, boat=boat.key)
    return invitation


@transaction.atomic
def join_by_boat_invitation(*, token: str, name: str, password: str) -> Person:
    """Somebody new joins the office by the link and uses it up in the same step."""
    invitation = find_boat_invitation(token)
    person = join(email=invitation.email, name=name, password=password, roles=[Role.OWNER])
    accept_boat_invitation(token=token, person=person)
    return person


@transaction.atomic
def end_access(*, by: Person, access: Access, reason: str) -> Access:
    """From tomorrow the skipper sees the boat's pages no more."""
    rules.check_owns(by, access.boat)
    access = Access.objects.select_for_update(of=("self",)).select_related("boat", "person").get(pk=access.pk)
    if access.until is not None:
        raise WrongState(f"This access already ended, on {access.until.isoformat()}.")
    why = reason_of(reason)
    # The last day is yesterday: whoever is shut out sees nothing more today.
    access.until = timezone.localdate() - dt.timedelta(days=1)
    access.save(update_fields=["until"])
    before = {"person": access.person.key, "until": None}
    after = {"person": access.person.key, "until": access.until.isoformat()}
    trail.record(
        by=by, verb="end_access", subject=access.boat, before=before, after=after, reason=why, boat=access.boat.key
    )
    return access


def open_invitations(boat: Boat) -> models.QuerySet[BoatInvitation]:
    return BoatInvitation.objects.filter(
        boat=boat, used_at=None, cancelled_at=None, expires_at__gt=timezone.now()
    ).select_related("invited_by")


def _check_open(invitation: BoatInvitation) -> None:
    if invitation.used_at is not None:
        raise WrongState("This link has been used; it works once.")
    if invitation.cancelled_at is not None:
        raise WrongState("This link was cancelled; ask the boat's owner for a new one.")
    if invitation.expires_at <= timezone.now():
        raise WrongState("This link has run out; ask the boat's owner for a new one.")
    if invitation.part != BoatPart.NEW_OWNER and not rules.owns(invitation.invited_by, invitation.boat):
        raise WrongState("Whoever sent this link no longer owns the boat; ask her owner of today.")


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
