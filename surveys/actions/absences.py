""" "Not on this rig": said of a reading that the rig's description calls for, with a reason, and taken back."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from computations.catalogue import applicable_readings
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock
from surveys.actions.reasons import given_reason
from surveys.inputs import rig_inputs
from surveys.models import AbsentReading, Visit
from surveys.values import Unreadable, kind_of


class MarkExists(WrongState):
    """It is marked already; `mark` is the row that stands."""

    def __init__(self, mark: AbsentReading) -> None:
        super().__init__("This is marked as not on this rig already.")
        self.mark = mark


@transaction.atomic
def mark_absent(
    *, by: Person, visit: Visit, slug: str, mast: str, position: str, reason: str, token: str | None = None
) -> AbsentReading:
    """Say that this rig has no such thing to read. The rig's description stays the office's own."""
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    kind = kind_of(slug)
    if visit.rig is None:
        raise WrongState("The boat's rig has not been described yet, so nothing can be missing on it.")
    if (slug, mast, position) not in applicable_readings(rig_inputs(visit.rig)):
        raise Unreadable(kind.name, f"{mast} {position}".strip(), "a reading that this rig's description has", "mast")
    standing = visit.absent_readings.filter(slug=slug, mast=mast, position=position, taken_back_at__isnull=True).first()
    if standing is not None:
        raise MarkExists(standing)
    read = visit.readings.filter(slug=slug, mast=mast, replaced_by__isnull=True, withdrawn=False)
    if read.filter(**({} if kind.named_position else {"position": position})).exists():
        raise WrongState("There are readings of it on this visit; take them away first if the rig has no such thing.")
    mark = AbsentReading(
        visit=visit, slug=slug, mast=mast, position=position, reason=given_reason(reason, 300), marked_by=by
    )
    if token:
        mark.token = token
    mark.save(force_insert=True)
    finish(visit, by=by, verb="mark_absent", after=_summary(mark), reason=mark.reason)
    return mark


@transaction.atomic
def take_absence_back(*, by: Person, mark: AbsentReading, reason: str = "") -> AbsentReading:
    """The rig has it after all: it is to be read again. The mark stays readable."""
    visit = mark.visit
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    mark.refresh_from_db(fields=["taken_back_at"])
    if mark.taken_back_at is not None:
        raise WrongState("This mark has been taken back already.")
    mark.taken_back_by, mark.taken_back_at = by, timezone.now()
    mark.save(update_fields=["taken_back_by", "taken_back_at"])
    finish(visit, by=by, verb="take_absence_back", before=_summary(mark), reason=reason.strip()[:300])
    return mark


def _summary(mark: AbsentReading) -> dict[str, str]:
    return {"reading": mark.slug, "mast": mark.mast, "position": mark.position}
