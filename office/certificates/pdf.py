"""A certificate's papers from its snapshot: written as PDF/A-3a, tagged, with the snapshot and its signature attached.

(ISO 19005-3; conformance itself is not proved here.) How a page becomes a PDF is `office.papers`, how it is signed
`office.certificates.seal.pades`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import TYPE_CHECKING, Any

from office import papers
from office.certificates import paper, snapshot
from office.certificates.seal import pades, statement_file
from office.papers import Complaints, UnsoundPaper

if TYPE_CHECKING:
    from office.certificates.seal.sealing import Sealing

__all__ = ["ATTACHED_NAME", "Complaints", "UnsoundPaper", "render", "render_all", "write_pdf"]

VARIANT = "pdf/a-3a"
ATTACHED_NAME = "certificate.json"
SIGNATURE_NAME = "certificate.signature.json"


def render_all(document: dict[str, Any], sealing: Sealing | None = None) -> dict[str, bytes]:
    """The certificate on each paper, from its snapshot and its seal only."""
    return {size: render(document, size, sealing) for size in paper.SIZES}


def render(document: dict[str, Any], size: str, sealing: Sealing | None = None) -> bytes:
    """One paper of a certificate, signed where it is sealed. Touches no database and no network."""
    content = unsigned(document, size, sealing)
    return pades.sign(content, sealing.paper_key, _made_at(document)) if sealing else content


def unsigned(document: dict[str, Any], size: str, sealing: Sealing | None) -> bytes:
    """The paper with all that it carries, before it is signed."""
    text = snapshot.canonical(document)
    signature = statement_file.signature_bytes(sealing.statement_key, sealing.signature) if sealing else b""
    return write_pdf(
        paper.html_of(document, size, sealing.code if sealing else ""),
        attached=text.encode(),
        signature=signature,
        made_at=_made_at(document),
        identifier=hashlib.sha256(f"{size} {text}".encode()).digest()[:16],
    )


def _made_at(document: dict[str, Any]) -> dt.datetime:
    return dt.datetime.fromisoformat(document["issued_at"])


def write_pdf(html: str, *, attached: bytes, made_at: dt.datetime, identifier: bytes, signature: bytes = b"") -> bytes:
    """The bytes, with what the certificate states attached. Refusal and UnsoundPaper as `papers.write_pdf` has them."""
    files = [
        papers.Attached(
            name=ATTACHED_NAME,
            content=attached,
            description="What this certificate states (RFC 8785)",
            made_at=made_at,
        )
    ]
    if signature:
        files.append(
            papers.Attached(
                name=SIGNATURE_NAME,
                content=signature,
                description="The signature of what this certificate states (Ed25519)",
                made_at=made_at,
                relationship="Supplement",
            )
        )
    return papers.write_pdf(html, identifier=identifier, variant=VARIANT, attached=files)
