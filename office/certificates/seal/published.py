"""The office's keys as everybody may have them: with their times of use, retired ones too, as one JSON document."""

from __future__ import annotations

import base64
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

FORMAT = "rig-office-keys-1"
ROOT, PAPER, STATEMENT = "root", "paper", "statement"
ALGORITHMS = {ROOT: "ECDSA P-384", PAPER: "ECDSA P-256", STATEMENT: "Ed25519"}


class NotKeys(ValueError):
    """The document is not a list of an office's keys; the text is one sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedKey:
    """`public` is the SubjectPublicKeyInfo, `certificate` the X.509 certificate, both DER (RFC 5280)."""

    identifier: str
    purpose: str
    public: bytes
    certificate: bytes = b""
    used_from: dt.datetime
    expires_at: dt.datetime
    retired_at: dt.datetime | None = None

    @property
    def used_until(self) -> dt.datetime:
        return min(self.expires_at, self.retired_at) if self.retired_at else self.expires_at

    def why_not_at(self, moment: dt.datetime) -> str:
        """Why the key was not in use then, in words that follow "a key"; empty where it was."""
        if moment < self.used_from:
            return f"that the office uses only since {instant(self.used_from)}"
        if self.retired_at and moment > self.retired_at:
            return f"that the office retired at {instant(self.retired_at)}"
        if moment > self.expires_at:
            return f"that ran out at {instant(self.expires_at)}"
        return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedKeys:
    office: str
    address: str  # where the office answers
    as_of: dt.datetime
    keys: Mapping[str, PublishedKey] = field(default_factory=dict)

    def find(self, identifier: str, purpose: str) -> PublishedKey | None:
        key = self.keys.get(identifier)
        return key if key and key.purpose == purpose else None

    def by_certificate(self, certificate: bytes) -> PublishedKey | None:
        return next((key for key in self.keys.values() if key.certificate == certificate), None)

    def roots(self) -> list[PublishedKey]:
        return [key for key in self.keys.values() if key.purpose == ROOT]


def instant(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def to_document(published: PublishedKeys) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "office": published.office,
        "address": published.address,
        "as_of": instant(published.as_of),
        "keys": [
            {
                "id": key.identifier,
                "purpose": key.purpose,
                "algorithm": ALGORITHMS[key.purpose],
                "public": base64.b64encode(key.public).decode(),
                "certificate": base64.b64encode(key.certificate).decode(),
                "used_from": instant(key.used_from),
                "expires_at": instant(key.expires_at),
                "retired_at": instant(key.retired_at) if key.retired_at else "",
            }
            for key in published.keys.values()
        ],
    }


def from_document(document: object) -> PublishedKeys:
    """The keys of such a document. Raises NotKeys."""
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise NotKeys(f"Expected the office's published keys in the form {FORMAT}.")
    try:
        keys = [_key(row) for row in document["keys"]]
        return PublishedKeys(
            office=str(document["office"]),
            address=str(document["address"]),
            as_of=dt.datetime.fromisoformat(document["as_of"]),
            keys={key.identifier: key for key in keys},
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise NotKeys(f"The list of keys is damaged: {type(error).__name__} at {error}.") from error


def _key(row: dict[str, str]) -> PublishedKey:
    if row["purpose"] not in ALGORITHMS:
        raise ValueError(row["purpose"])
    return PublishedKey(
        identifier=row["id"],
        purpose=row["purpose"],
        public=base64.b64decode(row["public"], validate=True),
        certificate=base64.b64decode(row["certificate"], validate=True),
        used_from=dt.datetime.fromisoformat(row["used_from"]),
        expires_at=dt.datetime.fromisoformat(row["expires_at"]),
        retired_at=dt.datetime.fromisoformat(row["retired_at"]) if row["retired_at"] else None,
    )
