"""Server, worker and database are killed at random moments while eight people write: nothing acknowledged is lost.

OFFICE_TEST_KILLS sets how many kills there are, with forty writes to each: 50 is the whole campaign.
"""

from __future__ import annotations

import os
import random
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.urls import reverse

from tests.campaigns.client import Browser, session_of
from tests.campaigns.figures import tell
from tests.campaigns.processes import children, kill
from tests.campaigns.served import Office, served
from tests.campaigns.writers import STEPS, AtTheDock, Ledger, ToTheEnd, Unexpected
from tests.cast import Cast, make_person
from tests.surveys.makers import Stage, record_kit, register_boat

KILLS = int(os.environ.get("OFFICE_TEST_KILLS", "2"))
WRITES = 40 * KILLS
SEED = int(os.environ.get("OFFICE_TEST_SEED", "20260511"))
AT_THE_DOCK = TO_THE_END = 4
PIPELINES = max(TO_THE_END, round(0.3 * WRITES / len(STEPS) / TO_THE_END) * TO_THE_END) if KILLS > 3 else 2

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_keys")]


@pytest.fixture
def people_at_work(cast: Cast) -> list[tuple[Any, dict[str, str]]]:
    """The visits of everybody, with the sessions of who works at them."""
    kit = record_kit(cast)
    sessions = {part: session_of(getattr(cast, part)) for part in ("reviewer", "certifier", "administrator")}
    made: list[tuple[Any, dict[str, str]]] = []
    for number in range(AT_THE_DOCK + min(TO_THE_END, PIPELINES)):
        mine = make_person(f"Measurer {number}", "measurer")
        own = Cast(**{**vars(cast), "measurer": mine})
        many = 1 if number < AT_THE_DOCK else max(1, PIPELINES // TO_THE_END)
        visits = []
        for turn in range(many):
            boat = register_boat(own, f"Tern {number} {turn}", f"TRN {number}{turn:02d}")
            stage = Stage(own, boat, kit)
            visit = stage.visit("draft")
            if number >= AT_THE_DOCK:
                stage.fill(visit)
            visits.append((visit.key, visit.edition, boat.sail_number))
        made.append((visits, {**sessions, "measurer": session_of(mine)}))
    return made


def workers_of(office: Office, people: list[tuple[Any, dict[str, str]]]) -> list[AtTheDock | ToTheEnd]:
    readings = WRITES - PIPELINES * len(STEPS)
    made: list[AtTheDock | ToTheEnd] = []
    for number, (visits, sessions) in enumerate(people):
        browsers = {part: office.browser(session) for part, session in sessions.items()}
        if number < AT_THE_DOCK:
            chance = random.Random(SEED + number)
            made.append(AtTheDock(browsers["measurer"], visits[0][0], -(-readings // AT_THE_DOCK), chance))
        else:
            made.append(ToTheEnd(browsers["measurer"], browsers["reviewer"], browsers["certifier"], visits))
    return made


class Killer:
    """Kills after so many writes more, at a moment of chance, and puts up again what was killed."""

    def __init__(self, office: Office, ledger: Ledger, threads: list[threading.Thread]) -> None:
        self.office, self.ledger, self.threads = office, ledger, threads
        self.chance = random.Random(SEED)
        self.victims: list[str] = []
        self.choices = ["server", "server", "server's process", "worker"]
        self.choices += ["database", "database's process"] if office.database.programs else []

    def work(self) -> None:
        mean = 0.85 * WRITES / KILLS
        while len(self.victims) < KILLS and any(one.is_alive() for one in self.threads):
            self._wait_for(self.ledger.done + self.chance.randint(round(mean / 2), round(3 * mean / 2)))
            time.sleep(self.chance.random() * 0.3)
            first = ("server", "database", "worker") if self.office.database.programs else ("server", "worker")
            turn = len(self.victims)  # each of them for certain, then by chance
            victim = first[turn] if turn < len(first) else self.chance.choice(self.choices)
            self._kill(victim)
            self.victims.append(victim)

    def _wait_for(self, writes: int) -> None:
        writes = min(writes, WRITES - 5)
        while self.ledger.done < writes and any(one.is_alive() for one in self.threads):
            time.sleep(0.005)

    def _kill(self, victim: str) -> None:
        office = self.office
        if victim == "server":
            office.server.kill()
            office.server.start()
        elif victim == "server's process":
            kill(*children(office.server.pid))
        elif victim == "worker":
            office.worker.kill()
            office.worker.start()
        elif victim == "database":
            office.database.kill()
        else:
            office.database.kill_one(self.chance)


def ask_for_work(browser: Browser, ledger: Ledger, stopped: threading.Event) -> None:
    """Long work, again and again, so that there is something under way when the worker is killed."""
    while not stopped.wait(1.0) and not ledger.stopped.is_set():
        try:
            browser.post(reverse("work:ask"), kind="recompute")
        except Exception:  # noqa: BLE001  (the office is away for a moment, which others look at)
            continue


def run(office: Office, people: list[tuple[Any, dict[str, str]]]) -> tuple[Ledger, list[Any], list[str]]:
    ledger, crew = Ledger(), workers_of(office, people)
    wrong: list[BaseException] = []

    def at_work(one: AtTheDock | ToTheEnd) -> None:
        try:
            one.work(ledger)
        except BaseException as error:  # noqa: BLE001  (raised again below, by the test's own thread)
            wrong.append(error)
            ledger.stopped.set()

    threads = [threading.Thread(target=at_work, args=(one,), daemon=True) for one in crew]
    over = threading.Event()
    asked = office.browser(people[0][1]["administrator"])
    asking = threading.Thread(target=ask_for_work, args=(asked, ledger, over), daemon=True)
    for thread in [*threads, asking]:
        thread.start()
    killer = Killer(office, ledger, threads)
    killer.work()
    for thread in threads:
        thread.join(600)
    over.set()
    asking.join(90)
    if wrong:
        raise Unexpected(office.said("server")[-1500:]) from wrong[0]
    return ledger, crew, killer.victims


def test_nothing_acknowledged_is_lost_and_nothing_is_doubled(
    people_at_work: list[tuple[Any, dict[str, str]]], tmp_path: Path
) -> None:
    began = time.monotonic()
    with served(tmp_path, worker=True, killed=True) as office:
        ledger, crew, victims = run(office, people_at_work)
        office.wait()
        check_readings(office, [one for one in crew if isinstance(one, AtTheDock)])
        check_ways(office, [one for one in crew if isinstance(one, ToTheEnd)])
        assert office.worker.alive()
        check_work(office)
        verified = office.manage("verify_register")
        assert verified.returncode == 0, verified.stdout[-2000:] + verified.stderr[-2000:]
        if connection.vendor == "sqlite":
            assert office.database.rows("PRAGMA integrity_check") == [("ok",)]
    assert len(victims) == KILLS
    assert ledger.done >= WRITES
    counted = {victim: victims.count(victim) for victim in sorted(set(victims))}
    tell(
        f"{connection.vendor}: {ledger.done} writes, {ledger.repeated} sent again, {len(victims)} kills {counted}, "
        f"{time.monotonic() - began:.0f} s; {verified.stdout.splitlines()[-1]}"
    )


def check_readings(office: Office, crew: list[AtTheDock]) -> None:
    """Every entry has its one row, its one receipt and its one row of the trail, as it was typed."""
    for one in crew:
        stored = office.database.rows(
            "SELECT r.token, r.written FROM surveys_reading r JOIN surveys_visit v ON v.id = r.visit_id "
            f"WHERE v.key = '{one.visit}'"
        )
        assert sorted(stored) == sorted((token, entry["text"]) for token, entry in one.sent.items())
        receipts = office.database.rows(
            "SELECT d.token FROM surveys_deviceentry d JOIN surveys_visit v ON v.id = d.visit_id "
            f"WHERE v.key = '{one.visit}'"
        )
        assert sorted(receipts) == sorted((token,) for token in one.sent)
        told = office.database.rows(
            f"SELECT verb, COUNT(*) FROM audit_entry WHERE visit = '{one.visit}' AND verb LIKE '%reading' GROUP BY verb"
        )
        kinds = [entry["kind"] for entry in one.sent.values()]
        expected = {"record_reading": kinds.count("take"), "amend_reading": kinds.count("amend")}
        assert dict(told) == {verb: number for verb, number in expected.items() if number}


VERBS = {
    "sign_visit": 2, "begin_review": 2, "return_visit": 1, "accept_visit": 1, "issue_certificate": 1,
    "withdraw_certificate": 1,
}  # fmt: skip


def check_ways(office: Office, crew: list[ToTheEnd]) -> None:
    """Every step of every visit was done once: in the trail, among the signatures and among the certificates."""
    for key in [key for one in crew for key in one.finished]:
        verbs = ", ".join(f"'{one}'" for one in VERBS)
        told = office.database.rows(
            f"SELECT verb, COUNT(*) FROM audit_entry WHERE visit = '{key}' AND verb IN ({verbs}) GROUP BY verb"
        )
        assert dict(told) == VERBS, key
        signed = office.database.rows(
            "SELECT s.meaning, s.round FROM surveys_signoff s JOIN surveys_visit v ON v.id = s.visit_id "
            f"WHERE v.key = '{key}'"
        )
        assert sorted(signed) == [("accepted", 2), ("measured", 1), ("measured", 2)], key
        papers = office.database.rows(
            "SELECT c.ending, COUNT(*) FROM certificates_certificate c JOIN surveys_visit v ON v.id = c.visit_id "
            f"JOIN certificates_document d ON d.certificate_id = c.id WHERE v.key = '{key}' GROUP BY c.ending"
        )
        assert papers == [("withdrawn", 2)], key
    assert sum(len(one.finished) for one in crew) == sum(len(one.visits) for one in crew)


def check_work(office: Office) -> None:
    """Long work ends, or waits for another worker after the one that was killed; none is done by two at once."""
    states = office.database.rows("SELECT state, tries, ended_at IS NOT NULL FROM work_work")
    assert states
    for state, tries, ended in states:
        assert tries <= 3
        assert bool(ended) == (state in {"done", "failed"})
        assert state != "failed" or tries == 3
