"""Each amendment against what it states, its papers, the certificate it names and its row of the trail."""

from __future__ import annotations

from collections.abc import Iterator

from office import papers
from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates import snapshot
from office.certificates.models import Amendment
from office.certificates.verification.findings import Misfit, guarded, parsed, readable

VERB = "amend_certificate"


def check_all() -> Iterator[Misfit]:
    rows = Amendment.objects.select_related("certificate", "issued_by", "seal__statement_key", "seal__paper_key")
    kept = set()
    for one in readable(rows, "certificate__number"):
        if isinstance(one, Misfit):
            yield one
            continue
        kept.add((one.certificate.number, one.number))
        for check in (_stated(one), _papers(one)):
            yield from guarded(str(one), check)
    for number, certificate, after in Entry.objects.filter(verb=VERB).values_list("number", "certificate", "after"):
        if (certificate, parsed(after).get("number")) not in kept:
            yield Misfit(
                certificate,
                f"Row {number} of the trail tells of an amendment to {certificate} that the register does not hold.",
            )


def _stated(one: Amendment) -> Iterator[Misfit]:
    name, stated = str(one), parsed(one.snapshot)
    if snapshot.sha256(one.snapshot) != one.snapshot_sha256:
        yield Misfit(name, f"What {name} states was altered: it does not have the hash kept with it.")
    if not stated or snapshot.canonical(stated) != one.snapshot:
        yield Misfit(name, f"What {name} states is not JSON in canonical form.")
        return
    for what, kept, said in (
        ("certificate", one.certificate.number, stated.get("certificate")),
        ("hash of the certificate", one.certificate.snapshot_sha256, stated.get("certificate_sha256")),
        ("number", one.number, stated.get("number")),
        ("text", one.text, stated.get("text")),
        ("reason", one.reason, stated.get("reason")),
        ("time of issue", snapshot.instant(one.issued_at), stated.get("issued_at")),
    ):
        if kept != said:
            yield Misfit(name, f"{name} is kept with another {what} than it states.")


def _papers(one: Amendment) -> Iterator[Misfit]:
    """The papers have their hashes, and the trail tells of this amendment with them."""
    name, hashes = str(one), {}
    for document in one.documents.all():
        hashes[document.paper] = document.pdf_sha256
        if snapshot.sha256(bytes(document.pdf)) != document.pdf_sha256:
            yield Misfit(name, f"The {document.paper} paper of {name} was altered: it does not have its hash.")
    if missing := [size for size in papers.SIZES if size not in hashes]:
        yield Misfit(name, f"{name} has no paper in {' or '.join(missing)}.")
    told = Entry.objects.filter(verb=VERB, certificate=one.certificate.number, actor=one.issued_by.key)
    wanted = {"number": one.number, "snapshot_sha256": one.snapshot_sha256, "documents": hashes}
    if seal := getattr(one, "seal", None):
        wanted |= {"statement_key": seal.statement_key.identifier, "paper_key": seal.paper_key.identifier}
    digest = row_sha256(one)  # rows of the trail of before tell none
    afters = [parsed(row.after) for row in told]
    if not any(wanted.items() <= after.items() and after.get("row_sha256", digest) == digest for after in afters):
        yield Misfit(name, f"The trail does not tell of {name} as the register holds it.")
