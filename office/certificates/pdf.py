"""From HTML to the bytes of a PDF: nothing is fetched, nothing is logged and passed over, the same bytes every time.

Written as PDF/A-3a: tagged, with the snapshot attached (ISO 19005-3; conformance itself is not proved here).
WeasyPrint is imported where it is needed: its system libraries may be missing, and then only making a PDF fails.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import importlib
import logging
import threading
from typing import TYPE_CHECKING, Any, Self

from office.audit.refusals import Refusal
from office.certificates import paper, snapshot
from office.environment import PDF_LIBRARIES_SENTENCE

if TYPE_CHECKING:
    from types import ModuleType

VARIANT = "pdf/a-3a"
ATTACHED_NAME = "certificate.json"


class UnsoundPaper(Exception):
    """The page asked for something outside itself, or WeasyPrint had something to complain of."""


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
    """The bytes. Refusal where system libraries are missing; UnsoundPaper where the page is not self-contained."""
    weasyprint = _weasyprint()
    from weasyprint.urls import FatalURLFetchingError, URLFetcher  # noqa: PLC0415  (a heavy library)

    class NothingOutside(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            raise FatalURLFetchingError(f"a certificate's page may not fetch {url[:200]}")

    fetcher = NothingOutside()
    attachment = weasyprint.Attachment(
        string=attached, name=ATTACHED_NAME, description="What this certificate states (RFC 8785)",
        relationship="Source", created=made_at, modified=made_at, url_fetcher=fetcher,
    )  # fmt: skip
    with Complaints() as complaints:
        try:
            content = weasyprint.HTML(string=html, url_fetcher=fetcher).write_pdf(
                pdf_variant=VARIANT, pdf_identifier=identifier, attachments=[attachment]
            )
        except FatalURLFetchingError as error:  # a BaseException: no `except Exception` above would see it
            raise UnsoundPaper(str(error)) from error
    if complaints.texts:
        raise UnsoundPaper("; ".join(complaints.texts))
    return bytes(content)


def _weasyprint() -> ModuleType:
    try:
        return importlib.import_module("weasyprint")
    except OSError as error:
        raise Refusal(PDF_LIBRARIES_SENTENCE) from error


class Complaints(logging.Handler):
    """Collects what WeasyPrint logs as a warning or worse in this thread: a relative address, an image left out."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.texts: list[str] = []
        self._thread = threading.get_ident()
        self._logger = logging.getLogger("weasyprint")

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self.texts.append(record.getMessage())

    def __enter__(self) -> Self:
        self._logger.addHandler(self)
        return self

    def __exit__(self, *exc: object) -> None:
        self._logger.removeHandler(self)
