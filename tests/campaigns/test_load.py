"""Mixed load on a real server: nothing fails, and the server's memory stays where it was after warming up.

`OFFICE_TEST_LOAD=20` loads it for so many minutes, of which the first quarter warms up; a few seconds without.

Visits are as large as in an office from the beginning: their whole sheet is read, and people add second and third
takes. Those that begin empty and take in hundreds of readings need more memory in the end: there is more to show.
"""

from __future__ import annotations

import os
import random
import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from computations.catalogue import READINGS
from surveys.models import Reading, Visit
from surveys.row_keys import row_key
from tests.campaigns.client import Answer, Browser, session_of
from tests.campaigns.figures import tell
from tests.campaigns.processes import resident_kib
from tests.campaigns.served import Office, served
from tests.campaigns.writers import plain
from tests.cast import PASSWORD, Cast, make_person
from tests.surveys.makers import Stage, record_kit, register_boat

MINUTES = float(os.environ.get("OFFICE_TEST_LOAD", "0.05"))
WARMING = 0.25  # of the time
PEOPLE = 4
PAUSE = 0.1  # seconds between two requests of one person, who reads what was answered
LOOKS = 60  # at the memory
MOST_GROWTH = 1.10 if MINUTES >= 5 else 3.0  # a server that has just started still takes its first pages in
BOATS = max(2, round(MINUTES * 15))  # so that certificates are issued, and readings stored, to the last minute
MOST_TAKES = 3  # of one row

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_keys")]


@pytest.fixture
def office_at_work(cast: Cast) -> dict[str, Any]:
    kit, drafts, accepted = record_kit(cast), [], []
    for number in range(BOATS):
        stage = Stage(cast, register_boat(cast, f"Tern {number}", f"TRN {number}"), kit)
        accepted.append(stage.visit("accepted").key)
        draft = stage.visit("draft")
        stage.fill(draft)
        drafts.append(draft)
    for number in range(PEOPLE):
        make_person(f"Guest {number}", "owner")
    sessions = {part: session_of(getattr(cast, part)) for part in ("measurer", "reviewer", "certifier")}
    return {"drafts": drafts, "accepted": accepted, "sessions": sessions}


class Visitor:
    """One person who does one thing after another, in an order of chance."""

    def __init__(self, office: Office, work: dict[str, Any], number: int) -> None:
        self.office, self.work, self.number, self.chance = office, work, number, random.Random(number)
        self.browsers: dict[str, Browser] = {
            part: office.browser(session) for part, session in work["sessions"].items()
        }
        self.drafts = [visit.key for visit in work["drafts"]]
        self.places = [place for visit in work["drafts"][number::PEOPLE] for place in free_places(visit)]
        self.chance.shuffle(self.places)
        self.accepted = list(work["accepted"][number::PEOPLE])
        self.done, self.wrong = Counter[str](), list[str]()
        self.deeds: dict[str, Callable[[], Answer]] = {
            "browse": self._browse, "search": self._search, "public check": self._public, "sign-in": self._sign_in,
            "reading": self._reading, "issue": self._issue,
        }  # fmt: skip

    def work_until(self, over: float) -> None:
        names, weights = list(self.deeds), (30, 15, 20, 5, 29, 1)
        while time.monotonic() < over:
            name = self.chance.choices(names, weights)[0]
            answer = self.deeds[name]()
            self.done[name] += 1
            if not answer.done:
                self.wrong.append(f"{name}: {answer.status} {plain(answer.text) or answer.text[:200]}")
            time.sleep(PAUSE * 2 * self.chance.random())

    def _browse(self) -> Answer:
        visit = self.chance.choice(self.drafts)
        part, address = self.chance.choice([
            ("reviewer", reverse("boats:list")), ("reviewer", reverse("desk:queue")), ("reviewer", reverse("home")),
            ("measurer", reverse("surveys:visit", args=[visit])),
            ("measurer", reverse("surveys:readings", args=[visit])),
            ("certifier", reverse("certificates:list")), ("certifier", reverse("trail:list")),
        ])  # fmt: skip
        return self.browsers[part].get(address)

    def _search(self) -> Answer:
        number = self.chance.randrange(BOATS)
        text = self.chance.choice([f"TRN+{number}", f"Tern+{number}", "tern", "Trn"])
        return self.browsers["reviewer"].get(f"{reverse('boats:list')}?q={text}")

    def _public(self) -> Answer:
        return self.office.browser().get(f"{reverse('racing:check')}?q=TRN+{self.chance.randrange(BOATS)}")

    def _sign_in(self) -> Answer:
        """At most a few times a minute, as people do; more would be taken for guessing."""
        if self.done["sign-in"] > 4 * (time.monotonic() - self.began) / 60:
            return self._browse()
        guest = self.office.browser()
        name = f"guest.{self.number}@office.example"
        return guest.post(reverse("people:sign_in"), username=name, password=PASSWORD)

    def _reading(self) -> Answer:
        if not self.places:
            return self._browse()
        visit, row, take, text = self.places.pop()
        entry = {"token": secrets.token_urlsafe(18), "kind": "take", "row": row, "take": take, "text": text}
        address = reverse("surveys:dock_send", args=[visit])
        return self.browsers["measurer"].post_json(address, {"device": "phone", "entries": [entry]})

    def _issue(self) -> Answer:
        if not self.accepted:
            return self._browse()
        address = reverse("certificates:issue", args=[self.accepted.pop()])
        today = timezone.localdate().isoformat()
        return self.browsers["certifier"].post(address, valid_from=today, replacing="", reason="", confirmed="on")

    began = time.monotonic()


def free_places(visit: Visit) -> list[tuple[str, str, int, str]]:
    """Takes that nobody has read yet, with what they would be read as: the same as the first of their row."""
    read: dict[str, list[Reading]] = {}
    for one in visit.readings.filter(unit_written="mm").order_by("take"):
        read.setdefault(row_key(READINGS[one.slug], one.mast, one.position), []).append(one)
    return [
        (visit.key, row, take, takes[0].written)
        for row, takes in read.items()
        for take in range(len(takes) + 1, MOST_TAKES + 1)
    ]


def test_mixed_load(office_at_work: dict[str, Any], tmp_path: Path) -> None:
    with served(tmp_path) as office:
        visitors = [Visitor(office, office_at_work, number) for number in range(PEOPLE)]
        began = time.monotonic()
        over = began + MINUTES * 60
        threads = [threading.Thread(target=one.work_until, args=(over,), daemon=True) for one in visitors]
        for thread in threads:
            thread.start()
        memory = watched(office, began, over)
        for thread in threads:
            thread.join(120)
        wrong = [sentence for one in visitors for sentence in one.wrong]
        assert not wrong, wrong[:10]
        verified = office.manage("verify_register")
        assert verified.returncode == 0, verified.stdout[-1500:]
    warm = [kib for at, kib in memory if WARMING <= at <= WARMING + 0.1] or [memory[0][1]]
    last = [kib for at, kib in memory if at >= 0.9] or [memory[-1][1]]
    first, end = sum(warm) / len(warm), sum(last) / len(last)
    done = sum((one.done for one in visitors), Counter[str]())
    tell(
        f"{connection.vendor}: {MINUTES:g} minutes, {done.total()} requests {dict(done)}, none failed; memory "
        f"{first / 1024:.0f} MiB after warming up, {end / 1024:.0f} MiB at the end ({end / first:.3f}); "
        f"on the way {', '.join(f'{kib / 1024:.0f}' for _, kib in memory[:: max(1, LOOKS // 20)])}"
    )
    assert done.total() >= PEOPLE
    assert end <= MOST_GROWTH * first


def watched(office: Office, began: float, over: float) -> list[tuple[float, int]]:
    """The memory of all of the server's processes, with the share of the time that had gone by."""
    seen = []
    while (now := time.monotonic()) < over:
        seen.append(((now - began) / (over - began), resident_kib(office.server.pid)))
        time.sleep((over - began) / LOOKS)
    assert all(kib > 0 for _, kib in seen)
    return seen
