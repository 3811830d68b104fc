"""The trail: an audited write against a plain one, and walking the chain against merely reading its rows."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from django.db import connection, transaction

from boats.models import Boat
from boats.particulars import as_columns
from office.audit import trail
from office.audit.chain import COLUMNS
from office.audit.verification import CHUNK
from office.management.benchmarks import Benchmark
from office.people.models import Person, Role, RoleHolding

if TYPE_CHECKING:
    from collections.abc import Callable

WALKED = 100_000


def _audited_write() -> tuple[Callable[[], object], Callable[[], object]]:
    person = Person.objects.create(email="trail@office.example", name="Bench")
    RoleHolding.objects.create(person=person, role=Role.ADMINISTRATOR)
    boat = Boat.objects.create(**as_columns({"name": "Bench", "sail_number": "QUA 77"}))
    harbours = itertools.cycle(["North quay", "South quay"])

    def audited() -> None:
        before, boat.harbour = boat.harbour, next(harbours)
        with transaction.atomic():
            boat.save()
            trail.record(
                by=person,
                verb="change_particulars",
                subject=boat,
                before={"harbour": before},
                after={"harbour": boat.harbour},
                reason="the boat was moved",
                boat=boat.key,
            )

    def plain() -> None:
        boat.harbour = next(harbours)
        with transaction.atomic():
            boat.save()

    return audited, plain


def _verification() -> tuple[Callable[[], object], Callable[[], object]]:
    with transaction.atomic():
        for number in range(WALKED):
            trail.record(
                by=None,
                verb="record reading",
                subject=trail.Subject("visit", "a1B2c3D4e5F6g7H8", "visit to Bench (QUA 77) on 2026-05-04"),
                before={"figure": number},
                after={"figure": number + 1, "unit": "mm"},
                reason="read again",
                boat="a1B2c3D4e5F6g7H8",
                visit="a1B2c3D4e5F6g7H8",
            )

    def walk() -> None:
        if trail.verify():
            raise RuntimeError("the trail that was just written does not fit")

    def read() -> None:
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {', '.join(COLUMNS)} FROM audit_entry ORDER BY number")  # noqa: S608  (fixed names)
            while cursor.fetchmany(CHUNK):
                pass

    return walk, read


BENCHMARKS = [
    Benchmark(
        name="audited_write",
        ours="a boat saved with its row of the trail, hashed and chained, in one transaction",
        peer="the same boat saved in a transaction",
        prepare=_audited_write,
        at_most=1.5,
        calls=50,
        rounds=21,
        database=True,
    ),
    Benchmark(
        name="trail_verification",
        ours="every hash, number and link of the trail recomputed, and every trigger looked up",
        peer="a bare SELECT of the same rows",
        prepare=_verification,
        at_most=5,
        calls=1,
        rounds=15,
        database=True,
    ),
]
