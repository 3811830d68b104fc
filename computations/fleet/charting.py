"""Control charts of the fleet: how each tape and each measurer did, visit by visit.

Limits as for individual values: the mean ± 2.66 x the mean moving range (Shewhart's chart; the constant is
3 / 1.128, from memory), so that they come from the visits themselves and not from any assumption.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from computations.charts import WIDTH, Point, draw_history
from computations.fleet.gathering import Fleet
from computations.fleet.observations import Flags, Floats
from computations.fleet.solving import FleetSolution

LATEST = 40  # visits drawn: more would be a smear
FEWEST = 5  # visits below which there are no limits to speak of
LIMIT = 2.66


@dataclass(frozen=True, slots=True)
class Control:
    """One instrument's or measurer's visits in order of their days; `limits` are None for too few."""

    number: int  # the tape's or the measurer's
    points: tuple[Point, ...]
    mean: float
    limits: tuple[float, float] | None

    @property
    def outside(self) -> tuple[Point, ...]:
        if self.limits is None:
            return ()
        low, high = self.limits
        return tuple(point for point in self.points if not low <= point.value <= high)


def tape_charts(fleet: Fleet, solution: FleetSolution) -> Iterator[Control]:
    """Each tape's scale error as each visit alone would have it, mm/m."""
    observations = fleet.observations
    metres = observations.value_mm / 1000.0
    for one in solution.tapes:
        if one.mm_per_m is not None:
            yield _control(fleet, solution, one.tape, (observations.tape == one.tape), metres, one.mm_per_m)


def measurer_charts(fleet: Fleet, solution: FleetSolution) -> Iterator[Control]:
    """Each measurer's readings against what is expected of that measurer, mean of each visit, mm."""
    ones = np.ones(len(fleet.observations))
    for number in range(len(fleet.measurers)):
        yield _control(fleet, solution, number, fleet.observations.measurer == number, ones, 0.0)


def _control(fleet: Fleet, solution: FleetSolution, number: int, rows: Flags, per: Floats, middle: float) -> Control:
    """Visit by visit the weighted least-squares slope of the residuals against `per`, about `middle`."""
    rows = rows & np.isfinite(solution.residual_mm) & np.isfinite(solution.residual_u_mm)
    visit, day = fleet.observations.visit[rows], fleet.observations.day[rows]
    weight = fleet.observations.independent_u_mm[rows] ** -2
    length = int(visit.max(initial=-1)) + 1
    above = np.bincount(visit, weight * per[rows] * solution.residual_mm[rows], length)
    below = np.bincount(visit, weight * per[rows] ** 2, length)
    days = dict(zip(visit.tolist(), day.tolist(), strict=True))
    known = sorted(days, key=lambda one: (days[one], one))
    values = [middle + float(above[one] / below[one]) for one in known]
    points = tuple(
        Point(dt.date.fromordinal(int(days[one])), value, None) for one, value in zip(known, values, strict=True)
    )
    mean = float(np.mean(values)) if values else middle
    if len(values) < FEWEST:
        return Control(number, points, mean, None)
    reach = LIMIT * float(np.abs(np.diff(values)).mean())
    return Control(number, points, mean, (mean - reach, mean + reach))


def draw_control(control: Control, *, unit: str, title: str, id_prefix: str, width: float = WIDTH) -> str:
    """The latest visits as SVG, the limits as the shaded band."""
    return draw_history(
        control.points[-LATEST:], unit=unit, band=control.limits, title=title, id_prefix=id_prefix, width=width
    )
