"""Suspend and reinstate: the certificate stays what it is, for some days it does not count."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import WrongState
from office.certificates import numbering, rules
from office.certificates.models import Certificate, Suspension

if TYPE_CHECKING:
    from office.people.models import Person

LIFTED = ("lifted_from", "lift_reason", "lifted_at", "lifted_by_id")  # columns that come with the reinstatement


def suspend(*, by: Person, certificate: Certificate, since: dt.date, reason: str) -> Suspension:
    """From the day `since` on the certificate is not in force, until it is reinstated or ends."""
    why = _stated(reason, "A suspension needs its reason: owners and race committees will ask.")
    with transaction.atomic():
        certificate = _locked(certificate)
        rules.check_may_suspend(by, certificate)
        return write_suspension(by, certificate, since, why)


def write_suspension(by: Person, certificate: Certificate, since: dt.date, reason: str) -> Suspension:
    """Part of a larger step that has asked who may and waited for its turn; asks what the state allows."""
    rules.check_can_suspend(certificate, since, timezone.localdate())
    made = Suspension.objects.create(
        certificate=certificate,
        since=max(since, certificate.valid_from),
        reason=reason,
        suspended_at=timezone.now(),
        suspended_by=by,
    )
    after = {"suspended_from": made.since.isoformat(), "row_sha256": row_sha256(made, without=LIFTED)}
    _record(by, "suspend_certificate", certificate, {}, after, reason)
    return made


def reinstate(*, by: Person, certificate: Certificate, on: dt.date, reason: str) -> Suspension:
    """From the day `on` the certificate is in force again."""
    why = _stated(reason, "A reinstatement needs its reason: what was found, and by whom.")
    with transaction.atomic():
        certificate = _locked(certificate)
        rules.check_may_reinstate(by, certificate)
        return lift_suspension(by, certificate, on, why)


def lift_suspension(by: Person, certificate: Certificate, on: dt.date, reason: str) -> Suspension:
    """Part of a larger step, as `write_suspension`."""
    rules.check_can_reinstate(certificate, on, timezone.localdate())
    running = Suspension.objects.get(certificate=certificate, lifted_from__isnull=True)
    running.lifted_from, running.lift_reason = on, reason
    running.lifted_at, running.lifted_by = timezone.now(), by
    running.save(update_fields=["lifted_from", "lift_reason", "lifted_at", "lifted_by"])
    before = {"suspended_from": running.since.isoformat()}
    after = {"in_force_again_from": on.isoformat(), "row_sha256": row_sha256(running)}
    _record(by, "reinstate_certificate", certificate, before, after, reason)
    return running


def _stated(reason: str, sentence: str) -> str:
    if not reason.strip():
        raise WrongState(sentence)
    return reason.strip()


def _locked(certificate: Certificate) -> Certificate:
    """The certificate as it stands once nobody else is writing one."""
    numbering.wait_for_turn()
    rows = Certificate.objects.select_related("boat", "visit").prefetch_related("suspensions")
    return rows.get(pk=certificate.pk)


def _record(
    by: Person, verb: str, certificate: Certificate, before: dict[str, str], after: dict[str, str], reason: str
) -> None:
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
