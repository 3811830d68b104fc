"""A sealed certificate made without a database, once for the tests of this room."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from office.certificates import pdf, snapshot
from office.certificates.seal import making, statement, statement_file
from office.certificates.seal.keyring import PaperKey
from office.certificates.seal.published import PublishedKey, PublishedKeys
from office.certificates.seal.sealing import Sealing
from tests.office.certificates import samples

OFFICE = "Rig Office of Quavelund"
ADDRESS = "http://127.0.0.1:8000"
MADE = dt.datetime(2026, 1, 5, 8, tzinfo=dt.UTC)
NOW = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)


@dataclass(frozen=True)
class KeySet:
    root: making.FreshKey
    paper: making.FreshKey
    statement: making.FreshKey

    def published(self, **changes: Any) -> PublishedKeys:
        """All three in use; `changes` replaces fields of each."""
        keys = [
            PublishedKey(
                identifier=one.identifier, purpose=one.purpose, public=one.public, certificate=one.certificate,
                **{"used_from": one.used_from, "expires_at": one.expires_at, **changes},
            )
            for one in (self.root, self.paper, self.statement)
        ]  # fmt: skip
        return PublishedKeys(office=OFFICE, address=ADDRESS, as_of=NOW, keys={one.identifier: one for one in keys})

    def private(self) -> Ed25519PrivateKey:
        assert isinstance(self.statement.private, Ed25519PrivateKey)
        return self.statement.private

    def sealing(self, document: dict[str, Any]) -> Sealing:
        private = self.paper.private.private_bytes(
            serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        return Sealing(
            code=statement.sign(document, self.statement.identifier, self.private()),
            signature=statement_file.sign(snapshot.canonical(document), self.private()),
            statement_key=self.statement.identifier,
            paper_key=PaperKey(self.paper.identifier, private, self.paper.certificate, self.root.certificate),
        )


def make_key_set(office: str = OFFICE, at: dt.datetime = MADE) -> KeySet:
    root = making.make_root(office, at)
    paper = making.make_paper_key(office, root.private, root.certificate, at)
    return KeySet(root, paper, making.make_statement_key(at))


@dataclass(frozen=True)
class Sealed:
    """One certificate with everything that is signed of it."""

    document: dict[str, Any]
    code: str
    file: bytes
    paper: bytes


def seal_up(keys: KeySet, document: dict[str, Any], size: str = "A4") -> Sealed:
    sealing = keys.sealing(document)
    file = statement_file.write(document, sealing.statement_key, sealing.signature)
    return Sealed(document, sealing.code, file, pdf.render(document, size, sealing))


@pytest.fixture(scope="session")
def key_set() -> KeySet:
    return make_key_set()


@pytest.fixture(scope="session")
def other_office() -> KeySet:
    return make_key_set("Rig Office of Elsewhere")


@pytest.fixture(scope="session")
def sealed(key_set: KeySet) -> Sealed:
    return seal_up(key_set, samples.document())


@pytest.fixture(scope="session")
def foreign(other_office: KeySet) -> Sealed:
    """Sealed by another office, in the same forms."""
    office = {"name": "Rig Office of Elsewhere", "place": "Elsewhere", "demonstration": False}
    address = "https://elsewhere.example/check/c/EL-2026-0007/"
    return seal_up(other_office, samples.document(number="EL-2026-0007", office=office, check_at=address))
