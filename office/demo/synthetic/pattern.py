"""The small office: a few boats with their visits, made by the same actions as anybody's, read out and taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

from django.db import connection, models, transaction
from django.utils import timezone

from boats.models import Boat, NearSpelling
from office.backups.moving import tables
from office.certificates import pdf
from office.certificates.models import Document
from office.certificates.seal.actions import make_keys
from office.demo.clock import in_its_own_time
from office.demo.designs import DemoBoat, build_fleet
from office.demo.kits import KITS, buy, calibrate_again, calibration_days
from office.demo.load import register
from office.demo.people import DOMAIN, gather
from office.demo.story import Office, Story
from office.people.models import Person
from office.policy.actions import change_policy
from office.policy.queries import current

SEASON = 365
MOST_VISITS = 12
MEASURERS = ("measurer", "measurer2", "measurer3")
# Where the latest visit of each boat has got by today, and how many days ago it was; all others are certified.
ENDS = {
    3: ("signed", 2),
    7: ("under_review", 5),
    11: ("accepted", 9),
    15: ("planned", -12),
    19: ("draft", 1),
    23: ("asked_for", -20),
}
BOATS = 24
POLICY: dict[str, Any] = {
    "office_name": "Office of Invented Boats",
    "office_place": "Nowhere in particular",
    "number_prefix": "IB",
    "is_demo": True,
    "validity_rule": "months",
    "validity_months": 13,
    "rules_text": "Measured for nobody's rules: every boat of this office is invented.",
}


@dataclass(frozen=True, slots=True)
class Table:
    """A table's columns, where its keys lead, and its rows of the small office as the database gave them."""

    model: type[models.Model]
    columns: tuple[str, ...]
    leads_to: dict[int, str]  # column -> table
    rows: list[tuple[Any, ...]]

    @property
    def name(self) -> str:
        return self.model._meta.db_table

    def at(self, column: str) -> int:
        return self.columns.index(column)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Tables in the order in which they can be filled; of each boat's rows, whose they are (table, key -> boat)."""

    tables: dict[str, Table]
    boats: list[DemoBoat]
    whose: dict[tuple[str, Any], int] = field(default_factory=dict)


def draw(*, visits: int, seed: int, boats: int = BOATS, today: dt.date | None = None) -> Pattern:
    """`visits` to each boat, the latest of a quarter of them on their way (24 boats), and all that goes with them.

    The database must be empty, and is so again afterwards.
    """
    today = today or timezone.localdate()
    fleet = build_fleet(seed, boats)
    before = {model: set(model._base_manager.values_list("pk", flat=True)) for model in tables()}
    # Papers are rendered for a few boats only, and for those under their own names.
    with transaction.atomic(), patch.object(pdf, "render_all", lambda *given: {}):
        _live(fleet, visits, seed, today)
        drawn = Pattern({one.name: one for one in _read(before)}, fleet)
        _attribute(drawn)
        transaction.set_rollback(True)
    return drawn


def _live(boats: list[DemoBoat], visits: int, seed: int, today: dt.date) -> None:
    start = today - dt.timedelta(days=visits * SEASON + 60)
    with in_its_own_time(seed) as clock:
        clock.turn_to(dt.datetime.combine(start, dt.time(9), dt.UTC))
        people = gather(len(boats))
        by = people["administrator"]
        limits = {**current().change_limits, "default": 3.0}
        change_policy(by=by, reason="The office opens.", change_limits=limits, **POLICY)
        make_keys(by=by, reason="The office opens.")
        buy(by, people, start, today)
        office = Office(people, clock, seed)
        fleet = register(by, people, boats, start, len(boats), office.dice)
        for mark in KITS:
            for day in calibration_days(mark, start, today)[1:]:
                office.at(day, dt.time(7), lambda mark=mark, day=day: calibrate_again(by, mark, day))  # type: ignore[misc]
        for number, afloat in enumerate(fleet):
            # Boats of one design on different days, so that each day has several designs.
            alike = sum(1 for one in boats[:number] if one.plan is boats[number].plan)
            for season in range(visits - 1, 0, -1):
                day = today - dt.timedelta(days=season * SEASON + (alike * 37) % 190)
                Story(office, afloat, MEASURERS[(number + season) % 3], day, "certified")
            end, days_ago = ENDS.get(number, ("certified", 10 + (alike * 37) % 190))
            Story(office, afloat, MEASURERS[number % 3], today - dt.timedelta(days=days_ago), end)
        office.live(dt.datetime.combine(today, dt.time(6), dt.UTC))


def _read(before: dict[type[models.Model], set[Any]]) -> Iterator[Table]:
    """Every table that has got rows, with those rows by their numbers; each after those its keys lead to."""
    left = [model for model in before if model not in {NearSpelling, Document}]
    placed: set[str] = set()
    while left:
        for model in [one for one in left if _leads_to(one).issubset(placed)]:
            left.remove(model)
            placed.add(model._meta.db_table)
            fields = _fields(model)
            rows = [row for row in _stored(model, fields) if row[0] not in before[model]]
            if rows:
                led = {at: one.related_model._meta.db_table for at, one in enumerate(fields) if one.related_model}
                yield Table(model, tuple(str(one.column) for one in fields), led, rows)


def _stored(model: type[models.Model], fields: list[Any]) -> list[tuple[Any, ...]]:
    """As the driver gives them, and takes them again; the row's number comes first."""
    quote = connection.ops.quote_name
    names = ", ".join(quote(one.column) for one in fields)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {names} FROM {quote(model._meta.db_table)} ORDER BY {quote(fields[0].column)}")  # noqa: S608
        return [tuple(row) for row in cursor.fetchall()]


def _fields(model: type[models.Model]) -> list[Any]:
    """The columns that are written; the primary key is the first of every table of ours."""
    return [one for one in model._meta.local_concrete_fields if not one.generated]


def _leads_to(model: type[models.Model]) -> set[str]:
    """The other tables its keys lead to."""
    led = {one.related_model._meta.db_table for one in _fields(model) if one.related_model}
    return led - {model._meta.db_table}


def _attribute(pattern: Pattern) -> None:
    """A boat's rows: herself, her owner, and all that leads to one of these."""
    person, boat = pattern.tables[Person._meta.db_table], pattern.tables[Boat._meta.db_table]
    owners = {f"owner{number + 1}@{DOMAIN}": number for number in range(len(pattern.boats))}
    numbers = {one.sail_number: number for number, one in enumerate(pattern.boats)}
    for table, column, known in ((person, "email", owners), (boat, "sail_number", numbers)):
        for row in table.rows:
            if row[table.at(column)] in known:
                pattern.whose[table.name, row[0]] = known[row[table.at(column)]]
    for table in pattern.tables.values():
        for row in table.rows:
            for at, name in table.leads_to.items():
                if (name, row[at]) in pattern.whose:
                    pattern.whose[table.name, row[0]] = pattern.whose[name, row[at]]
