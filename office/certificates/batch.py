"""How the certificates of thousands of boats stand over some days: two statements, whatever their number.

The same rules as `standing`, asked of a span of days: which certificate decides on the first day, and whether the boat
is in force on every day to the last.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

from django.db import connection

from boats.bulk import given, parameter
from office.certificates.models import Ending, Suspension
from office.certificates.standing import Standing

ENDS = "ends_during"
NONE = "none"


class Paper(NamedTuple):
    """What deciding needs of one certificate. In force from `valid_from` until the day before `before`."""

    number: str
    valid_from: dt.date
    valid_until: dt.date  # as printed
    before: dt.date
    ending: str
    suspended: tuple[tuple[dt.date, dt.date | None], ...] = ()

    @property
    def last_day(self) -> dt.date | None:
        """The last day of its own days as things stand; None where it never has one."""
        return self.before - dt.timedelta(days=1) if self.before > self.valid_from else None

    def suspended_on(self, day: dt.date) -> bool:
        return any(since <= day and (lifted is None or day < lifted) for since, lifted in self.suspended)

    def stands(self, on: dt.date) -> str:
        """As `office.certificates.standing.standing` says it."""
        if self.valid_from <= on < self.before:
            return Standing.SUSPENDED if self.suspended_on(on) else Standing.IN_FORCE
        if on < self.valid_from < self.before:
            return Standing.NOT_YET
        return Standing(self.ending) if self.ending else Standing.EXPIRED


class Over(NamedTuple):
    """`status`: in_force (on every day) | ends_during | suspended | expired | withdrawn | none (on the first day).

    `paper` is the certificate that decides. `ends_on`: the last day in force, where that lies within the span; `then`:
    how it stands on the day after. `begins_on`: where a certificate comes into force later within the span.
    """

    status: str
    paper: Paper | None = None
    ends_on: dt.date | None = None
    then: str = ""
    begins_on: dt.date | None = None


def over_days(boats: Iterable[int], first: dt.date, last: dt.date) -> dict[int, Over]:
    """For each boat's row how she stands from `first` to `last`. ValueError where the days are the wrong way round."""
    if last < first:
        raise ValueError("The last day lies before the first.")
    wanted = list(dict.fromkeys(boats))
    papers = _papers(wanted)
    return {boat: stands_over(papers.get(boat, ()), first, last) for boat in wanted}


def stands_over(papers: Sequence[Paper], first: dt.date, last: dt.date) -> Over:
    """One boat's certificates over the days; of two in a row without a gap the boat does not notice the change."""
    if not papers:
        return Over(NONE)
    for one in papers:  # nearly all of a list
        if one.valid_from <= first and last < one.before and not one.suspended:
            return Over(Standing.IN_FORCE, one)
    holding = next((one for one in papers if one.stands(first) == Standing.IN_FORCE), None)
    if holding is None:
        return _not_in_force(papers, first, last)
    paper, until = holding, _last_day_in_force(holding, first)
    while until < last:
        day = until + dt.timedelta(days=1)
        following = next((one for one in papers if one.stands(day) == Standing.IN_FORCE), None)
        if following is None:
            return Over(ENDS, holding, until, str(paper.stands(day)))
        paper, until = following, _last_day_in_force(following, day)
    return Over(Standing.IN_FORCE, holding)


def _last_day_in_force(paper: Paper, day: dt.date) -> dt.date:
    """Of the days in force without a break that begin with `day`."""
    before = min([paper.before, *(since for since, _ in paper.suspended if since > day)])
    return before - dt.timedelta(days=1)


def _not_in_force(papers: Sequence[Paper], first: dt.date, last: dt.date) -> Over:
    """The certificate whose days hold the first day (it is suspended), else the one that began last before it."""
    suspended = next((one for one in papers if one.stands(first) == Standing.SUSPENDED), None)
    begun = [one for one in papers if one.valid_from <= first and one.before > one.valid_from]
    ended = max(begun, key=lambda one: (one.before, one.valid_from), default=None)
    never = [one for one in papers if one.before <= one.valid_from and one.ending == Ending.WITHDRAWN]
    later = sorted((one for one in papers if one.stands(first) == Standing.NOT_YET), key=lambda one: one.valid_from)
    coming = later[0] if later else None
    begins = _begins(papers, first, last)
    if suspended is not None:
        return Over(Standing.SUSPENDED, suspended, begins_on=begins)
    if ended is not None:
        status = Standing.WITHDRAWN if ended.ending == Ending.WITHDRAWN else Standing.EXPIRED
        return Over(status, ended, begins_on=begins)
    if coming is not None:
        return Over(NONE, coming, begins_on=begins)
    if never:
        return Over(Standing.WITHDRAWN, max(never, key=lambda one: one.valid_from))
    return Over(NONE)


def _begins(papers: Sequence[Paper], first: dt.date, last: dt.date) -> dt.date | None:
    """The first day within the span on which a certificate is in force after all."""
    days = {one.valid_from for one in papers}
    days |= {lifted for one in papers for _, lifted in one.suspended if lifted is not None}
    within = sorted(day for day in days if first < day <= last)
    return next((day for day in within if any(one.stands(day) == Standing.IN_FORCE for one in papers)), None)


def _papers(boats: Sequence[int]) -> dict[int, list[Paper]]:
    if not boats:
        return {}
    # Unordered on purpose: which one decides is worked out, and sorting them in the database costs as much again.
    statement = (
        "SELECT one.boat_id, one.id, one.number, CAST(one.valid_from AS text), CAST(one.valid_until AS text), "  # noqa: S608
        "CAST(one.in_force_before AS text), one.ending "
        f"FROM {given()} JOIN certificates_certificate AS one ON one.boat_id = CAST(given.value AS bigint)"
    )
    with connection.cursor() as cursor:
        cursor.execute(statement, [parameter(boats)])
        rows = cursor.fetchall()
    suspended = _suspensions(boats)
    found: dict[int, list[Paper]] = defaultdict(list)
    for boat, row, number, begins, until, before, ending in rows:
        paper = Paper(number, _day(begins), _day(until), _day(before), ending, tuple(suspended.get(row, ())))
        found[boat].append(paper)
    return found


@lru_cache(maxsize=4096)
def _day(text: str) -> dt.date:
    """Certificates share a few days: each text is read once."""
    return dt.date.fromisoformat(text)


def _suspensions(boats: Sequence[int]) -> dict[int, list[tuple[dt.date, dt.date | None]]]:
    """Of certificates of these boats; suspensions are few, so all that there are of them are asked for."""
    found: dict[int, list[tuple[dt.date, dt.date | None]]] = defaultdict(list)
    wanted = set(boats)
    rows = Suspension.objects.order_by("since").values_list(
        "certificate_id", "certificate__boat_id", "since", "lifted_from"
    )
    for certificate, boat, since, lifted in rows:
        if boat in wanted:
            found[certificate].append((since, lifted))
    return found
