"""What is signed at the issue of a certificate: its code, its snapshot and, by whoever renders them, its papers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from office.certificates.models import Seal
from office.certificates.seal import statement, statement_file

if TYPE_CHECKING:
    from office.certificates.models import Certificate
    from office.certificates.seal.keyring import InUse, PaperKey


@dataclass(frozen=True, slots=True)
class Sealing:
    """`code`: what the QR code holds. `signature`: of the snapshot, base64url. Can be sent to another process."""

    code: str
    signature: str
    statement_key: str
    paper_key: PaperKey


def prepare(document: dict[str, Any], text: str, keys: InUse) -> Sealing:
    """Everything but the papers; the same for the same snapshot and keys (Ed25519 draws no lots)."""
    private = keys.statement_key()
    identifier = keys.statement_row.identifier
    return Sealing(
        code=statement.sign(document, identifier, private),
        signature=statement_file.sign(text, private),
        statement_key=identifier,
        paper_key=keys.paper_key(),
    )


def store(certificate: Certificate, sealing: Sealing, keys: InUse) -> Seal:
    return Seal.objects.create(
        certificate=certificate,
        statement_key=keys.statement_row,
        paper_key=keys.paper_row,
        signature=sealing.signature,
        code=sealing.code,
    )
