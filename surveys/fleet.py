"""All accepted visits of the office as the fleet's least squares takes them, and what comes of it.

Seven queries whatever the number of visits; readings are streamed, and only a few numbers of each are kept.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db.models import Count, Max, QuerySet

from boats.models import Rig
from boats.rigs import as_inputs
from computations import inputs
from computations.catalogue import READINGS, TAPES
from computations.fleet.findings import Findings, findings_of
from computations.fleet.gathering import PLACED_ANEW, Fleet, Gathering
from computations.fleet.solving import FleetSolution, solve
from office.policy import queries as policy_queries
from surveys.inputs import instrument_inputs
from surveys.models import Calibration, Instrument, Reading, Visit, VisitState

CHUNK = 5000  # rows fetched at once
LENGTHS = [slug for slug, kind in READINGS.items() if kind.quantity == "length" and kind.feeds]
VISIT_FIELDS = ("pk", "key", "date", "air_temperature_c", "signed_at", "rig_id", "boat__key", "measurer__key")
READING_FIELDS = ("visit_id", "slug", "value", "mast", "position", "take", "instrument_id")

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Solved:
    """The office's fleet: what went in, the solution and its sentences."""

    fleet: Fleet
    solution: FleetSolution
    findings: Findings


def solved_fleet() -> Solved:
    """The fleet as it stands today; worked out anew only when a visit, a calibration or the policy has come since."""
    visits = _accepted().aggregate(number=Count("pk"), latest=Max("accepted_at"))
    calibrations = Calibration.objects.aggregate(latest=Max("pk"))
    return _solved((visits["number"], visits["latest"], calibrations["latest"], policy_queries.current().pk))


@lru_cache(maxsize=1)
def _solved(_standing: tuple[object, ...]) -> Solved:
    return solve_fleet()


def solve_fleet(progress: Progress = lambda done, of: None) -> Solved:
    """Gather and solve, whatever was worked out before. `progress` hears how many visits are read, of how many."""
    fleet = gather(progress)
    solution = solve(fleet.observations, fleet.sizes, fleet.data)
    return Solved(fleet, solution, findings_of(fleet, solution))


def gather(progress: Progress = lambda done, of: None) -> Fleet:
    """Every accepted visit under today's assumptions."""
    gathering = Gathering(policy_queries.assumptions(policy_queries.current()))
    kit, rigs = _Kit(), _rigs()
    visits = {row["pk"]: row for row in _accepted().values(*VISIT_FIELDS).iterator(chunk_size=CHUNK)}
    by_visit = groupby(_readings().iterator(chunk_size=CHUNK), key=itemgetter(0))
    for done, (number, rows) in enumerate(by_visit, start=1):
        visit = visits[number]
        rig = rigs.get(visit["rig_id"]) or inputs.Rig()
        gathering.add(visit["boat__key"], visit["measurer__key"] or "", _inputs(visit, rig, list(rows), kit))
        progress(done, len(visits))
    return gathering.finish()


def _accepted() -> QuerySet[Visit]:
    return Visit.objects.filter(state=VisitState.ACCEPTED, date__isnull=False)


def _readings() -> QuerySet[Reading, tuple[Any, ...]]:
    slugs = [slug for slug in LENGTHS if slug not in PLACED_ANEW]
    rows = Reading.objects.filter(
        visit__in=_accepted(), slug__in=slugs, instrument__kind__in=TAPES, withdrawn=False, replaced_by__isnull=True
    )
    return rows.order_by("visit_id", "pk").values_list(*READING_FIELDS)


def _rigs() -> dict[int, inputs.Rig]:
    used = Rig.objects.filter(pk__in=_accepted().values("rig")).prefetch_related("masts")
    return {rig.pk: as_inputs(rig) for rig in used}


def _inputs(visit: dict[str, Any], rig: inputs.Rig, rows: list[tuple[Any, ...]], kit: _Kit) -> inputs.Visit:
    tapes = {number: kit.as_of(number, visit["date"], visit["signed_at"]) for number in {row[6] for row in rows}}
    return inputs.Visit(
        key=visit["key"],
        date=visit["date"],
        air_temperature_c=visit["air_temperature_c"],
        rig=rig,
        instruments=tuple(sorted(tapes.values(), key=lambda tape: tape.identifier)),
        readings=tuple(
            inputs.Reading(slug, value, mast, position, take, tapes[tape].identifier)
            for _, slug, value, mast, position, take, tape in _walked(rows)
        ),
    )


def _walked(rows: list[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """In the order a measurer walks, so that visits with the same readings share their formulas."""
    yield from sorted(rows, key=lambda row: (READINGS[row[1]].order, row[3:6]))


class _Kit:
    """Every tape and rule with its calibrations, each made into inputs once."""

    def __init__(self) -> None:
        self.tapes = {one.pk: one for one in Instrument.objects.filter(kind__in=TAPES)}
        self.calibrations: dict[int, list[Calibration]] = {}
        for row in Calibration.objects.filter(instrument__in=self.tapes).order_by("calibrated_on"):
            self.calibrations.setdefault(row.instrument_id, []).append(row)
        self.made: dict[tuple[int, int | None], inputs.Instrument] = {}

    def as_of(self, number: int, day: dt.date, signed_at: dt.datetime | None) -> inputs.Instrument:
        """The tape under the calibration that counted in a visit of that day, signed at that moment."""
        counting = [
            row
            for row in self.calibrations.get(number, ())
            if row.calibrated_on <= day and (signed_at is None or row.recorded_at <= signed_at)
        ]
        calibration = counting[-1] if counting else None
        known = (number, calibration.pk if calibration else None)
        if known not in self.made:
            self.made[known] = instrument_inputs(self.tapes[number], calibration)
        return self.made[known]
