"""Two devices that say two things of one take: both are kept, and a person chooses."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from computations.catalogue import READINGS
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock
from surveys.actions.readings import amend_reading, record_reading, summary, withdraw_reading
from surveys.actions.reasons import given_reason
from surveys.models import Instrument, Reading, ReadingConflict, Visit
from surveys.values import Unreadable, read_value

CHOICES = ("mine", "theirs", "next_take")
TYPED_ANEW = "typed_anew"  # the device sent another value before anybody chose
CHOSEN = "chosen between two devices"


@transaction.atomic
def keep_conflict(
    *,
    by: Person,
    theirs: Reading,
    token: str,
    text: str = "",
    unit: str = "",
    instrument: Instrument | None = None,
    remark: str = "",
    reason: str = "",
    withdraws: bool = False,
) -> ReadingConflict:
    """Keep what a device sent for a take that says something else by now; nothing is overwritten."""
    visit = theirs.visit
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    conflict = ReadingConflict(
        token=token, visit=visit, slug=theirs.slug, mast=theirs.mast, position=theirs.position, take=theirs.take,
        withdraws=withdraws, instrument=instrument, remark=remark.strip()[:200], reason=reason.strip()[:300],
        theirs=theirs, sent_by=by,
    )  # fmt: skip
    if not withdraws:
        written = read_value(READINGS[theirs.slug], text, unit)
        conflict.value, conflict.written, conflict.unit_written = written.value, written.written, written.unit
    conflict.save(force_insert=True)
    finish(visit, by=by, verb="keep_conflict", before=summary(theirs), after=_said(conflict))
    return conflict


@transaction.atomic
def settle_conflict(
    *, by: Person, conflict: ReadingConflict, choice: str, reason: str = "", token: str | None = None
) -> Reading | None:
    """Choose: the device's value (mine), the one that stands (theirs), or both, the device's as the next take.

    Returns the reading that was written, None where the standing one is kept. Once signed, a reason is asked for.
    """
    visit = conflict.visit
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    if choice not in CHOICES or (choice == "next_take" and conflict.withdraws):
        raise Unreadable("Choice", choice, "mine, theirs or next_take", "choice")
    check_open(conflict)
    reason = given_reason(reason, 300) if reason.strip() or visit.signed_at is not None else CHOSEN
    written = _write(by, conflict, choice, reason, token)
    close(conflict, by=by, choice=choice, reason=reason)
    return written


def close(conflict: ReadingConflict, *, by: Person, choice: str, reason: str) -> None:
    """Say how it ended. Call it inside the transaction of the change."""
    lock(conflict.visit)
    conflict.choice, conflict.settled_reason = choice, reason
    conflict.settled_by, conflict.settled_at = by, timezone.now()
    conflict.save(update_fields=["choice", "settled_reason", "settled_by", "settled_at"])
    finish(
        conflict.visit, by=by, verb="settle_conflict", before=_said(conflict), after={"choice": choice}, reason=reason
    )


def check_open(conflict: ReadingConflict) -> None:
    conflict.refresh_from_db(fields=["settled_at", "settled_by", "choice"])
    if conflict.settled_at is not None:
        raise WrongState("This conflict has been settled already.")


def standing_take(visit: Visit, slug: str, mast: str, position: str, take: int) -> Reading | None:
    """The latest row of a take, which may be one that took it away."""
    rows = visit.readings.filter(slug=slug, mast=mast, position=position, take=take, replaced_by__isnull=True)
    return rows.select_related("instrument", "recorded_by").first()


def _write(by: Person, conflict: ReadingConflict, choice: str, reason: str, token: str | None) -> Reading | None:
    visit, place = conflict.visit, (conflict.slug, conflict.mast, conflict.position)
    standing = standing_take(visit, *place, conflict.take)
    counts = standing is not None and not standing.withdrawn
    if choice == "theirs":
        return None
    if conflict.withdraws:
        return withdraw_reading(by=by, reading=standing, reason=reason, token=token) if standing and counts else None
    sent = {
        "text": conflict.written,
        "unit": conflict.unit_written,
        "instrument": conflict.instrument,
        "remark": conflict.remark,
    }
    if choice == "mine" and standing is not None and counts:
        return amend_reading(by=by, reading=standing, reason=reason, token=token, **sent)  # type: ignore[arg-type]
    take = conflict.take if choice == "mine" else _next_take(visit, *place)
    slug, mast, position = place
    return record_reading(
        by=by, visit=visit, slug=slug, mast=mast, position=position, take=take, token=token, **sent  # type: ignore[arg-type]
    )  # fmt: skip


def _next_take(visit: Visit, slug: str, mast: str, position: str) -> int:
    takes = visit.readings.filter(slug=slug, mast=mast, position=position).values_list("take", flat=True)
    return max(takes, default=0) + 1


def _said(conflict: ReadingConflict) -> dict[str, str]:
    return {
        "reading": conflict.slug,
        "mast": conflict.mast,
        "position": conflict.position,
        "take": str(conflict.take),
        "written": conflict.said,
        "instrument": conflict.instrument.identifier if conflict.instrument else "",
        **({"remark": conflict.remark} if conflict.remark else {}),
    }
