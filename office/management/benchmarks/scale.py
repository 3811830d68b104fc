"""Pages of a large office against the same pages of a small one, at their slow end: what grows shows here.

BENCH_BOATS (100,000 unless it says otherwise) is the size of the large one, with three visits to each boat. Both are
made by `load_synthetic`, as SQLite files of their own: in a directory that goes with the run, or in that which
BENCH_KEEP names, where the next run finds them again (18 GB for 100,000 boats).
"""

from __future__ import annotations

import atexit
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import Client
from django.urls import reverse

from boats.models import Boat
from office.certificates.models import Certificate
from office.management.benchmarks import Benchmark
from office.management.benchmarks.pages import client_of
from office.people.models import Person, Role
from surveys.models import Visit, VisitState

LARGE = int(os.environ.get("BENCH_BOATS", "100000"))
SMALL = 1_000
PAGES = 40  # different ones in a round
ROUNDS = 5
AT_MOST, PERCENTILE = 1.5, 95


@dataclass(slots=True)
class Office:
    """One of the two, and a client of a reviewer's who is signed in."""

    connection: BaseDatabaseWrapper
    client: Client | None = None
    sample: dict[str, list[Any]] = field(default_factory=dict)

    @contextmanager
    def open(self) -> Iterator[None]:
        """Inside, this is the database of every query."""
        former = connections["default"]
        connections["default"] = self.connection
        try:
            yield
        finally:
            connections["default"] = former

    def answered(self, address: str) -> int:
        """The length of the page. RuntimeError where it is none."""
        assert self.client is not None  # noqa: S101
        with self.open():
            answer = self.client.get(address)
            if answer.status_code != 200:
                raise RuntimeError(f"{address}: expected 200, got {answer.status_code}")
            return len(answer.content)


@lru_cache(maxsize=2)
def office_of(boats: int) -> Office:
    if connections["default"].vendor != "sqlite":
        raise RuntimeError("These offices are SQLite files; run this one without DATABASE_URL.")
    connection = connections.create_connection("default")
    connection.settings_dict = {**connection.settings_dict, "NAME": str(_file(boats))}
    office = Office(connection)
    with office.open():
        office.client = client_of(
            Person.objects.filter(role_holdings__role=Role.REVIEWER, role_holdings__ended_at=None)[0]
        )
        boat_rows = Boat.objects.order_by("pk")
        step = max(boats // PAGES, 1)
        chosen = [boat_rows[number] for number in range(0, boats, step)][:PAGES]
        office.sample["boats"] = chosen
        office.sample["numbers"] = list(
            Certificate.objects.filter(boat__in=chosen).order_by("boat", "-pk").values_list("number", flat=True)
        )[:PAGES]
        waiting = Visit.objects.filter(state__in=[VisitState.SIGNED, VisitState.UNDER_REVIEW]).order_by("pk")
        office.sample["waiting"] = list(waiting.values_list("key", flat=True)[:PAGES])
    return office


@lru_cache(maxsize=1)
def directory() -> Path:
    if kept := os.environ.get("BENCH_KEEP"):
        Path(kept).mkdir(parents=True, exist_ok=True)
        return Path(kept)
    made = Path(tempfile.mkdtemp(prefix="office-bench-offices-"))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


def _file(boats: int) -> Path:
    """The office's database, made where it is not there yet, and brought to today's models where it is."""
    file = directory() / f"office-{boats}.sqlite3"
    if file.exists():
        manage(file, "migrate", "--verbosity=0")
        return file
    part = file.with_suffix(".part")
    part.unlink(missing_ok=True)
    manage(part, "migrate", "--verbosity=0")
    manage(part, "load_synthetic", f"--boats={boats}", "--papers=0")
    part.rename(file)
    return file


def manage(file: Path, *arguments: str) -> None:
    program = Path(settings.BASE_DIR) / "manage.py"
    surroundings = os.environ | {"DATABASE_URL": f"sqlite:///{file}"}
    subprocess.run([sys.executable, str(program), *arguments], check=True, env=surroundings, stdout=subprocess.DEVNULL)


def pair(addresses: Callable[[Office], list[str]]) -> Callable[[], tuple[Callable[[], object], Callable[[], object]]]:
    """The same pages of both offices, one after the other, round and round."""

    def prepare() -> tuple[Callable[[], object], Callable[[], object]]:
        return _turning(office_of(LARGE), addresses), _turning(office_of(SMALL), addresses)

    return prepare


def _turning(office: Office, addresses: Callable[[Office], list[str]]) -> Callable[[], object]:
    with office.open():
        following = itertools.cycle(addresses(office))
    return lambda: office.answered(next(following))


def _row(name: str, what: str, addresses: Callable[[Office], list[str]], *, calls: int = PAGES) -> Benchmark:
    return Benchmark(
        name=f"{name}_at_scale",
        ours=f"{what} of {LARGE} boats with three visits each, 95th percentile",
        peer=f"the same of {SMALL} boats",
        prepare=pair(addresses),
        at_most=AT_MOST,
        percentile=PERCENTILE,
        calls=calls,
        rounds=ROUNDS,
    )


def _boats(office: Office) -> list[str]:
    return [reverse("desk:boat", args=[boat.key]) for boat in office.sample["boats"]]


def _searches(office: Office) -> list[str]:
    """By sail number, by the beginning of a name, by a later word of it."""
    texts = [
        (boat.sail_number, boat.name.split()[0][:4], boat.name.split()[-1])[number % 3]
        for number, boat in enumerate(office.sample["boats"])
    ]
    return [f"{reverse('boats:list')}?q={text}".replace(" ", "+") for text in texts]


def _validity(office: Office) -> list[str]:
    """By sail number, and by the number of a certificate."""
    asked = [boat.sail_number for boat in office.sample["boats"]]
    by_text = [f"{reverse('racing:check')}?q={text}".replace(" ", "+") for text in asked]
    by_number = [reverse("racing:certificate", args=[number]) for number in office.sample["numbers"]]
    return [one for both in zip(by_text, by_number, strict=False) for one in both]


BENCHMARKS = [
    _row("boat_page", "the page of a boat", _boats),
    _row("queue", "the queue", lambda office: [reverse("desk:queue")], calls=5),
    _row("search", "the list of boats, searched", _searches),
    _row("validity", "the public page of a boat's or a certificate's validity", _validity),
    _row(
        "review",
        "the review of a visit",
        lambda office: [reverse("desk:review", args=[key]) for key in office.sample["waiting"]],
        calls=20,
    ),
]
