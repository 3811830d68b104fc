"""Access keys: made by an administrator, shown once, kept as a hash, running out, revocable."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import secrets
from collections.abc import Iterable
from typing import NamedTuple

from django.db import connection, transaction
from django.utils import timezone

from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.interface.models import AccessKey, Scope
from office.people.models import Person, Role

TOKEN_BYTES = 32
_USED_TODAY = """
SELECT one.key, one.scopes FROM interface_accesskey AS one JOIN people_person AS holder ON holder.id = one.holder_id
WHERE one.token_sha256 = %s AND one.revoked_at IS NULL AND holder.is_active = %s AND one.expires_on >= %s
  AND one.last_used_on = %s
"""
LONGEST = dt.timedelta(days=2 * 366)


def check_may_manage(by: Person) -> None:
    if not by.holds(Role.ADMINISTRATOR):
        raise NotAllowed("Access keys are made and revoked by an administrator.")


@transaction.atomic
def make(
    *, by: Person, name: str, holder: Person, scopes: Iterable[str], expires_on: dt.date, reason: str = ""
) -> tuple[AccessKey, str]:
    """The key and its secret, which is kept nowhere."""
    check_may_manage(by)
    chosen = sorted({Scope(scope).value for scope in scopes})
    today = timezone.localdate()
    if not name.strip():
        raise Refusal("An access key has the name of the system that uses it.")
    if not chosen:
        raise Refusal("An access key opens at least one thing.")
    if not today <= expires_on <= today + LONGEST:
        raise Refusal(f"An access key runs out between today and {(today + LONGEST).isoformat()}.")
    if not holder.is_active:
        raise WrongState(f"{holder.name} is disabled and cannot answer for a key.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    made = AccessKey.objects.create(
        token_sha256=_hash(token), name=name.strip()[:120], holder=holder, scopes=chosen, made_by=by,
        expires_on=expires_on,
    )  # fmt: skip
    after = {"name": made.name, "holder": holder.key, "scopes": chosen, "expires_on": expires_on.isoformat()}
    trail.record(by=by, verb="make_access_key", subject=_subject(made), after=after, reason=reason.strip())
    return made, token


@transaction.atomic
def revoke(*, by: Person, access_key: AccessKey, reason: str) -> AccessKey:
    check_may_manage(by)
    if not reason.strip():
        raise Refusal("A key is revoked with a reason.")
    access_key = AccessKey.objects.select_for_update(of=("self",)).get(pk=access_key.pk)
    if access_key.revoked_at is not None:
        raise WrongState("This key has been revoked already.")
    access_key.revoked_at, access_key.revoked_by, access_key.revocation = timezone.now(), by, reason.strip()
    access_key.save(update_fields=["revoked_at", "revoked_by", "revocation"])
    trail.record(by=by, verb="revoke_access_key", subject=_subject(access_key), reason=access_key.revocation)
    return access_key


def find(token: str) -> AccessKey | None:
    """The key of this secret while it is good: not revoked, not run out, its holder not disabled."""
    today = timezone.localdate()
    found = (
        AccessKey.objects.filter(
            token_sha256=_hash(token), revoked_at=None, expires_on__gte=today, holder__is_active=True
        )
        .select_related("holder")
        .first()
    )
    if found and found.last_used_on != today:
        AccessKey.objects.filter(pk=found.pk).update(last_used_on=today)
    return found


class Used(NamedTuple):
    key: str
    scopes: list[str]


def used_today(token: str) -> Used | None:
    """The same in one statement and without its holder, for a key that `find` has found today already."""
    today = connection.ops.adapt_datefield_value(timezone.localdate())
    with connection.cursor() as cursor:
        cursor.execute(_USED_TODAY, [_hash(token), True, today, today])
        row = cursor.fetchone()
    return Used(row[0], json.loads(row[1])) if row else None


def _subject(access_key: AccessKey) -> trail.Subject:
    return trail.Subject("access key", access_key.key, access_key.name)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
