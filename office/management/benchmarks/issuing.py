"""Many certificates at once: issued by two workers against one, from the rules to the row of the trail."""

from __future__ import annotations

import atexit
import contextlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from django.utils import timezone

from office.certificates import actions, queries
from office.management import hands
from office.management.benchmarks import Benchmark
from office.people.models import Person, Role
from surveys.models import Visit, VisitState

if TYPE_CHECKING:
    from collections.abc import Callable

CERTIFICATES = int(os.environ.get("BENCH_CERTIFICATES", "200"))  # by the two, in all rounds together
BOATS = int(os.environ.get("BENCH_CERTIFIED_BOATS", "6"))
ROUNDS = 5
EACH = max(2, CERTIFICATES // ROUNDS)
FEWER = max(1, EACH // 4)
WARM_UP = 2  # certificates by each worker before anything is timed
REASON = "Issued anew by the benchmark."


def issue(visit: str, count: str) -> str:
    """So many certificates of one visit, each in place of the one before it; the last one's number.

    "boats" instead of a visit: the visits that can be certified, one of each boat.
    """
    if visit == "boats":
        return " ".join(certifiable())
    by = next(one for one in Person.objects.all() if one.holds(Role.CERTIFIER))
    last = ""
    for _ in range(int(count)):
        certified = Visit.objects.select_related("boat").get(key=visit)
        former = actions.predecessor_of(certified, queries.spanning(certified.boat, timezone.localdate()))
        made = actions.issue(by=by, visit=certified, reason=REASON, replacing=former.number if former else "")
        last = made.number
    return last


def certifiable() -> list[str]:
    """Each boat's last accepted visit."""
    rows = Visit.objects.filter(state=VisitState.ACCEPTED).order_by("date", "pk")
    return list(dict(rows.values_list("boat", "key")).values())


def _two_workers() -> tuple[Callable[[], object], Callable[[], object]]:
    stack = contextlib.ExitStack()
    atexit.register(stack.close)
    directory = stack.enter_context(tempfile.TemporaryDirectory(prefix="office-bench-"))
    url = f"sqlite:///{Path(directory) / 'issuing.sqlite3'}"
    hands.office_at(url, BOATS)
    two = stack.enter_context(hands.hands(2, url, __name__, "issue"))
    boats = two[0].do("boats 0").split()
    # Boat after boat, so that the two are never at the same one; singly, so that neither waits long for the other.
    lines = [f"{boats[place % len(boats)]} 1" for place in range(EACH)]
    for one in two:
        one.do(f"{boats[0]} {WARM_UP}")
    return lambda: hands.share(two, lines), lambda: hands.share(two[:1], lines[:FEWER])


BENCHMARKS = [
    Benchmark(
        name="certificates_by_two_workers",
        ours=f"{CERTIFICATES} certificates, in {ROUNDS} rounds, issued by two worker processes: rules, figures, both "
        "papers rendered and signed, rows and trail",
        peer="the same by one, a quarter as many; the ratio is of one certificate",
        prepare=_two_workers,
        at_least=1.75,
        calls=1,
        rounds=ROUNDS,
        warmed=True,
        per_call=(EACH, FEWER),
    ),
]
