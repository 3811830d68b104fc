"""Issue and withdraw: each one transaction that holds the change, its documents and its rows of the trail."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import WrongState
from office.certificates import numbering, pdf, queries, rules, snapshot
from office.certificates.models import Certificate, Document, Ending
from office.certificates.seal import keyring, sealing
from office.certificates.validity import validity
from office.policy import queries as policy_queries
from surveys.figures import Figures, derive_visit
from surveys.models import Visit

if TYPE_CHECKING:
    from office.people.models import Person

ENDED = ("in_force_before", "ending", "ended_on", "ended_at", "ended_by_id", "ending_reason")  # columns of the end


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A certificate worked out but not written: what the issue page shows and what the issue writes."""

    visit: Visit
    figures: Figures
    issue: snapshot.Issue
    document: dict[str, Any]
    in_force: Certificate | None  # the one whose days end where this one begins
    keys: keyring.InUse
    text: str = field(default="")  # canonical form of the document


def issue(
    *,
    by: Person,
    visit: Visit,
    valid_from: dt.date | None = None,
    reason: str = "",
    replacing: str | None = None,
    then: Callable[[Certificate], object] = lambda made: None,
) -> Certificate:
    """A certificate of an accepted visit; the one in force on its first day is replaced by it.

    `replacing` names the certificate that the page showed as the one to be replaced ("" for none): somebody else's
    issue in between is refused as stale. A visit that was certified before takes both `replacing` and `reason`.
    The number is taken first, and the papers are rendered and sealed outside the transaction that holds up other
    writers; once more inside it only where what they state, or the keys, have changed meanwhile. `then` is done in that
    transaction too.
    """
    moment, today = timezone.now(), timezone.localdate()

    def drafted(held: numbering.Held | None = None) -> Draft:
        return draft(
            by=by, visit=visit, valid_from=valid_from, reason=reason, replacing=replacing, at=moment, held=held
        )

    first = drafted()
    prefix = first.issue.policy.number_prefix
    with numbering.held(prefix, today) as held:
        ahead = _numbered(first, held)
        sealed = sealing.prepare(ahead.document, ahead.text, ahead.keys)
        papers = pdf.render_all(ahead.document, sealed)
        with transaction.atomic():
            numbering.wait_for_turn()
            now = drafted(held if numbering.use(held) else numbering.hold_and_use(prefix, today))
            if (now.text, now.keys) != (ahead.text, ahead.keys):
                sealed = sealing.prepare(now.document, now.text, now.keys)
                papers = pdf.render_all(now.document, sealed)
            made = _write(by, now, papers, sealed)
            then(made)
            return made


def _numbered(ready: Draft, held: numbering.Held) -> Draft:
    """The same statement under the number taken for it."""
    details = dataclasses.replace(ready.issue, number=held.number, trail_head=held.trail_head)
    document = snapshot.build_snapshot(ready.visit, ready.figures, details)
    return dataclasses.replace(ready, issue=details, document=document, text=snapshot.canonical(document))


def draft(
    *,
    by: Person,
    visit: Visit,
    valid_from: dt.date | None = None,
    reason: str = "",
    replacing: str | None = None,
    at: dt.datetime | None = None,
    held: numbering.Held | None = None,
) -> Draft:
    """What an issue would state, every rule asked; writes nothing. The visit is read anew.

    Without a number `held` it states the next one there would be.
    """
    visit = Visit.objects.select_related("boat__design", "rig", "measurer", "reviewer").get(pk=visit.pk)
    today = timezone.localdate()
    first_day = valid_from or today
    moment = at or timezone.now()
    policy = policy_queries.current()
    rules.check_accepted(visit)
    rules.check_may_issue(by, visit)
    rules.check_first_day(first_day, visit, today)
    last_day = validity(policy, first_day)
    rules.check_no_newer(visit)
    rules.check_nothing_begins_later(visit, first_day, last_day)
    rules.check_as_signed(visit)
    keys = keyring.in_use(moment)
    in_force = queries.spanning(visit.boat, first_day)
    predecessor = predecessor_of(visit, in_force)
    rules.check_named(replacing, predecessor)
    rules.check_replacement(visit, reason, replacing)
    details = snapshot.Issue(
        number=held.number if held else numbering.next_number(policy.number_prefix, today),
        certifier=by,
        issued_at=max(moment, keys.used_from),  # keys made anew while this one was waiting
        valid_from=first_day,
        valid_until=last_day,
        policy=policy,
        trail_head=held.trail_head if held else trail.head(),
        replaces=predecessor,
        reason=reason.strip(),
    )
    figures = derive_visit(visit)
    document = snapshot.build_snapshot(visit, figures, details)
    return Draft(
        visit=visit,
        figures=figures,
        issue=details,
        document=document,
        in_force=in_force,
        keys=keys,
        text=snapshot.canonical(document),
    )


def predecessor_of(visit: Visit, in_force: Certificate | None) -> Certificate | None:
    """The certificate that a new one of this visit names: the one in force, else the visit's own last one.

    Followed to the end of its chain, so that each certificate is replaced by one only.
    """
    former = in_force or queries.of_visit(visit).first()
    return queries.end_of_chain(former) if former else None


def _write(by: Person, ready: Draft, papers: dict[str, bytes], sealed: sealing.Sealing) -> Certificate:
    """The rows of an issue and of the replacement it brings, with their rows of the trail."""
    visit, details = ready.visit, ready.issue
    if ready.in_force:
        _end_by_replacement(by, ready.in_force, details)
    certificate = Certificate.objects.create(
        number=details.number,
        boat=visit.boat,
        visit=visit,
        replaces=details.replaces,
        issued_at=details.issued_at,
        issued_by=by,
        issue_reason=details.reason,
        valid_from=details.valid_from,
        valid_until=details.valid_until,
        snapshot=ready.text,
        snapshot_sha256=snapshot.sha256(ready.text),
        trail_head=details.trail_head[1],
        in_force_before=details.valid_until + dt.timedelta(days=1),
    )
    documents = [
        Document.objects.create(certificate=certificate, paper=paper, pdf=content, pdf_sha256=snapshot.sha256(content))
        for paper, content in papers.items()
    ]
    sealing.store(certificate, sealed, ready.keys)
    queries.no_longer_awaited(visit)
    trail.record(
        by=by,
        verb="issue_certificate",
        subject=certificate,
        after={
            "number": certificate.number,
            "visit": visit.key,
            "valid_from": certificate.valid_from.isoformat(),
            "valid_until": certificate.valid_until.isoformat(),
            "replaces": details.replaces.number if details.replaces else "",
            "snapshot_sha256": certificate.snapshot_sha256,
            "trail_head": certificate.trail_head,
            "documents": {one.paper: one.pdf_sha256 for one in documents},
            "statement_key": sealed.statement_key,
            "paper_key": sealed.paper_key.identifier,
            "row_sha256": row_sha256(certificate, without=ENDED),
        },
        reason=details.reason,
        boat=visit.boat.key,
        visit=visit.key,
        certificate=certificate.number,
    )
    return certificate


def _end_by_replacement(by: Person, former: Certificate, details: snapshot.Issue) -> None:
    """The certificate in force on the new one's first day ends before that day."""
    reason = details.reason or f"Replaced by {details.number}."
    _end(by, former, Ending.REPLACED, details.valid_from, reason, verb="replace_certificate", by_number=details.number)


def withdraw(*, by: Person, certificate: Certificate, on: dt.date, reason: str) -> Certificate:
    """From the day `on` the certificate is no longer in force; one that has not begun never will be."""
    why = reason.strip()
    if not why:
        raise WrongState("A withdrawal needs its reason: owners and race committees will ask.")
    with transaction.atomic():
        numbering.wait_for_turn()
        certificate = Certificate.objects.select_related("boat", "visit").get(pk=certificate.pk)
        rules.check_may_withdraw(by, certificate)
        return write_withdrawal(by, certificate, on, why)


def write_withdrawal(by: Person, certificate: Certificate, on: dt.date, reason: str) -> Certificate:
    """Part of a larger step that has asked who may and waited for its turn; asks what the state allows."""
    rules.check_can_withdraw(certificate, on, timezone.localdate())
    _end(by, certificate, Ending.WITHDRAWN, max(on, certificate.valid_from), reason, verb="withdraw_certificate")
    return certificate


def _end(
    by: Person, certificate: Certificate, ending: Ending, on: dt.date, reason: str, *, verb: str, by_number: str = ""
) -> None:
    """Brings the end forward to `on`, the first day no longer in force, and records it."""
    before = {"in_force_before": certificate.in_force_before.isoformat(), "ending": certificate.ending}
    certificate.in_force_before = on
    certificate.ending = ending
    certificate.ended_on = on
    certificate.ended_at = timezone.now()
    certificate.ended_by = by
    certificate.ending_reason = reason
    certificate.save(update_fields=["in_force_before", "ending", "ended_on", "ended_at", "ended_by", "ending_reason"])
    after = {"in_force_before": on.isoformat(), "ending": str(ending), "row_sha256": row_sha256(certificate)}
    if by_number:
        after["replaced_by"] = by_number
    trail.record(
        by=by,
        verb=verb,
        subject=certificate,
        before=before,
        after=after,
        reason=reason,
        boat=certificate.boat.key,
        visit=certificate.visit.key,
        certificate=certificate.number,
    )
