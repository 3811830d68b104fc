"""The page that a paper's code points to, through the server: against a bare view, and against itself as written."""

from __future__ import annotations

import atexit
import contextlib
import datetime as dt
import os
from typing import TYPE_CHECKING

from boats.models import Boat
from boats.particulars import as_columns
from office.certificates import snapshot
from office.certificates.models import Certificate
from office.management import serving
from office.management.benchmarks import Benchmark
from office.management.benchmarks.papers import document
from office.people.models import Person
from surveys.models import Visit

if TYPE_CHECKING:
    from collections.abc import Callable

CERTIFICATES = int(os.environ.get("BENCH_PUBLIC_CERTIFICATES", "200"))
REQUESTS = int(os.environ.get("BENCH_PUBLIC_REQUESTS", "1500"))  # of the quicker one in a round
DAY = dt.date(2026, 5, 4)


def certified(count: int) -> list[str]:
    """The numbers of so many certificates, each of a boat of its own; those there are already count."""
    person, _ = Person.objects.get_or_create(email="public@bench.example", defaults={"name": "Bench"})
    known = list(Certificate.objects.filter(issued_by=person).order_by("pk").values_list("number", flat=True))
    return known[:count] + [_certify(person, place) for place in range(len(known), count)]


def _certify(person: Person, place: int) -> str:
    boat = Boat.objects.create(**as_columns({"name": f"Bench {place}", "sail_number": f"QUA {9000 + place}"}))
    stated = document(place + 1)
    stated["boat"] |= {"name": boat.name, "sail_number": boat.sail_number}
    text = snapshot.canonical(stated)
    made = Certificate.objects.create(
        number=stated["number"], boat=boat, visit=Visit.objects.create(boat=boat, measurer=person),
        issued_at=dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.UTC), issued_by=person, valid_from=DAY,
        valid_until=dt.date(2026, 12, 31), in_force_before=dt.date(2027, 1, 1), snapshot=text,
        snapshot_sha256=snapshot.sha256(text), trail_head="0f" * 32,
    )  # fmt: skip
    return made.number


def pages(numbers: list[str], count: int) -> list[bytes]:
    """So many requests for their pages, one certificate after the other."""
    return [serving.get(f"/check/c/{numbers[place % len(numbers)]}/") for place in range(count)]


def asked(application: str, requests: list[bytes]) -> Callable[[], object]:
    """These requests to a server of its own, which ends with this process."""
    stack = contextlib.ExitStack()
    atexit.register(stack.close)
    port = stack.enter_context(serving.running(application))
    return lambda: serving.ask(port, requests)


def _against_bare() -> tuple[Callable[[], object], Callable[[], object]]:
    numbers = certified(CERTIFICATES)
    return asked(serving.OFFICE, pages(numbers, REQUESTS)), asked(serving.BARE, [serving.get("/")] * REQUESTS)


def _against_itself() -> tuple[Callable[[], object], Callable[[], object]]:
    numbers = certified(CERTIFICATES)
    return asked(serving.OFFICE, pages(numbers, REQUESTS)), asked(serving.AS_WRITTEN, pages(numbers, REQUESTS // 10))


BENCHMARKS = [
    Benchmark(
        name="public_page",
        ours=f"the page that a paper's code points to, of {CERTIFICATES} certificates in turn, through granian",
        peer="a Django view that says hello, without any middleware, through granian",
        prepare=_against_bare,
        at_least=0.38,
        calls=1,
        rounds=11,
        database=True,
    ),
    Benchmark(
        name="public_page_as_written",
        ours="the same page through granian",
        peer="the same through granian, made by its view and template at each request",
        prepare=_against_itself,
        at_least=2.0,
        calls=1,
        per_call=(REQUESTS, REQUESTS // 10),
        rounds=11,
        database=True,
    ),
]
