"""A certificate's papers from its snapshot: written as PDF/A-3a, tagged, with the snapshot attached.

(ISO 19005-3; conformance itself is not proved here.) How a page becomes a PDF is `office.papers`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

from office import papers
from office.certificates import paper, snapshot
from office.papers import Complaints, UnsoundPaper

__all__ = ["ATTACHED_NAME", "Complaints", "UnsoundPaper", "render", "render_all", "write_pdf"]

VARIANT = "pdf/a-3a"
ATTACHED_NAME = "certificate.json"


def render_all(document: dict[str, Any]) -> dict[str, bytes]:
    """The certificate on each paper, from its snapshot only."""
    return {size: render(document, size) for size in paper.SIZES}


def render(document: dict[str, Any], size: str) -> bytes:
    """One paper of a certificate. Touches no database and no network."""
    text = snapshot.canonical(document)
    return write_pdf(
        paper.html_of(document, size),
        attached=text.encode(),
        made_at=dt.datetime.fromisoformat(document["issued_at"]),
        identifier=hashlib.sha256(f"{size} {text}".encode()).digest()[:16],
    )


def write_pdf(html: str, *, attached: bytes, made_at: dt.datetime, identifier: bytes) -> bytes:
    """The bytes, with what the certificate states attached. Refusal and UnsoundPaper as `papers.write_pdf` has them."""
    snapshot_file = papers.Attached(
        name=ATTACHED_NAME,
        content=attached,
        description="What this certificate states (RFC 8785)",
        made_at=made_at,
    )
    return papers.write_pdf(html, identifier=identifier, variant=VARIANT, attached=snapshot_file)
