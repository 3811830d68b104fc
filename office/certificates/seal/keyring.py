"""The office's stored keys: those in use at a moment, and all of them as they are published."""

from __future__ import annotations

import base64
import datetime as dt
from dataclasses import dataclass

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ed25519
from cryptography.hazmat.primitives.serialization import NoEncryption, PrivateFormat
from django.conf import settings
from django.utils import timezone

from office.audit.refusals import WrongState
from office.certificates.models import KeyPurpose, OfficeKey
from office.certificates.seal import passphrase
from office.certificates.seal.published import PAPER, STATEMENT, PublishedKey, PublishedKeys
from office.policy import queries as policy_queries

NO_KEYS = (
    "The office has no keys yet to seal certificates with; make them once with: python3 manage.py office_keys make"
)
RUN_OUT = "The office's key for {what} ran out on {day}; make new ones with: python3 manage.py office_keys rotate"


@dataclass(frozen=True, slots=True)
class PaperKey:
    """What signs a PDF. Plain bytes, so that another process can do it."""

    identifier: str
    private: bytes  # PKCS #8, DER, not encrypted: it lives in memory only
    certificate: bytes
    root: bytes

    def __repr__(self) -> str:
        return f"PaperKey({self.identifier})"


@dataclass(frozen=True, slots=True)
class InUse:
    """The keys that seal a certificate at one moment."""

    statement_row: OfficeKey
    paper_row: OfficeKey

    @property
    def used_from(self) -> dt.datetime:
        return max(self.statement_row.used_from, self.paper_row.used_from)

    def statement_key(self) -> ed25519.Ed25519PrivateKey:
        private = passphrase.unlocked(self.statement_row.private)
        if not isinstance(private, ed25519.Ed25519PrivateKey):
            raise WrongState("The stored statement key is not an Ed25519 key.")
        return private

    def paper_key(self) -> PaperKey:
        private = passphrase.unlocked(self.paper_row.private)
        root = self.paper_row.issued_by
        return PaperKey(
            identifier=self.paper_row.identifier,
            private=private.private_bytes(serialization.Encoding.DER, PrivateFormat.PKCS8, NoEncryption()),
            certificate=base64.b64decode(self.paper_row.certificate),
            root=base64.b64decode(root.certificate) if root else b"",
        )


def in_use(at: dt.datetime | None = None) -> InUse:
    """The keys in use. One query; opens nothing. Raises WrongState with the command that makes them."""
    moment = at or timezone.now()
    rows = {
        row.purpose: row
        for row in OfficeKey.objects.filter(retired_at=None).select_related("issued_by").order_by("used_from", "pk")
    }
    if STATEMENT not in rows or PAPER not in rows:
        raise WrongState(NO_KEYS)
    for row in (rows[STATEMENT], rows[PAPER]):
        if row.expires_at <= moment:
            what = KeyPurpose(row.purpose).label.lower()
            raise WrongState(RUN_OUT.format(what=what, day=row.expires_at.date().isoformat()))
    return InUse(rows[STATEMENT], rows[PAPER])


def published(*, readable_only: bool = False) -> PublishedKeys:
    """All keys there ever were, each with its time of use.

    Raises ValueError where a stored key is damaged, or leaves that one out (`readable_only`).
    """
    rows = OfficeKey.objects.defer("private").order_by("pk")
    return PublishedKeys(
        office=policy_queries.current().office_name,
        address=settings.PUBLIC_URL,
        as_of=timezone.now(),
        keys={row.identifier: as_published(row) for row in rows if not readable_only or _readable(row)},
    )


def _readable(row: OfficeKey) -> bool:
    try:
        as_published(row)
    except ValueError:
        return False
    return True


def as_published(row: OfficeKey) -> PublishedKey:
    return PublishedKey(
        identifier=row.identifier,
        purpose=row.purpose,
        public=base64.b64decode(row.public),
        certificate=base64.b64decode(row.certificate),
        used_from=row.used_from,
        expires_at=row.expires_at,
        retired_at=row.retired_at,
    )
