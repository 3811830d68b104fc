"""An instrument found wrong: every certificate that rests on a reading taken with it, and by how much it would move.

ISO/IEC 17025:2017, 7.10 and 6.4.9 (from memory): results that a faulty instrument may have touched are found and
recalled where need be.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from computations.derivation import derive
from computations.results import DimensionResult
from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import actions, suspending
from office.certificates.models import Certificate
from office.certificates.standing import Standing, standing
from office.people.models import Role
from office.policy import queries as policy_queries
from surveys.figures import change_limits, derive_visit
from surveys.models import Instrument, Reading, Visit
from surveys.queries import with_content

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from office.people.models import Person

CHUNK = 50
UNTOUCHED = 1e-9  # a shift smaller than this, in the dimension's unit, is the arithmetic's own


@dataclass(frozen=True, slots=True)
class Effect:
    """One dimension that would move: from what was certified to what it would be with the instrument's true error."""

    result: DimensionResult
    shift: float  # new minus certified, in the dimension's unit
    limit: float  # least change that matters to the office; 0 where it has set none

    @property
    def beyond_uncertainty(self) -> bool:
        expanded = self.result.expanded_uncertainty
        return expanded is not None and abs(self.shift) > expanded

    @property
    def beyond_limit(self) -> bool:
        return abs(self.shift) > self.limit

    @property
    def weight(self) -> float:
        """The shift in units of U; the largest is listed first."""
        return abs(self.shift) / (self.result.expanded_uncertainty or 1.0)


@dataclass(frozen=True, slots=True)
class Recalled:
    """One certificate that rests on the instrument. `effects` is None where no error is given to work out."""

    certificate: Certificate
    standing: Standing
    readings: int
    effects: tuple[Effect, ...] | None

    @property
    def may_be_ticked(self) -> bool:
        return self.standing in {Standing.IN_FORCE, Standing.NOT_YET, Standing.SUSPENDED}

    @property
    def matters(self) -> bool:
        """A figure would move by more than the office's limit and by more than its own uncertainty."""
        return any(one.beyond_limit and one.beyond_uncertainty for one in self.effects or ())


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one ticked certificate; `refusal` is empty where it was done."""

    number: str
    refusal: str = ""


def resting_on(instrument: Instrument, first: dt.date, last: dt.date) -> QuerySet[Certificate]:
    """Certificates, in force and past, of visits within these days with a standing reading of the instrument."""
    counting = Reading.objects.filter(
        visit=OuterRef("visit"), instrument=instrument, withdrawn=False, replaced_by__isnull=True
    )
    return (
        Certificate.objects.filter(Exists(counting), visit__date__gte=first, visit__date__lte=last)
        .select_related("boat", "visit")
        .defer("snapshot")
        .prefetch_related("suspensions")
        .order_by("visit__date", "number")
    )


def weigh(certificates: Iterable[Certificate], instrument: Instrument, error: float | None) -> Iterator[Recalled]:
    """Each with what it amounts to; one derivation more for each visit where an error is given."""
    today, chunk = timezone.localdate(), []
    for one in certificates:
        chunk.append(one)
        if len(chunk) == CHUNK:
            yield from _weighed(chunk, instrument, error, today)
            chunk = []
    yield from _weighed(chunk, instrument, error, today)


def _weighed(
    chunk: Sequence[Certificate], instrument: Instrument, error: float | None, today: dt.date
) -> Iterator[Recalled]:
    visits = {one.pk: one for one in with_content(Visit.objects.filter(pk__in={row.visit_id for row in chunk}))}
    limits = change_limits(policy_queries.current())
    found: dict[int, tuple[Effect, ...] | None] = {}
    for certificate in chunk:
        visit = visits[certificate.visit_id]
        if visit.pk not in found:
            found[visit.pk] = None if error is None else effects(visit, instrument, error, limits)
        rows = visit.readings.all()
        replaced = {row.replaces_id for row in rows}
        count = sum(
            1 for row in rows if row.instrument_id == instrument.pk and not row.withdrawn and row.pk not in replaced
        )
        yield Recalled(certificate, standing(certificate, today), count, found[visit.pk])


def effects(visit: Visit, instrument: Instrument, error: float, limits: dict[str, float]) -> tuple[Effect, ...]:
    """The dimensions that would move if the instrument's error had been this one, the weightiest first.

    `error` is true minus indicated at the nominal length, in mm (kg for a scale), in place of the one that was
    applied. The visit comes from `with_content`.
    """
    certified = derive_visit(visit)
    given = replace(
        certified.inputs,
        instruments=tuple(
            replace(one, calibration_error=error) if one.identifier == instrument.identifier else one
            for one in certified.inputs.instruments
        ),
    )
    now = derive(given, certified.derivation.assumptions)
    moved = []
    for was in certified.derivation.dimensions:
        if was.method not in {"", "adopted"}:
            continue
        after = now.get(was.slug, was.mast, was.method)
        if was.value is None or after is None or after.value is None:
            continue
        shift = after.value - was.value
        if abs(shift) > UNTOUCHED:
            moved.append(Effect(was, shift, limits.get(was.slug, 0.0)))
    return tuple(sorted(moved, key=lambda one: -one.weight))


# ---- What is done with the ticked ones ----


def check_may_recall(person: Person) -> None:
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"Certificates are recalled by a certifier; {person.name} does not hold that role.")


def recall(*, by: Person, instrument: Instrument, numbers: Sequence[str], verb: str, reason: str) -> list[Outcome]:
    """Suspends or withdraws each ticked certificate from today, with one reason; each is a transaction of its own.

    What one certificate's state refuses is said beside its number and stops none of the others, so that a second
    click changes nothing.
    """
    check_may_recall(by)
    if verb not in {"suspend", "withdraw"}:
        raise WrongState(f"A recall suspends or withdraws; it cannot “{verb}”.")
    if not numbers:
        raise WrongState("Tick at least one certificate.")
    if not reason.strip():
        raise WrongState("A recall needs its reason: owners and race committees will ask.")
    why = f"{instrument.identifier} found wrong: {reason.strip()}"
    outcomes = [_one(by, number, verb, why) for number in dict.fromkeys(numbers)]
    done = [one.number for one in outcomes if not one.refusal]
    if done:
        with transaction.atomic():
            trail.record(
                by=by,
                verb="recall_certificates",
                subject=instrument,
                after={"certificates": done, "done": verb},
                reason=reason.strip(),
            )
    return outcomes


def _one(by: Person, number: str, verb: str, reason: str) -> Outcome:
    certificate = Certificate.objects.filter(number=number).select_related("boat", "visit").first()
    if certificate is None:
        return Outcome(number, "There is no such certificate.")
    today = max(timezone.localdate(), certificate.valid_from)
    try:
        if verb == "suspend":
            suspending.suspend(by=by, certificate=certificate, since=today, reason=reason)
        else:
            actions.withdraw(by=by, certificate=certificate, on=today, reason=reason)
    except Refusal as refusal:
        return Outcome(number, str(refusal))
    return Outcome(number)
