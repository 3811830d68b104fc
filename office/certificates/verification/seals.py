"""Keys and seals: every signature of every certificate holds, by a key that the trail tells of."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import Any

from django.utils import timezone

from office.audit.instants import instant
from office.audit.models import Entry
from office.certificates import snapshot
from office.certificates.models import Amendment, Certificate, Document, OfficeKey, Seal
from office.certificates.seal import checking, keyring, making, statement, statement_file
from office.certificates.seal.actions import told_of
from office.certificates.seal.published import PAPER, PublishedKeys
from office.certificates.verification import invented
from office.certificates.verification.certificates import in_chunks
from office.certificates.verification.findings import Misfit, chunks, guarded, parsed

TOLD = ("make_office_key", "retire_office_key")


def check_all() -> Iterator[Misfit]:
    yield from _told_keys()
    yield from guarded("keys", _sealed())


def _sealed() -> Iterator[Misfit]:
    keys = keyring.published(readable_only=True)
    for row in OfficeKey.objects.defer("private").order_by("pk"):
        yield from guarded(row.identifier, _key(row, keys))
    first = OfficeKey.objects.order_by("used_from").first()
    up_to = invented.loaded_up_to()
    for chunk, _ in in_chunks():
        excused = invented.without_papers([one.number for one in chunk], up_to)
        seals = {
            one.certificate_id: one
            for one in Seal.objects.filter(certificate__in=chunk).select_related("statement_key", "paper_key")
        }
        for certificate in chunk:
            seal = seals.get(certificate.pk)
            if seal:
                for check in (_seal(certificate, seal, keys), _papers(certificate, keys)):
                    yield from guarded(certificate.number, check)
            elif first and certificate.issued_at >= first.used_from and certificate.number not in excused:
                yield Misfit(certificate.number, f"{certificate.number} bears no seal, though the office had keys.")
    yield from _amendments(keys)


def _amendments(keys: PublishedKeys) -> Iterator[Misfit]:
    """Each statement and each paper of an amendment; one whose issue the trail tells with a key has its seal."""
    told = Entry.objects.filter(verb="amend_certificate").values_list("certificate", "after")
    signed = {(number, parsed(after).get("number")) for number, after in told if parsed(after).get("statement_key")}
    rows = Amendment.objects.select_related("certificate", "seal__statement_key").prefetch_related("documents")
    for chunk, _ in chunks(rows, "certificate__number", size=20):
        for one in chunk:
            yield from guarded(str(one), _amendment(one, (one.certificate.number, one.number) in signed, keys))


def _amendment(one: Amendment, signed: bool, keys: PublishedKeys) -> Iterator[Misfit]:
    seal = getattr(one, "seal", None)
    if seal:
        content = statement_file.write(
            parsed(one.snapshot), seal.statement_key.identifier, seal.signature, statement_file.AMENDMENT
        )
        yield from _faults(one, "signed statement", checking.check_file(content, keys, timezone.now()))
    elif signed:
        yield Misfit(str(one), f"{one} bears no seal, though the trail tells of one.")
    for document in one.documents.all():
        verdict = checking.check_paper(bytes(document.pdf), keys, timezone.now(), thorough=False)
        yield from _faults(one, f"{document.paper} paper", verdict)
        if verdict.document and snapshot.canonical(verdict.document) != one.snapshot:
            yield Misfit(str(one), f"The {document.paper} paper of {one} carries another signed statement.")


def _faults(one: Amendment, what: str, verdict: checking.Verdict) -> Iterator[Misfit]:
    for point in verdict.points:
        if point.mark == checking.FAILS:
            yield Misfit(str(one), f"The {what} of {one}: {point.sentence}")


def _told_keys() -> Iterator[Misfit]:
    """As many keys as the trail tells of, each as it tells it."""
    told = {(entry.verb, entry.subject): parsed(entry.after) for entry in Entry.objects.filter(verb__in=TOLD)}
    known = set()
    for row in OfficeKey.objects.defer("private").order_by("pk"):
        known.add(row.identifier)
        made, retired = (told.get((verb, row.identifier)) for verb in TOLD)
        yield from guarded(row.identifier, _told_key(row, made, retired))
    for verb, identifier in told:
        if verb == "make_office_key" and identifier not in known:
            yield Misfit(identifier, f"The trail tells of a key {identifier} that the register does not hold.")


def _told_key(row: OfficeKey, made: object, retired: dict[str, Any] | None) -> Iterator[Misfit]:
    encoded = (row.public, row.certificate)
    if made != told_of(row) or any(base64.b64encode(base64.b64decode(one)).decode() != one for one in encoded):
        yield Misfit(row.identifier, f"The trail tells nothing of a key {row.identifier} such as the register's.")
    at = instant(row.retired_at) if row.retired_at else None
    if at != (retired["retired_at"] if retired else None):
        yield Misfit(row.identifier, f"Trail and register differ on the retirement of the key {row.identifier}.")


def _key(row: OfficeKey, keys: PublishedKeys) -> Iterator[Misfit]:
    key = keys.keys.get(row.identifier)
    if key is None:
        yield Misfit(row.identifier, f"The key {row.identifier} is not one that can be read.")
        return
    if making.identifier_of(key.public) != row.identifier:
        yield Misfit(row.identifier, f"The key {row.identifier} does not have the public part it is named for.")
    if key.purpose == PAPER and checking.issuer_of(key, keys) is None:
        yield Misfit(row.identifier, f"No root of the office vouches for the key {row.identifier}.")


def _seal(one: Certificate, seal: Seal, keys: PublishedKeys) -> Iterator[Misfit]:
    document = parsed(one.snapshot)
    now = timezone.now()
    content = statement_file.write(document, seal.statement_key.identifier, seal.signature)
    for verdict, what in ((checking.check_file(content, keys, now), "statement"), (_code(seal, keys), "code")):
        for point in verdict.points:
            if point.mark == checking.FAILS:
                yield Misfit(one.number, f"The signed {what} of {one.number}: {point.sentence}")
        if what == "code" and verdict.stated and verdict.stated != _stated(document, verdict.stated.key):
            yield Misfit(one.number, f"The code of {one.number} states something else than its snapshot.")


def _code(seal: Seal, keys: PublishedKeys) -> checking.Verdict:
    return checking.check_code(seal.code, keys, timezone.now())


def _stated(document: dict[str, object], key: str) -> statement.Statement | None:
    try:
        return statement.of_snapshot(document, key)
    except (KeyError, TypeError, ValueError):
        return None


def _papers(one: Certificate, keys: PublishedKeys) -> Iterator[Misfit]:
    for document in Document.objects.filter(certificate=one):
        verdict = checking.check_paper(bytes(document.pdf), keys, timezone.now(), thorough=False)
        for point in verdict.points:
            if point.mark == checking.FAILS:
                yield Misfit(one.number, f"The {document.paper} paper of {one.number}: {point.sentence}")
        if verdict.document and snapshot.canonical(verdict.document) != one.snapshot:
            yield Misfit(one.number, f"The {document.paper} paper of {one.number} carries another signed statement.")
