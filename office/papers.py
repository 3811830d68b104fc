"""From HTML to the bytes of a PDF: nothing is fetched, nothing is logged and passed over, the same bytes every time.

Any storey above the trail may print. WeasyPrint is imported where it is needed: its system libraries may be missing,
and then only making a PDF fails.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import importlib
import logging
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import segno
from django.db import connection
from django.http import HttpResponse
from django.utils.safestring import SafeString, mark_safe

from office.audit.refusals import Refusal
from office.environment import PDF_LIBRARIES_SENTENCE

if TYPE_CHECKING:
    from types import ModuleType

SIZES = {"A4": "A4", "Letter": "letter"}  # name -> CSS page size
# What a drawing shows only when it is pointed at: it has no place on paper.
UNSEEN = re.compile(r'<g class="rig-dimension rig-silent"[^>]*>.*?</g>|<line [^>]*class="rig-hit"[^>]*/>')

# Two papers at a time in a process: threads that print share one processor, and whoever holds the database's lock would
# wait for it behind all of them, at each of their statements. Two, so that a short one need not wait for a long one.
AT_ONCE = 2
_PRESSES = threading.BoundedSemaphore(AT_ONCE)
# What is known of the machine's fonts, for one paper at a time and kept for the next: of each that is made, the font
# libraries hold a quarter of a megabyte until the process ends.
_FONTS: list[Any] = []
MISSING_SIGN = re.compile(r"^\.notdef glyph .*\(U\+([0-9A-F]+)\)")


class UnsoundPaper(Exception):
    """The page asked for something outside itself, or WeasyPrint had something to complain of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attached:
    """A file that travels inside the PDF, in the state it had at `made_at`."""

    name: str
    content: bytes
    description: str
    made_at: dt.datetime
    relationship: str = "Source"  # to the page (ISO 19005-3, 6.8)


def drawing_answer(svg: str, name: str) -> HttpResponse:
    """An SVG file to keep. `name` goes without its ending."""
    headers = {"Content-Disposition": f'attachment; filename="{name}.svg"', "Cache-Control": "private, no-store"}
    return HttpResponse(svg, content_type="image/svg+xml; charset=utf-8", headers=headers)


def write_pdf(html: str, *, identifier: bytes, variant: str | None = None, attached: Sequence[Attached] = ()) -> bytes:
    """The bytes. Refusal where system libraries are missing; UnsoundPaper where the page is not self-contained."""
    weasyprint = _weasyprint()
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415  (a heavy library)
    from weasyprint.urls import FatalURLFetchingError, URLFetcher  # noqa: PLC0415

    class NothingOutside(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            raise FatalURLFetchingError(f"a printed page may not fetch {url[:200]}")

    fetcher = NothingOutside()
    files = [_attachment(weasyprint, one, fetcher) for one in attached]
    # Within a transaction others wait already: that one goes at once.
    press = contextlib.nullcontext() if connection.in_atomic_block else _PRESSES
    with press, Complaints() as complaints:
        fonts = _kept_fonts() or FontConfiguration()
        try:
            content = weasyprint.HTML(string=html, url_fetcher=fetcher).write_pdf(
                font_config=fonts, pdf_variant=variant, pdf_identifier=identifier, attachments=files
            )
        except FatalURLFetchingError as error:  # a BaseException: no `except Exception` above would see it
            raise UnsoundPaper(str(error)) from error
    if not complaints.texts:  # else they are looked for anew: a font may be installed for what was missing
        _FONTS.append(fonts)
    if signs := _unprintable(complaints.texts):
        raise Refusal(
            f"The fonts of this machine lack {signs}: install a font that has it, or write the text otherwise; "
            "nothing has been made."
        )
    if complaints.texts:
        raise UnsoundPaper("; ".join(complaints.texts))
    return bytes(content)


def code(*parts: str) -> SafeString:
    """The text as a QR code (ISO/IEC 18004): SVG, medium error correction, quiet zone of four.

    Each part is packed in the mode that suits it best, so a long one in capitals stands apart from an address.
    """
    segments: Any = [(part,) for part in parts]  # which its annotations do not tell of
    made = segno.make(segments, error="m", micro=False)
    return mark_safe(made.svg_inline(omitsize=True, border=4))  # noqa: S308


def _unprintable(complaints: list[str]) -> str:
    """The signs for which no font has a shape, each once, as in: “漢” (U+6F22)."""
    found = dict.fromkeys(code for text in complaints for code in MISSING_SIGN.findall(text))
    named = [
        f"“{chr(int(code, 16))}” (U+{code})" if chr(int(code, 16)).isprintable() else f"U+{code}" for code in found
    ]
    return ", ".join(named[:5]) + (" and others" if len(named) > 5 else "")


def _kept_fonts() -> Any:
    """Those that a paper before this one has left; None where all are at work."""
    try:
        return _FONTS.pop()  # one step: two threads never hold the same
    except IndexError:
        return None


def _attachment(weasyprint: ModuleType, file: Attached, fetcher: Any) -> Any:
    return weasyprint.Attachment(
        string=file.content, name=file.name, description=file.description, relationship=file.relationship,
        created=file.made_at, modified=file.made_at, url_fetcher=fetcher,
    )  # fmt: skip


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
