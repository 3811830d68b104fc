"""An audited write against the same write without its row of the trail, each a durable transaction of its own."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from django.db import transaction

from boats.models import Boat
from boats.particulars import as_columns
from office.audit import trail
from office.management.benchmarks import Benchmark
from office.people.models import Person, Role, RoleHolding

if TYPE_CHECKING:
    from collections.abc import Callable


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
    )
]
