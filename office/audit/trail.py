"""The trail: who did what to which thing, when and why, one row per change, each bound to the one before.

`record` writes a row in the transaction of the change it tells of. Rows are numbered from 1 without gaps, and each
carries the SHA-256 of the RFC 8785 form of all its other fields, the former row's hash among them. Whoever alters,
removes or slips in a row must therefore make every later hash anew, and certificates print hashes that then differ.

Rows hold keys and labels, no foreign keys. People stand in them by key only: names are looked up when shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

import rfc8785
from django.conf import settings
from django.db import connection, models
from django.db.backends.utils import CursorWrapper
from django.utils import timezone

from office.audit.chain import COLUMNS, GENESIS, HASHED, hash_of
from office.audit.instants import instant
from office.audit.verification import Finding, verify

__all__ = [
    "GENESIS",
    "Actor",
    "Finding",
    "OutsideTransaction",
    "Subject",
    "head",
    "hold",
    "instant",
    "record",
    "subject_of",
    "verify",
]

# One number for the lock that lines up the writers on PostgreSQL; SQLite's IMMEDIATE transactions do so by themselves.
CHAIN_LOCK = 5_721_330_118

_SELECT_HEAD = "SELECT number, hash FROM audit_entry ORDER BY number DESC LIMIT 1"
_INSERT = f"INSERT INTO audit_entry ({', '.join(COLUMNS)}) VALUES ({', '.join(['%s'] * len(COLUMNS))})"  # noqa: S608  (fixed names)
_LABEL_LENGTH = 200


class Actor(Protocol):
    """A person as the trail knows one."""

    key: str

    @property
    def roles(self) -> Iterable[str]: ...


class OutsideTransaction(RuntimeError):
    """A row of the trail must stand or fall with the change it tells of."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What a row is about: its kind, its public key and what it was called then."""

    kind: str
    key: str
    label: str = ""


def record(
    *,
    by: Actor | None,
    verb: str,
    subject: Subject | models.Model,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
    boat: str = "",
    visit: str = "",
    certificate: str = "",
) -> tuple[int, str]:
    """Writes one row; returns its number and hash. Call it inside the transaction of the change.

    `by` None means the office's own machine. `before` and `after` hold the changed fields, JSON-ready, people by key.
    `boat`, `visit` and `certificate` are the keys under which the row is found again.
    """
    if not connection.in_atomic_block:
        raise OutsideTransaction(f"“{verb}” was to be recorded outside the transaction of its change.")
    about = subject if isinstance(subject, Subject) else subject_of(subject)
    fields: dict[str, Any] = {
        "at": instant(timezone.now()),
        "actor": by.key if by else "",
        "role": ", ".join(sorted(by.roles)) if by else "",
        "verb": verb,
        "subject_kind": about.kind,
        "subject": about.key,
        "subject_label": about.label[:_LABEL_LENGTH],
        "boat": boat,
        "visit": visit,
        "certificate": certificate,
        "before": _canonical(before),
        "after": _canonical(after),
        "reason": reason,
    }
    with connection.cursor() as cursor:
        _hold(cursor)
        number, previous_hash = _head(cursor)
        fields |= {"number": number + 1, "previous_hash": previous_hash}
        values = [fields[name] for name in HASHED]
        hash_ = hash_of(values)
        cursor.execute(_INSERT, [*values, hash_])
    return number + 1, hash_


def hold() -> None:
    """Lines this transaction up: until it ends, no other one writes a row of the trail.

    `record` does so itself. An action calls it first where what it reads must still be true when it writes.
    """
    with connection.cursor() as cursor:
        _hold(cursor)


def head() -> tuple[int, str]:
    """Number and hash of the latest row; (0, GENESIS) while there is none."""
    with connection.cursor() as cursor:
        return _head(cursor)


def subject_of(instance: models.Model) -> Subject:
    """What a row says of a model instance: its kind, its public key and its label.

    A thing that *is* or speaks of a person (it has a field `person`) goes without a label: labels hold names.
    """
    kind, key_field, personal = _about(type(instance))
    return Subject(kind, str(getattr(instance, key_field)), "" if personal else str(instance))


@cache
def _about(model: type[models.Model]) -> tuple[str, str, bool]:
    """Of a model: what it is called, the field with its public key, and whether it speaks of a person."""
    fields = {field.name for field in model._meta.get_fields()}
    key_field = next((name for name in ("key", "number", "identifier") if name in fields), "pk")
    return str(model._meta.verbose_name), key_field, model._meta.label == settings.AUTH_USER_MODEL or "person" in fields


def _hold(cursor: CursorWrapper) -> None:
    if connection.vendor == "postgresql":
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHAIN_LOCK])


def _head(cursor: CursorWrapper) -> tuple[int, str]:
    cursor.execute(_SELECT_HEAD)
    return cursor.fetchone() or (0, GENESIS)


def _canonical(fields: Mapping[str, Any] | None) -> str:
    return "" if fields is None else rfc8785.dumps(dict(fields)).decode()
