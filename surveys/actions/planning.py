"""From the request to the first reading: ask, plan, begin, call off; and the exceptions for interested parties."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from boats.models import Boat, Rig
from office.audit.refusals import Refusal, WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, move, text_of
from surveys.actions.reasons import given_reason
from surveys.models import InterestException, Visit
from surveys.values import check_plan_day, seen

LONGEST_REQUEST = 2000


@transaction.atomic
def ask_for_visit(*, by: Person, boat: Boat, request: str) -> Visit:
    """A visit is wanted: asked for by the owner or the office. One request for a boat waits at a time."""
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)  # one request at a time
    rules.check_nothing_asked(boat)
    rules.check_may_ask(by, boat)
    request = seen("Request", request, LONGEST_REQUEST, "request", lines=True)
    visit = Visit(boat=boat, asked_by=by, asked_at=timezone.now(), request=request, edition=0)
    visit.save()
    return finish(visit, by=by, verb="ask_for_visit", after={"state": visit.state, "request": request})


@transaction.atomic
def plan_visit(*, by: Person, visit: Visit, measurer: Person, planned_on: dt.date, harbour: str) -> Visit:
    """Give the visit a measurer, a day and a harbour, or another plan; the same plan again changes nothing."""
    lock(visit)
    rules.check_state(visit, "plan")
    rules.check_may_plan(by)
    rules.check_assignable(measurer, visit)
    harbour = seen("Harbour", harbour, 80, "harbour")
    check_plan_day(planned_on)
    before = _plan(visit)
    visit.measurer, visit.planned_on, visit.harbour = measurer, planned_on, harbour
    after = _plan(visit)
    if visit.state == "planned" and before == after:
        return visit
    return move(
        visit,
        "plan",
        by=by,
        verb="plan_visit",
        fields=("measurer", "planned_on", "harbour"),
        before=before,
        after=after,
    )


@transaction.atomic
def plan_several(
    *, by: Person, visits: Iterable[Visit], measurer: Person, planned_on: dt.date, harbour: str = ""
) -> list[Visit]:
    """One day and one measurer for all of them, or for none: the first that is refused says why, by its boat's name.

    Without `harbour` each keeps the one it was planned for, or takes the boat's own.
    """
    rules.check_may_plan(by)
    planned = []
    for visit in visits:
        where = harbour or visit.harbour or visit.boat.harbour
        try:
            done = plan_visit(by=by, visit=visit, measurer=measurer, planned_on=planned_on, harbour=where)
        except Refusal as refusal:
            raise WrongState(f"{visit.boat.name}: {refusal} None of the ticked visits was planned.") from refusal
        planned.append(done)
    return planned


def _plan(visit: Visit) -> dict[str, str]:
    return {
        "measurer": visit.measurer.key if visit.measurer else "",
        "planned_on": text_of(visit.planned_on),
        "harbour": visit.harbour,
    }


@transaction.atomic
def begin_visit(*, by: Person, visit: Visit) -> Visit:
    """The measurer is at the boat: the visit takes today's date, the planned harbour and the rig as described."""
    lock(visit)
    rules.check_state(visit, "begin")
    rules.check_may_begin(by, visit)
    rig = _present_rig(visit.boat)
    visit.rig, visit.date, visit.place = rig, timezone.localdate(), visit.place or visit.harbour
    return move(
        visit,
        "begin",
        by=by,
        verb="begin_visit",
        fields=("rig", "date", "place"),
        after={"rig": rig.key, "date": text_of(visit.date), "place": visit.place},
    )


def _present_rig(boat: Boat) -> Rig:
    rig = boat.rigs.filter(until__isnull=True).first()
    if rig is None:
        raise WrongState(f"The rig of {boat.name} has not been described yet; describe it first, then begin the visit.")
    return rig


@transaction.atomic
def follow_rig(*, by: Person, visit: Visit) -> Visit:
    """Take the rig as it is described now, where it was described anew since the visit began."""
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    rig = _present_rig(visit.boat)
    if visit.rig_id == rig.pk:
        return visit
    before = visit.rig.key if visit.rig else ""
    visit.rig = rig
    return finish(visit, by=by, verb="follow_rig", fields=("rig",), before={"rig": before}, after={"rig": rig.key})


@transaction.atomic
def call_off_visit(*, by: Person, visit: Visit, reason: str) -> Visit:
    """The visit will not take place, or was broken off before it was signed."""
    lock(visit)
    rules.check_state(visit, "call_off")
    rules.check_role(by, "call_off")
    return move(visit, "call_off", by=by, verb="call_off_visit", reason=given_reason(reason))


@transaction.atomic
def grant_exception(*, by: Person, visit: Visit, person: Person, reason: str) -> InterestException:
    """The office lets an interested party measure, review or certify this one visit, and says why."""
    lock(visit)
    rules.check_state(visit, "grant_exception")
    rules.check_may_grant(by, person, visit)
    if visit.interest_exceptions.filter(person=person).exists():
        raise WrongState("This exception has been granted already.")
    granted = InterestException(visit=visit, person=person, reason=given_reason(reason), granted_by=by)
    granted.save()
    finish(
        visit,
        by=by,
        verb="grant_exception",
        after={"person": person.key, "interest": rules.interest_in(person, visit)},
        reason=granted.reason,
    )
    return granted
