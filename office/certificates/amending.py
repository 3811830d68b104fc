"""Amendments: further documents that name the certificate they amend (ISO/IEC 17025:2017, 7.8.8, from memory).

They put a text right, such as a name misspelt. A figure is never amended: its correction is a new certificate.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from office import papers
from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import numbering, pdf, rules, snapshot
from office.certificates.models import Amendment, AmendmentDocument, AmendmentSeal, Certificate
from office.certificates.seal import keyring, pades, statement_file
from office.certificates.standing import WORDS, standing
from office.certificates.transitions import NOT_ENDED
from office.people.models import Role
from office.policy import queries as policy_queries

if TYPE_CHECKING:
    from office.people.models import Person

FORMAT = "rig-certificate-amendment-1"
ATTACHED_NAME = "amendment.json"
SIGNATURE_NAME = "amendment.signature.json"
LONGEST = 2000
UNTOUCHED = "No figure of the certificate is altered; it stands as issued in everything not said here."


def check_may_amend(person: Person, certificate: Certificate) -> None:
    """Whoever might issue the certificate."""
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"A certificate is amended by a certifier; {person.name} does not hold that role.")
    rules.check_may_issue(person, certificate.visit)


def check_can_amend(certificate: Certificate, today: dt.date) -> None:
    now = standing(certificate, today)
    if now not in NOT_ENDED:
        raise WrongState(f"{certificate.number} is {WORDS[now].lower()}; what has ended is not amended any more.")


def why_not(person: Person, certificate: Certificate, today: dt.date) -> str:
    return rules.why_not(check_may_amend, person, certificate) or rules.why_not(check_can_amend, certificate, today)


def amend(*, by: Person, certificate: Certificate, text: str, reason: str) -> Amendment:
    """Issues the next amendment of the certificate, with its papers."""
    text, reason = text.strip(), reason.strip()
    if not text or len(text) > LONGEST:
        raise WrongState(f"An amendment says what is to be read instead, in 1 to {LONGEST} characters.")
    if not reason:
        raise WrongState("An amendment needs its reason: it is printed and kept with the certificate.")
    with transaction.atomic():
        numbering.wait_for_turn()
        certificate = Certificate.objects.select_related("boat", "visit").get(pk=certificate.pk)
        check_may_amend(by, certificate)
        check_can_amend(certificate, timezone.localdate())
        former = certificate.amendments.order_by("-number").first()
        if former and former.text == text:
            raise WrongState(f"{former} says so already.")
        moment = timezone.now()
        document = _document(by, certificate, former.number + 1 if former else 1, text, reason, moment)
        return _write(by, certificate, document, moment)


def _document(
    by: Person, certificate: Certificate, number: int, text: str, reason: str, moment: dt.datetime
) -> dict[str, Any]:
    """What the amendment states, as plain JSON values; its papers are made from this alone."""
    policy, stated = policy_queries.current(), snapshot.read(certificate)
    row, head = trail.head()
    document: dict[str, Any] = snapshot.normal(
        {
            "format": FORMAT,
            "title": f"Amendment to certificate {certificate.number}",
            "certificate": certificate.number,
            "certificate_sha256": certificate.snapshot_sha256,
            "number": number,
            "office": snapshot.office_of(policy),
            "boat": {name: stated["boat"][name] for name in ("name", "sail_number")},
            "text": text,
            "reason": reason,
            "figures": UNTOUCHED,
            "issued_at": snapshot.instant(moment),
            "certifier": {"name": by.name, "key": by.key},
            "trail": {"number": row, "head": head},
            "check_at": f"{settings.PUBLIC_URL}/check/c/{certificate.number}/",
        }
    )
    return document


def _write(by: Person, certificate: Certificate, document: dict[str, Any], moment: dt.datetime) -> Amendment:
    content = snapshot.canonical(document)
    made = Amendment.objects.create(
        certificate=certificate,
        number=document["number"],
        text=document["text"],
        reason=document["reason"],
        issued_at=moment,
        issued_by=by,
        snapshot=content,
        snapshot_sha256=snapshot.sha256(content),
    )
    documents = {}
    keys = keyring.in_use(moment)
    key, seal = keys.paper_key(), _seal(made, keys)
    signature = statement_file.signature_bytes(keys.statement_row.identifier, seal.signature)
    for size in papers.SIZES:
        paper = pades.sign(render(document, size, signature), key, moment)
        documents[size] = snapshot.sha256(paper)
        AmendmentDocument.objects.create(amendment=made, paper=size, pdf=paper, pdf_sha256=documents[size])
    trail.record(
        by=by,
        verb="amend_certificate",
        subject=certificate,
        after={
            "number": made.number, "text": made.text, "snapshot_sha256": made.snapshot_sha256, "documents": documents,
            "statement_key": keys.statement_row.identifier, "paper_key": key.identifier,
            "row_sha256": row_sha256(made),
        },
        reason=made.reason,
        boat=certificate.boat.key,
        visit=certificate.visit.key,
        certificate=certificate.number,
    )  # fmt: skip
    return made


def _seal(made: Amendment, keys: keyring.InUse) -> AmendmentSeal:
    return AmendmentSeal.objects.create(
        amendment=made,
        statement_key=keys.statement_row,
        paper_key=keys.paper_row,
        signature=statement_file.sign(made.snapshot, keys.statement_key()),
    )


def signed_file(seal: AmendmentSeal) -> bytes:
    """What an amendment states with its signature, as one JSON file that can be checked without any PDF."""
    stated = json.loads(seal.amendment.snapshot)
    return statement_file.write(stated, seal.statement_key.identifier, seal.signature, statement_file.AMENDMENT)


def render(document: dict[str, Any], size: str, signature: bytes = b"") -> bytes:
    """One paper of an amendment: PDF/A-3a with what it states and its signature attached. Touches no database."""
    content = snapshot.canonical(document)
    html = render_to_string(
        "certificates/amendment_paper.html",
        {
            "a": document,
            "page_size": papers.SIZES[size],
            "code": papers.code(document["check_at"]),
            "sha256": snapshot.sha256(content),
        },
    )
    at = dt.datetime.fromisoformat(document["issued_at"])
    said = "What this amendment states (RFC 8785)"
    files = [papers.Attached(name=ATTACHED_NAME, content=content.encode(), description=said, made_at=at)]
    if signature:
        said = "The signature of what this amendment states (Ed25519)"
        files.append(
            papers.Attached(
                name=SIGNATURE_NAME, content=signature, description=said, made_at=at, relationship="Supplement"
            )
        )
    identifier = hashlib.sha256(f"{size} {content}".encode()).digest()[:16]
    return papers.write_pdf(html, identifier=identifier, variant=pdf.VARIANT, attached=files)
