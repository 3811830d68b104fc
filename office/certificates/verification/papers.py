"""Reading a certificate's paper: the snapshot attached to a PDF, and what the register says to it."""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf

from office.audit.models import Entry
from office.certificates import snapshot
from office.certificates.models import Certificate, Document
from office.certificates.pdf import ATTACHED_NAME
from office.certificates.verification.findings import Misfit, parsed

LARGEST = 20 * 1024 * 1024
NUMBER_LIKE = re.compile(r"[A-Za-z0-9-]{1,20}")
HASH_LIKE = re.compile(r"[0-9a-f]{64}")


class NotOurPaper(Exception):
    """The file is not a certificate as this office writes them; the text is one sentence."""


def attached_snapshot(content: bytes) -> str:
    """The text of the snapshot attached to a certificate's PDF. Raises NotOurPaper."""
    if not content.startswith(b"%PDF-"):
        raise NotOurPaper("It is not a PDF.")
    logger = logging.getLogger("pypdf")
    former, logger.disabled = logger.disabled, True  # a broken file's complaints are said in our one sentence
    try:
        attached = pypdf.PdfReader(io.BytesIO(content)).attachments.get(ATTACHED_NAME, [])
        if len(attached) > 1:
            raise NotOurPaper(
                f"{ATTACHED_NAME} is attached to it {len(attached)} times; a certificate carries it once."
            )
        text = attached[0].decode() if attached else ""
    except NotOurPaper:
        raise
    except Exception as error:  # a file from outside may break the reader in any way
        raise NotOurPaper("It is a PDF that cannot be read.") from error
    finally:
        logger.disabled = former
    if not text:
        raise NotOurPaper(
            f"It is a PDF without the attached {ATTACHED_NAME} that every certificate of this office carries."
        )
    stated = parsed(text)
    if stated.get("format") != snapshot.FORMAT or not NUMBER_LIKE.fullmatch(str(stated.get("number", ""))):
        raise NotOurPaper(f"Its attached {ATTACHED_NAME} is not a certificate in the form {snapshot.FORMAT}.")
    return text


def read_file(path: Path) -> bytes:
    """The file's bytes. Raises NotOurPaper where there is none or it is too large to be a certificate."""
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)  # a device tells no size
        if len(content) > LARGEST:
            raise NotOurPaper("It is larger than any certificate.")
        return content
    except OSError as error:
        raise NotOurPaper(f"It cannot be read: {error.strerror}.") from error


def against(content: bytes) -> tuple[str, list[Misfit]]:
    """The number a paper bears, and everything in today's register that contradicts it. Raises NotOurPaper."""
    text = attached_snapshot(content)
    stated = parsed(text)
    number = str(stated.get("number", ""))
    return number, [*_certificate(number, text, stated, content), *_trail(number, text, stated)]


def _certificate(number: str, text: str, stated: dict[str, Any], content: bytes) -> Iterator[Misfit]:
    certificate = Certificate.objects.filter(number=number).first()
    if certificate is None:
        yield Misfit(number, f"The register holds no certificate {number}.")
        return
    if certificate.snapshot != text:
        held = parsed(certificate.snapshot)
        parts = sorted(key for key in held if stated.get(key) != held[key])
        parts += ["and something that no certificate states"] if stated.keys() - held.keys() else []
        yield Misfit(
            number, f"The register's {number} states something else than the paper: {', '.join(parts) or 'its form'}."
        )
    elif not Document.objects.filter(certificate=certificate, pdf_sha256=snapshot.sha256(content)).exists():
        yield Misfit(
            number,
            "The file is not one of the papers issued, byte for byte: it states the same inside, but what its page "
            "shows may have been altered.",
        )


def _number(row: object) -> str:
    """What a stranger's file says, fit to be printed."""
    return str(row) if isinstance(row, int) and 0 <= row < 2**63 else "(no number)"


def _hash(text: object) -> str:
    return f"the hash {text}" if HASH_LIKE.fullmatch(str(text)) else "something that is no hash"


def _trail(number: str, text: str, stated: dict[str, Any]) -> Iterator[Misfit]:
    """The trail holds the head the paper was printed with, and after it the issue of this very certificate."""
    printed = stated.get("trail")
    head = printed if isinstance(printed, dict) else {}
    row, hash_ = head.get("number"), head.get("head")
    if row != 0:
        entry = Entry.objects.filter(number=row).first() if isinstance(row, int) and 0 < row < 2**63 else None
        if entry is None or entry.hash != hash_:
            what = "is not there" if entry is None else f"has the hash {entry.hash} today"
            yield Misfit(
                number,
                f"The paper vouches for row {_number(row)} of the trail with {_hash(hash_)}; that row {what}: "
                "what happened up to then has been rewritten, or the paper is not genuine.",
            )
    issued = Entry.objects.filter(verb="issue_certificate", certificate=number)
    wanted = snapshot.sha256(text)
    if not any(
        parsed(one.after).get("snapshot_sha256") == wanted and one.number > (row if isinstance(row, int) else 0)
        for one in issued
    ):
        yield Misfit(number, "The trail has no row that tells of this certificate's issue with what the paper states.")
