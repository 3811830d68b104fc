"""One process that serves the office against two, on PostgreSQL: pages as the staff and the public ask for them."""

from __future__ import annotations

import atexit
import contextlib
import os
from typing import TYPE_CHECKING

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.urls import reverse

from boats.models import Boat
from office import environment
from office.certificates.models import Certificate
from office.management import hands, serving
from office.management.benchmarks import Benchmark
from office.people.models import Person, Role
from surveys.models import Visit

if TYPE_CHECKING:
    from collections.abc import Callable

REQUESTS = int(os.environ.get("BENCH_PAGES", "240"))
BOATS = int(os.environ.get("BENCH_SERVED_BOATS", "6"))
CONNECTIONS = 16
SESSIONS = "django.contrib.auth.backends.ModelBackend"


def pages(what: str) -> str:
    """The session of a certifier and the addresses of pages of an office, to be asked for again and again."""
    person = next(one for one in Person.objects.all() if one.holds(Role.CERTIFIER))
    session = SessionStore()
    session[SESSION_KEY], session[BACKEND_SESSION_KEY] = str(person.pk), SESSIONS
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    addresses = [reverse("boats:list"), reverse("desk:queue"), reverse("certificates:list"), reverse("surveys:list")]
    boats, certificates = Boat.objects.order_by("pk")[:4], Certificate.objects.order_by("pk")[:4]
    for boat in boats:
        addresses += [reverse("desk:boat", args=[boat.key]), reverse("desk:history", args=[boat.key])]
    addresses += [reverse("surveys:visit", args=[one.key]) for one in Visit.objects.order_by("pk")[:4]]
    for one in certificates:
        addresses += [f"/check/?q={one.number}", reverse("certificates:certificate", args=[one.number])]
    return " ".join([str(session.session_key), *addresses])


def _two_processes() -> tuple[Callable[[], object], Callable[[], object]]:
    programs = environment.prepare_postgresql()
    if programs is None:
        raise RuntimeError(environment.POSTGRESQL.sentence)
    stack = contextlib.ExitStack()
    atexit.register(stack.close)
    url = stack.enter_context(environment.private_postgresql(programs, database="office"))
    hands.office_at(url, BOATS)
    with hands.hands(1, url, __name__, "pages") as (one,):
        session, *addresses = one.do("pages").split()
    cookie = f"sessionid={session}"
    requests = [serving.get(addresses[place % len(addresses)], Cookie=cookie) for place in range(REQUESTS)]

    def asked(workers: int) -> Callable[[], object]:
        port = stack.enter_context(serving.running(serving.OFFICE, workers=workers, database=url))
        return lambda: serving.ask(port, requests, CONNECTIONS)

    return asked(2), asked(1)


BENCHMARKS = [
    Benchmark(
        name="two_app_processes",
        ours="pages of boats, visits, certificates, queue and public check by two processes on one PostgreSQL",
        peer="the same by one process",
        prepare=_two_processes,
        at_least=1.7,
        calls=1,
        rounds=7,
    ),
]
