"""Eight people at work who note what the office acknowledged: four at the dock, four who take visits to their end.

Whoever gets no answer sends the same again, with the same token or the same form, until there is one.
"""

from __future__ import annotations

import random
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.urls import reverse
from django.utils import timezone

from tests.campaigns.client import Answer, Browser, Lost
from tests.cast import PASSWORD

ROWS = ("luff_between_bands-main-one", "foot_distance-main-one", "boom_depth-main-one", "pole_length-main-one")
TAKES = 99  # of one row
PAUSE = 0.05  # seconds before something is sent again
STEPS = ("sign", "begin", "return", "sign", "begin", "accept", "issue", "withdraw")


@dataclass
class Ledger:
    """What was done so far, and a way to stop everybody."""

    done: int = 0
    repeated: int = 0
    stopped: threading.Event = field(default_factory=threading.Event)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def note(self, writes: int, sendings: int) -> None:
        with self.lock:
            self.done += writes
            self.repeated += sendings - 1


class Unexpected(AssertionError):
    """An answer that no write here should get."""


def until_answered(ledger: Ledger, send: Callable[[], Answer], what: str) -> tuple[Answer, int]:
    """The first answer that says what became of it, and how often it was sent for that.

    503 and 429 say that it was not done; a lost line says nothing. Any other fault of the office's is a failure.
    """
    sendings = 0
    while not ledger.stopped.is_set():
        sendings += 1
        try:
            answer = send()
        except Lost:
            time.sleep(PAUSE)
            continue
        if answer.done or answer.refused:
            return answer, sendings
        if answer.status not in {429, 502, 503}:
            raise Unexpected(f"{what}: {answer.status} {answer.text[:400]}")
        time.sleep(PAUSE if answer.status == 503 else 20 * PAUSE)
    raise Unexpected(f"{what}: stopped before it was answered")


@dataclass
class AtTheDock:
    """Readings and amendments of one visit, a few in each sending."""

    browser: Browser
    visit: str
    wanted: int
    chance: random.Random
    sent: dict[str, dict[str, Any]] = field(default_factory=dict)

    def work(self, ledger: Ledger) -> None:
        places = [(row, take) for take in range(1, TAKES + 1) for row in ROWS][: self.wanted]
        while len(self.sent) < self.wanted:
            many = min(self.chance.randint(1, 4), self.wanted - len(self.sent))
            entries = [self._entry(places) for _ in range(many)]
            self._send(entries, ledger)

    def _entry(self, places: list[tuple[str, int]]) -> dict[str, Any]:
        token, value = secrets.token_urlsafe(18), str(self.chance.randint(4000, 4999))
        row, take = places[len(self.sent)]
        entry = {"token": token, "kind": "take", "row": row, "take": take, "text": value, "unit": "mm"}
        former = [one for one in self.sent.values() if one["kind"] == "take" and not one.get("amended")]
        if former and self.chance.random() < 0.2:
            base = self.chance.choice(former[:-1] or former)
            base["amended"] = True
            entry |= {"kind": "amend", "row": base["row"], "take": base["take"], "replaces": base["token"]}
            entry["reason"] = "Read again."
        self.sent[token] = entry
        return entry

    def _send(self, entries: list[dict[str, Any]], ledger: Ledger) -> None:
        sent = [{name: value for name, value in one.items() if name != "amended"} for one in entries]
        address = reverse("surveys:dock_send", args=[self.visit])
        document = {"device": "phone", "entries": sent}
        answer, sendings = until_answered(ledger, lambda: self.browser.post_json(address, document), "dock")
        if not answer.done:
            raise Unexpected(f"dock: {answer.status} {answer.text[:400]}")
        wanted = {"stored"} if sendings == 1 else {"stored", "already"}
        for one in answer.json()["answers"]:
            if one["outcome"] not in wanted:
                raise Unexpected(f"dock: {one} after {sendings} sendings")
        ledger.note(len(entries), sendings)


@dataclass
class ToTheEnd:
    """Visits signed, returned, signed again, accepted, certified and withdrawn, one after the other."""

    measurer: Browser
    reviewer: Browser
    certifier: Browser
    visits: list[tuple[str, int, str]]  # key, edition, sail number
    finished: list[str] = field(default_factory=list)

    def work(self, ledger: Ledger) -> None:
        for key, first_edition, sail_number in self.visits:
            for edition, step in enumerate(STEPS, first_edition):
                send = self._step(step, key, edition, sail_number)
                answer, sendings = until_answered(ledger, send, f"{step} {key}")
                if answer.status != 302 and not (answer.refused and sendings > 1):
                    raise Unexpected(f"{step} {key}: {answer.status}, sent {sendings} times: {plain(answer.text)}")
                ledger.note(1, sendings)
            self.finished.append(key)

    def _step(self, step: str, key: str, edition: int, sail_number: str) -> Callable[[], Answer]:
        today = timezone.localdate().isoformat()
        if step == "sign":
            address, who = reverse("surveys:sign", args=[key]), self.measurer
            return lambda: who.post(address, edition=edition, password=PASSWORD)
        if step == "issue":
            address = reverse("certificates:issue", args=[key])
            return lambda: self.certifier.post(address, valid_from=today, replacing="", reason="", confirmed="on")
        if step == "withdraw":
            return lambda: self._withdraw(sail_number, today)
        names = {"begin": "begin_review", "return": "return_visit", "accept": "accept_visit"}
        address = reverse(f"desk:{names[step]}", args=[key])
        return lambda: self.reviewer.post(address, edition=edition, reason="All of it was looked at.")

    def _withdraw(self, sail_number: str, today: str) -> Answer:
        """Its number is looked up first: the answer to the issue may have been lost."""
        listed = self.certifier.get(f"{reverse('certificates:list')}?q={sail_number.replace(' ', '+')}")
        if listed.status != 200:
            return listed
        found = re.search(r'href="/certificates/([A-Z]+-\d{4}-\d+)/"', listed.text)
        if found is None:
            raise Unexpected(f"no certificate of {sail_number} in the list")
        address = reverse("certificates:withdraw", args=[found[1]])
        return self.certifier.post(address, on=today, reason="Sold abroad.", confirmed="on")


def plain(page: str) -> str:
    """The words of a page's main part, for a message."""
    main = page.partition("<main")[2]
    return " ".join(re.sub(r"<[^>]+>", " ", main).split())[:600]
