"""Storing a visit: a whole log sheet of 60 readings, checked, with its row of the trail, against a plain insert."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from boats.models import Boat, Mast, Rig
from boats.particulars import as_columns
from computations.catalogue import READINGS
from office.management.benchmarks import Benchmark
from office.people.models import Person, Role, RoleHolding
from surveys.actions import take_log_sheet
from surveys.logsheet import LogSheet, Row
from surveys.models import Instrument, Reading, Visit

if TYPE_CHECKING:
    from collections.abc import Callable

READINGS_A_VISIT = 60
VISITS = 400  # more than are called for
DAY = dt.date(2026, 5, 4)
# Of these a visit has several takes; together with the single ones they make sixty.
REPEATED = (
    "luff_between_bands", "forestay_above_band", "spinnaker_halyard_above_band", "foretriangle_base", "forestay_to_bow",
    "foot_distance", "pole_length", "section_fore_aft_lower", "section_transverse_lower", "section_fore_aft_upper",
    "section_transverse_upper", "boom_depth", "taper_length", "band_to_sheer", "mark_to_sheer", "string_to_sheer",
)  # fmt: skip


def _measurer() -> Person:
    person = Person.objects.create(email="bench@office.example", name="Bench")
    RoleHolding.objects.create(person=person, role=Role.MEASURER)
    return Person.objects.get(pk=person.pk)


def bench_tape() -> Instrument:
    """The benchmarks of one run share their database, and this tape."""
    defaults = {"kind": "steel_tape", "nominal_length_mm": 30000}
    return Instrument.objects.get_or_create(identifier="B-1", defaults=defaults)[0]


def bench_visits(measurer: Person, sail_number: str) -> list[Visit]:
    boat = Boat.objects.create(**as_columns({"name": "Bench", "sail_number": sail_number}))
    rig = Rig.objects.create(boat=boat, number=1, rig_type="sloop", since=DAY, spinnaker=True, pole=True)
    Mast.objects.create(rig=rig, name="main", material="aluminium")
    rows = [Visit(boat=boat, rig=rig, measurer=measurer, state="draft", date=DAY) for _ in range(VISITS)]
    return Visit.objects.bulk_create(rows)


def bench_readings() -> list[Row]:
    kinds = [READINGS[slug] for slug in REPEATED]
    places = [(kind.slug, side) for kind in kinds for side in kind.sides or ("masthead" * kind.named_position,)]
    takes = itertools.cycle(places)
    count: dict[tuple[str, str], int] = {}
    rows: list[Row] = []
    for slug, side in itertools.islice(takes, READINGS_A_VISIT):
        take = count[slug, side] = count.get((slug, side), 0) + 1
        row = Row("reading", slug, f"{1000 + len(rows)}", "mm", mast="main", position=side, take=take, instrument="B-1")
        rows.append(row)
    return rows


def _stored_visit() -> tuple[Callable[[], object], Callable[[], object]]:
    measurer = _measurer()
    tape = bench_tape()
    ours, theirs = iter(bench_visits(measurer, "QUA 1")), iter(bench_visits(measurer, "QUA 2"))
    rows = bench_readings()
    about = [Row("visit", "sail_number", "QUA 1"), Row("visit", "air_temperature", "14.5", "degC")]
    sheet = LogSheet.of([*about, *rows])

    def take() -> object:
        return take_log_sheet(by=measurer, visit=next(ours), sheet=sheet, file_sha256="0" * 64)

    def plain() -> object:
        visit, now = next(theirs), timezone.now()
        with transaction.atomic():
            return Reading.objects.bulk_create(
                Reading(
                    visit=visit,
                    slug=row.item,
                    mast=row.mast,
                    position=row.position,
                    take=row.take,
                    value=float(row.value),
                    written=row.value,
                    unit_written=row.unit,
                    instrument=tape,
                    recorded_by=measurer,
                    recorded_at=now,
                )
                for row in rows
            )

    return take, plain


BENCHMARKS = [
    Benchmark(
        name="stored_visit",
        ours="a log sheet of 60 readings taken into a visit: every check, the conditions, one row of the trail",
        peer="bulk_create of the same 60 rows in one transaction",
        prepare=_stored_visit,
        at_most=1.5,
        calls=10,
        rounds=15,
        database=True,
    )
]
