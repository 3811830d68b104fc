"""The interface's answer on one certificate: against the public page's own, and against itself as written."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING
from unittest import mock

from django.conf import settings
from django.test import Client, override_settings
from django.utils import timezone

from office.interface import keys, limits
from office.interface.models import Scope
from office.management.benchmarks import Benchmark
from office.management.benchmarks.public import certified
from office.people.models import Person, Role, RoleHolding

if TYPE_CHECKING:
    from collections.abc import Callable

CERTIFICATES, CALLS, ROUNDS = 20, 60, 15
KEPT = "office.interface.kept_answers.KeptAnswers"
PLAIN_FILES = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}


def _against_the_page() -> tuple[Callable[[], object], Callable[[], object]]:
    override_settings(STORAGES={**settings.STORAGES, "staticfiles": PLAIN_FILES}).enable()
    numbers = certified(CERTIFICATES)
    page = _asking(Client(SERVER_NAME="127.0.0.1"), [f"/check/c/{number}/" for number in numbers])
    return _asking(_with_a_key(), [f"/api/validity?q={number}" for number in numbers]), page


def _against_itself() -> tuple[Callable[[], object], Callable[[], object]]:
    addresses = [f"/api/validity?q={number}" for number in certified(CERTIFICATES)]
    plain = _with_a_key()
    with override_settings(MIDDLEWARE=[one for one in settings.MIDDLEWARE if one != KEPT]):
        plain.get(addresses[0])  # the first request makes the stack
    asked = _asking(plain, addresses)

    def each_counted() -> object:
        limits.taken.forget()
        with mock.patch.object(limits, "AT_ONCE", 1):
            return asked()

    return _asking(_with_a_key(), addresses), each_counted


def _with_a_key() -> Client:
    """A client whose key may ask as often as it likes: as many writes for so many requests as under the limit."""
    limits.WITH_A_KEY = 10**9
    person, _ = Person.objects.get_or_create(email="interface@bench.example", defaults={"name": "Bench"})
    for role in (Role.ADMINISTRATOR, Role.RACE_COMMITTEE):
        RoleHolding.objects.get_or_create(person=person, role=role)
    _, token = keys.make(
        by=person, name="Bench", holder=person, scopes=[Scope.VALIDITY], expires_on=timezone.localdate() + keys.LONGEST
    )
    return Client(SERVER_NAME="127.0.0.1", headers={"Authorization": f"Bearer {token}"})


def _asking(client: Client, addresses: list[str]) -> Callable[[], object]:
    """The next address at each call; each has been asked for once."""
    for address in addresses:
        client.get(address)
    turn = itertools.cycle(addresses)

    def ask() -> object:
        answer = client.get(next(turn))
        if answer.status_code != 200:
            raise RuntimeError(f"expected 200: {answer.content[:400]!r}")
        return answer

    return ask


BENCHMARKS = [
    Benchmark(
        name="interface_answer",
        ours="the interface's answer on one certificate by its number, key asked for and request counted",
        peer="the page that a paper's code points to",
        prepare=_against_the_page,
        at_most=2.0,
        calls=CALLS,
        rounds=ROUNDS,
        database=True,
    ),
    Benchmark(
        name="interface_answer_as_written",
        ours="the same answer",
        peer="the same made by its operation, each request counted in the database",
        prepare=_against_itself,
        at_least=4.0,
        calls=CALLS,
        rounds=ROUNDS,
        database=True,
    ),
]
