"""Many people accept, return, certify and withdraw at once: one outcome, and everybody else is told in a sentence.

OFFICE_TEST_CROWD sets how many people there are; 50 is the whole campaign, in six rounds instead of two.
"""

from __future__ import annotations

import datetime as dt
import os
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from office.certificates import actions as certificates
from tests.campaigns.client import Answer, Browser, session_of
from tests.campaigns.figures import tell
from tests.campaigns.served import Office, served
from tests.campaigns.writers import plain
from tests.cast import Cast, make_person
from tests.surveys.makers import Stage, record_kit, register_boat

PEOPLE = int(os.environ.get("OFFICE_TEST_CROWD", "8"))
ROUNDS = 6 if PEOPLE >= 50 else 2
DEEDS = ("accept", "return", "issue", "withdraw")
ISSUES = ("issue", "issue", "issue", "accept")  # every third time: of a visit that is accepted already

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_keys")]


@dataclass(frozen=True)
class Matter:
    """A visit under review, or accepted, of a boat whose certificate of the visit before is in force."""

    boat: str
    visit: str
    edition: int
    certificate: str
    deeds: tuple[str, ...]


@pytest.fixture
def matters(cast: Cast) -> list[Matter]:
    kit, made = record_kit(cast), []
    for number in range(ROUNDS):
        stage = Stage(cast, register_boat(cast, f"Tern {number}", f"TRN {number + 1}"), kit)
        former = certificates.issue(by=cast.certifier, visit=stage.visit("accepted"))
        deeds = ISSUES if number % 3 == 1 else DEEDS
        visit = stage.visit("accepted" if deeds == ISSUES else "under_review")
        made.append(Matter(stage.boat.key, visit.key, visit.edition, former.number, deeds))
    return made


@pytest.fixture
def sessions(cast: Cast) -> list[str]:
    return [session_of(make_person(f"Member {number}", "reviewer", "certifier")) for number in range(PEOPLE)]


def deed(browser: Browser, what: str, matter: Matter) -> Callable[[], Answer]:
    today = timezone.localdate().isoformat()
    if what == "issue":
        address = reverse("certificates:issue", args=[matter.visit])
        return lambda: browser.post(
            address, valid_from=today, replacing=matter.certificate, reason="A new visit.", confirmed="on"
        )
    if what == "withdraw":
        address = reverse("certificates:withdraw", args=[matter.certificate])
        return lambda: browser.post(address, on=today, reason="Sold abroad.", confirmed="on")
    address = reverse(f"desk:{what}_visit", args=[matter.visit])
    return lambda: browser.post(address, edition=matter.edition, reason="It was looked at.")


def at_once(office: Office, sessions: list[str], matter: Matter) -> list[tuple[str, Answer]]:
    together = threading.Barrier(len(sessions))

    def act(number: int, session: str) -> tuple[str, Answer]:
        what = matter.deeds[number % len(matter.deeds)]
        send = deed(office.browser(session), what, matter)
        together.wait(60)
        return what, send()

    with ThreadPoolExecutor(len(sessions)) as pool:
        return list(pool.map(act, range(len(sessions)), sessions))


class Watch:
    """Looks again and again how many certificates of a boat are in force, today and on any later day."""

    def __init__(self, office: Office, matter: Matter) -> None:
        self.office, self.matter = office, matter
        self.looked = self.most = 0
        self.over = threading.Event()

    def look(self) -> None:
        today = timezone.localdate()
        days = [today, today + dt.timedelta(days=1), today + dt.timedelta(days=40)]
        counted = " + ".join(
            f"MAX((SELECT COUNT(*) FROM certificates_certificate c WHERE c.boat_id = b.id AND c.valid_from <= '{day}' "
            f"AND '{day}' < c.in_force_before), 0) * {100**power}"
            for power, day in enumerate(days)
        )
        if connection.vendor == "postgresql":
            counted = counted.replace("MAX(", "GREATEST(")
        while not self.over.wait(0.01):
            [(packed,)] = self.office.database.rows(
                f"SELECT {counted} FROM boats_boat b WHERE b.key = '{self.matter.boat}'"
            )
            self.most = max(self.most, *(packed // 100**power % 100 for power in range(len(days))))
            self.looked += 1


def test_one_outcome_and_everybody_else_is_told(matters: list[Matter], sessions: list[str], tmp_path: Path) -> None:
    began, told = time.monotonic(), Counter[str]()
    with served(tmp_path, processes=2) as office:
        for matter in matters:
            watch = Watch(office, matter)
            watching = threading.Thread(target=watch.look)
            watching.start()
            try:
                answers = at_once(office, sessions, matter)
            finally:
                watch.over.set()
                watching.join()
            assert watch.looked
            assert watch.most <= 1
            check_outcome(office, matter, answers)
            told.update(f"{what} {answer.status}" for what, answer in answers)
        verified = office.manage("verify_register")
        assert verified.returncode == 0, verified.stdout[-2000:] + verified.stderr[-2000:]
    tell(f"{connection.vendor}: {len(matters)} rounds of {PEOPLE}, {time.monotonic() - began:.0f} s; {dict(told)}")


def check_outcome(office: Office, matter: Matter, answers: list[tuple[str, Answer]]) -> None:
    done = Counter(what for what, answer in answers if answer.status == 302)
    was_open = "return" in matter.deeds
    assert done["accept"] + done["return"] == int(was_open), done
    assert done["issue"] + done["withdraw"] == 1, done
    for what, answer in answers:
        if answer.status != 302:
            assert answer.status in {409, 422}, (what, answer.status, plain(answer.text))
            assert any(words in answer.text for words in SENTENCES), (what, plain(answer.text))
    [(state,)] = office.database.rows(f"SELECT state FROM surveys_visit WHERE key = '{matter.visit}'")
    assert state == ("returned" if done["return"] else "accepted")
    papers = office.database.rows(
        "SELECT c.number, c.ending FROM certificates_certificate c JOIN boats_boat b ON b.id = c.boat_id "
        f"WHERE b.key = '{matter.boat}' ORDER BY c.id"
    )
    assert papers[0] == (matter.certificate, "replaced" if done["issue"] else "withdrawn")
    assert len(papers) == 1 + done["issue"]


# What those are told whom somebody else was quicker than.
SENTENCES = (
    "is accepted", "is returned", "is under review", "Only an accepted visit can be certified",
    "is replaced already", "is withdrawn already", "This would now replace", "This visit is certified already",
    "has changed since", "changed meanwhile", "cannot be accepted", "cannot be returned",
)  # fmt: skip
