"""Whole pages, server side, each through the same client as the page it is held against."""

from __future__ import annotations

import datetime as dt
import json
import secrets
import time
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from computations import drawing
from computations.catalogue import READINGS
from office.management.benchmarks import Benchmark
from office.management.benchmarks.visits import DAY, bench_readings, bench_tape, bench_visits
from office.people.models import Person, Role, RoleHolding
from surveys.actions import take_log_sheet
from surveys.figures import derive_visit
from surveys.logsheet import LogSheet, Row
from surveys.models import Visit, VisitState
from surveys.row_keys import row_key

if TYPE_CHECKING:
    from collections.abc import Callable

CALLS, ROUNDS = 2, 7
FILLED = 1 + CALLS * ROUNDS  # visits that a reading is typed into, one after the other
TYPED = "bowsprit_tack_reach"
MOST_MS = 5.0  # for a drawing
MANY, FEW = 50, 2  # visits to a boat


def _typed_reading() -> tuple[Callable[[], object], Callable[[], object]]:
    """By the page of all readings, one at a time."""
    client, filled, empty = _at_the_dock("QUA 11")
    key = row_key(READINGS[TYPED], "main", "", open_position=False)

    def typed() -> object:
        data = {f"{key}-value": "5604", f"{key}-instrument": "B-1"}
        return _answered(client.post(reverse("surveys:store_one", args=[next(filled).key, key]), data))

    return typed, lambda: _answered(client.get(reverse("surveys:readings", args=[empty.key])))


def _sent_reading() -> tuple[Callable[[], object], Callable[[], object]]:
    """By the dock page: the entry goes out as JSON, the whole state comes back."""
    client, filled, empty = _at_the_dock("QUA 12")
    key = row_key(READINGS[TYPED], "main", "", open_position=False)
    by = _person("measurer", Role.MEASURER).key

    def sent() -> object:
        entry = {
            "token": secrets.token_urlsafe(18), "kind": "take", "row": key, "take": 1, "text": "5604", "unit": "mm",
            "instrument": "B-1", "by": by, "typed_at": timezone.now().isoformat(),
        }  # fmt: skip
        address = reverse("surveys:dock_send", args=[next(filled).key])
        body = json.dumps({"device": "bench", "entries": [entry]})
        answer: Any = _answered(client.post(address, body, content_type="application/json"))
        if answer.json()["answers"][0]["outcome"] != "stored":
            raise RuntimeError(answer.json()["answers"][0])
        return answer

    return sent, lambda: _answered(client.get(reverse("surveys:readings", args=[empty.key])))


def _review() -> tuple[Callable[[], object], Callable[[], object]]:
    """The review of a boat with fifty visits, and of one with two."""
    measurer, reviewer = _person("measurer", Role.MEASURER), _person("reviewer", Role.REVIEWER)
    bench_tape()
    addresses = []
    for number, sail_number in ((MANY, "QUA 50"), (FEW, "QUA 2")):
        visits = bench_visits(measurer, sail_number)[:number]
        for age, visit in enumerate(reversed(visits)):
            _fill(visit, measurer, sail_number)
            now = {"date": DAY - dt.timedelta(days=100 * age), "signed_at": timezone.now()}
            state = VisitState.ACCEPTED if age else VisitState.UNDER_REVIEW
            Visit.objects.filter(pk=visit.pk).update(state=state, reviewer=reviewer, accepted_at=timezone.now(), **now)
        addresses.append(reverse("desk:review", args=[visits[-1].key]))
    client = client_of(reviewer)
    many, few = addresses
    return lambda: _answered(client.get(many)), lambda: _answered(client.get(few))


def _drawing() -> tuple[Callable[[], object], Callable[[], object]]:
    measurer = _person("measurer", Role.MEASURER)
    bench_tape()
    visit = bench_visits(measurer, "QUA 3")[0]
    _fill(visit, measurer, "QUA 3")
    figures = derive_visit(Visit.objects.get(pk=visit.pk))
    rig = drawing.figures_from(figures.derivation.dimensions, figures.inputs.rig, figures.inputs.readings)
    return lambda: drawing.draw_rig(rig, title="Rig"), lambda: time.sleep(MOST_MS / 1000)


def _at_the_dock(sail_number: str) -> tuple[Client, Any, Visit]:
    """A client signed in, visits with sixty readings each, and one without any."""
    measurer = _person("measurer", Role.MEASURER)
    bench_tape()
    empty, *rest = bench_visits(measurer, sail_number)
    filled = rest[:FILLED]
    for visit in filled:
        _fill(visit, measurer, sail_number)
    return client_of(measurer), iter(filled), empty


def _person(name: str, role: Role) -> Person:
    """One of these for all pages: the benchmarks of one run share their database."""
    person, new = Person.objects.get_or_create(email=f"{name}@bench.example", defaults={"name": f"Bench {name}"})
    if new:
        RoleHolding.objects.create(person=person, role=role)
    return Person.objects.get(pk=person.pk)


def _fill(visit: Visit, measurer: Person, sail_number: str) -> None:
    about = [Row("visit", "sail_number", sail_number), Row("visit", "air_temperature", "14.5", "degC")]
    sheet = LogSheet.of([*about, *bench_readings()])
    take_log_sheet(by=measurer, visit=visit, sheet=sheet, file_sha256="0" * 64)


def client_of(person: Person) -> Client:
    """A client who is signed in."""
    # No collected files: what they are called is no part of what is measured.
    plain = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    override_settings(STORAGES={**settings.STORAGES, "staticfiles": plain}).enable()
    client = Client(SERVER_NAME="127.0.0.1")
    client.force_login(person)
    return client


def _answered(answer: Any) -> object:
    if answer.status_code != 200:
        raise RuntimeError(f"expected 200, got {answer.status_code}: {answer.content[:300]!r}")
    return answer


BENCHMARKS = [
    Benchmark(
        name="typed_reading",
        ours="a reading typed into a visit of 60: stored with its row of the trail, figures, checks and panel anew",
        peer="the page of a visit without readings",
        prepare=_typed_reading,
        at_most=4.0,
        calls=CALLS,
        rounds=ROUNDS,
        database=True,
    ),
    Benchmark(
        name="sent_reading",
        ours="a reading sent from the dock page into a visit of 60: stored, and the whole state sent back",
        peer="the page of a visit without readings",
        prepare=_sent_reading,
        at_most=4.0,
        calls=CALLS,
        rounds=ROUNDS,
        database=True,
    ),
    Benchmark(
        name="review_page",
        ours="the review page of a boat with 50 visits",
        peer="that of a boat with 2 visits",
        prepare=_review,
        at_most=3.0,
        calls=1,
        rounds=7,
        database=True,
    ),
    Benchmark(
        name="drawing",
        ours="a rig drawn from its figures",
        peer="five milliseconds by the clock",
        prepare=_drawing,
        at_most=1.0,
        calls=10,
        rounds=9,
        database=True,
    ),
]
