"""Files, entries, codes and forms that went wrong somewhere: never a 500, and nothing half-stored.

OFFICE_TEST_FUZZ sets how many there are: 20000 is the whole campaign. An eighth of them are of each kind; as many
again are read by atheris, which looks for ways through the reader of log sheets. `API_EXAMPLES` does the interface.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from hypothesis import HealthCheck, Phase, given, seed, settings

from office import environment
from office.audit import trail, triggers
from office.certificates.models import Seal
from office.certificates.verification import visits as verification
from surveys.models import Visit
from tests.campaigns.figures import tell
from tests.campaigns.fuzzed import Sending, sendings
from tests.office.test_bad_input import PAGES, counts, forms_of
from tests.office.test_urls_by_role import TABLE, World, world
from tests.surveys.makers import SAMPLES

__all__ = ["world"]

MANY = int(os.environ.get("OFFICE_TEST_FUZZ", "96"))
SEED = int(os.environ.get("OFFICE_TEST_SEED", "20260511"))


def forms(world: World) -> list[tuple[str, str, dict[str, str]]]:
    """Who sends it, whereto, and the fields as the page has them; of a quarter of the pages where few are sent."""
    found = []
    for name in PAGES if len(PAGES) * 4 <= MANY else PAGES[::4]:
        allowed = TABLE[name].post or frozenset()
        part = "" if TABLE[name].public else "reviewer" if "reviewer" in allowed else min(allowed)
        found += [(part, action, fields) for action, fields in forms_of(world, name)[2] if fields]
    return found


class Sender:
    """Sends, looks at what is stored, and takes it back."""

    def __init__(self, world: World) -> None:
        self.world, self.statuses = world, Counter[int]()
        self.clients = {"": Client(raise_request_exception=False)}
        for part, person in world.cast.people().items():
            self.clients[part] = Client(raise_request_exception=False)
            self.clients[part].force_login(person)
        self.before = counts()
        self.head = trail.head()[0]

    def send(self, one: Sending) -> None:
        client = self.clients[one.part]
        with transaction.atomic():
            answer = self._answer(client, one)
            self.statuses[answer.status_code] += 1
            assert answer.status_code < 500, (one, answer.content[:2000])
            after = counts()
            if answer.status_code >= 400:
                assert after == self.before, (one, difference(self.before, after))
            elif after != self.before:
                self._look(one, after)
            transaction.set_rollback(True)

    def _answer(self, client: Client, one: Sending) -> Any:
        if not one.part:
            return client.get(one.address, one.data)
        if one.json:
            return client.post(one.address, one.data, content_type="application/json")
        return client.post(one.address, one.data)

    def _look(self, one: Sending, after: dict[str, int]) -> None:
        """What was stored is whole: the chain holds, and the visit is what the trail tells of it."""
        assert after["audit_entry"] >= self.before["audit_entry"], one
        assert trail.verify() == [], one
        for visit in Visit.objects.filter(key__in=one.address.split("/")):
            assert list(verification.check(visit)) == [], one


def difference(before: dict[str, int], after: dict[str, int]) -> dict[str, tuple[int, int]]:
    return {one: (before[one], after[one]) for one in after if after[one] != before[one]}


@pytest.fixture
def quiet() -> Iterator[None]:
    """Nothing is logged of refusals: each record would keep its request, and the trial would slow down with them."""
    logging.disable(logging.WARNING)
    yield
    logging.disable(logging.NOTSET)


@pytest.mark.django_db
@pytest.mark.usefixtures("quiet")
def test_whatever_is_sent(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("office.people.limits.within", lambda *given, **more: True)
    standing = triggers.missing(connection)
    monkeypatch.setattr(triggers, "missing", lambda connection: standing)  # looked up once: no request alters a table
    began, sender = time.monotonic(), Sender(world)
    code = Seal.objects.get(certificate=world.certificate).code
    kinds = sendings(world, code, forms(world))
    for kind, strategy in enumerate(kinds, 1):
        started = time.monotonic()

        @settings(
            max_examples=max(1, MANY // len(kinds)), deadline=None, database=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @seed(SEED + kind)  # two kinds of the same strategy are not to draw the same
        @given(one=strategy)
        def send(one: Sending) -> None:
            sender.send(one)

        send()
        tell(f"kind {kind} of {len(kinds)}: {time.monotonic() - started:.0f} s, so far {dict(sender.statuses)}")
    assert counts() == sender.before
    assert sender.statuses.total() >= MANY
    assert Visit.objects.exists()
    tell(
        f"{connection.vendor}: {sender.statuses.total()} sendings, {time.monotonic() - began:.0f} s; "
        f"{dict(sender.statuses)}"
    )


def test_the_reader_of_log_sheets_under_atheris(tmp_path: Path) -> None:
    """In a process of its own: it never returns, and ends with an error where a file broke the reader."""
    seeds = tmp_path / "seeds"
    seeds.mkdir()
    for sample in SAMPLES.glob("*.csv"):
        (seeds / sample.name).write_bytes(sample.read_bytes())
    command = [
        sys.executable, "-m", "tests.campaigns.atheris_log_sheets", str(seeds), f"-runs={MANY}", "-seed=20260511",
        f"-artifact_prefix={tmp_path}/", "-max_len=6000", "-timeout=20",
    ]  # fmt: skip
    done = subprocess.run(command, cwd=environment.ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    assert f"Done {MANY} runs" in done.stderr, done.stderr[-3000:]
