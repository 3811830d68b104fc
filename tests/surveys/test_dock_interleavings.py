"""Two devices, a dead network, lost answers, resends: in the end every reading that was typed is stored exactly once.

A model that knows nothing of the database says beforehand what must become of each entry. DOCK_INTERLEAVINGS sets how
many random courses are tried (20 by default, which CI can afford).
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, rule, run_state_machine_as_test

from surveys import dock_sending
from surveys.models import DeviceEntry, Reading, ReadingConflict, Visit
from surveys.queries import current_readings
from tests.surveys.makers import Stage

COURSES = int(os.environ.get("DOCK_INTERLEAVINGS", "20"))
ROWS = ("luff_between_bands-main-one", "band_to_sheer-main-port")  # few, so that two devices often meet
VALUES = (12150, 12151, 12510)
DEVICES = ("phone", "tablet")
DEVICE, VALUE = st.sampled_from(DEVICES), st.sampled_from(VALUES)
Place = tuple[str, int]


@dataclass
class Model:
    """What must become of each entry, told without a database."""

    standing: dict[Place, tuple[str, int | None]] = field(default_factory=dict)  # token of the row that counts, value
    means: dict[str, str] = field(default_factory=dict)  # token of an entry -> token of the row it speaks of
    clashes: dict[str, Place] = field(default_factory=dict)  # open conflicts
    outcomes: dict[str, str] = field(default_factory=dict)

    def expect(self, entry: dict[str, Any]) -> str:
        token = entry["token"]
        if token in self.outcomes:
            return "conflict" if self.outcomes[token] == "conflict" else "already"
        self.outcomes[token] = outcome = getattr(self, f"_{entry['kind']}")(entry)
        return str(outcome)

    def _take(self, entry: dict[str, Any]) -> str:
        place = entry["row"], entry["take"]
        if self.standing.get(place, ("", None))[1] is None:
            return self._write(entry, place, int(entry["text"]))
        return self._against(entry, place)

    def _amend(self, entry: dict[str, Any]) -> str:
        place, base = self._base(entry)
        if base is None or self.standing[place][0] != base or self.standing[place][1] == int(entry["text"]):
            return self._against(entry, place)
        return self._write(entry, place, int(entry["text"]))

    def _take_away(self, entry: dict[str, Any]) -> str:
        place, base = self._base(entry)
        token, value = self.standing[place]
        if value is None:
            self.means[entry["token"]] = token
            return "already"
        if base is None:
            self.means[entry["token"]] = token
            return "stored"  # this device's value is dropped, the other one stands
        if token != base:
            return self._clash(entry, place)
        return self._write(entry, place, None)

    def settle(self, token: str, choice: str, settled_by: str, typed: dict[str, Any], next_take: int) -> None:
        place = self.clashes.pop(token)
        value = None if typed["kind"] == "take_away" else int(typed["text"])
        if choice == "theirs":
            return
        if choice == "next_take":
            self.standing[place[0], next_take] = settled_by, value
        elif self.standing[place][1] != value:
            self.standing[place] = settled_by, value

    def _base(self, entry: dict[str, Any]) -> tuple[Place, str | None]:
        """The place, and the token of the row the entry replaces; None where it replaces what was in conflict."""
        place = entry["row"], entry["take"]
        if entry["replaces"] not in self.means:
            self.clashes.pop(entry["replaces"], None)
            return place, None
        return place, self.means[entry["replaces"]]

    def _against(self, entry: dict[str, Any], place: Place) -> str:
        token, value = self.standing[place]
        if value == int(entry["text"]):
            self.means[entry["token"]] = token
            return "already"
        return self._clash(entry, place)

    def _clash(self, entry: dict[str, Any], place: Place) -> str:
        self.clashes[entry["token"]] = place
        return "conflict"

    def _write(self, entry: dict[str, Any], place: Place, value: int | None) -> str:
        self.standing[place] = entry["token"], value
        self.means[entry["token"]] = entry["token"]
        return "stored"


class Dock(RuleBasedStateMachine):
    """A course of events on one visit. Entries wait on their device until an answer has reached it."""

    takes = Bundle("takes")

    def __init__(self, stage: Stage) -> None:
        super().__init__()
        self.person, self.visit = stage.cast.measurer, stage.visit()
        self.model = Model()
        self.typed: dict[str, dict[str, Any]] = {}
        self.waiting: dict[str, list[dict[str, Any]]] = {device: [] for device in DEVICES}
        self.answered: dict[str, str] = {}
        self.count = 0

    # -- What people do --

    @rule(
        target=takes,
        device=DEVICE,
        row=st.sampled_from(ROWS),
        take=st.sampled_from((1, 1, 2)),
        value=st.sampled_from(VALUES),
    )
    def type(self, device: str, row: str, take: int, value: int) -> Any:
        return device, self._entry(device, kind="take", row=row, take=take, text=str(value))

    @rule(target=takes, take=takes, device=DEVICE, value=VALUE)
    def amend(self, take: tuple[str, str], device: str, value: int) -> Any:
        """On the device that typed it; or on the other one, once the office has told it of the reading."""
        own, token = take
        first = self.typed[token]
        device = device if token in self.answered else own
        more = {"row": first["row"], "take": first["take"], "text": str(value), "replaces": token}
        return device, self._entry(device, kind="amend", **more)

    @rule(take=takes, device=DEVICE)
    def take_away(self, take: tuple[str, str], device: str) -> None:
        own, token = take
        first = self.typed[token]
        device = device if token in self.answered else own
        self._entry(device, kind="take_away", row=first["row"], take=first["take"], replaces=token)

    # -- What networks do --

    @rule(device=DEVICE, many=st.integers(1, 6))
    def send(self, device: str, many: int) -> None:
        """A part of what waits, in its order; the answer arrives."""
        sent = self.waiting[device][:many]
        self._post(device, sent)
        self.waiting[device] = self.waiting[device][len(sent) :]

    @rule(device=DEVICE, many=st.integers(1, 6))
    def send_and_lose_the_answer(self, device: str, many: int) -> None:
        self._post(device, self.waiting[device][:many])

    @rule(device=DEVICE, many=st.integers(1, 4))
    def send_twice_at_once(self, device: str, many: int) -> None:
        sent = self.waiting[device][:many]
        self._post(device, [*sent, *sent])

    @rule(data=st.data())
    def send_again_what_was_answered(self, data: st.DataObject) -> None:
        """A file read in on another device, a second tab: tokens that were sent long ago come once more."""
        known = [token for token in self.typed if token in self.answered]
        if known:
            self._post("file", [self.typed[data.draw(st.sampled_from(known))]])

    @rule(choice=st.sampled_from(("mine", "theirs", "next_take")), data=st.data())
    def settle(self, choice: str, data: st.DataObject) -> None:
        clashes = sorted(self.model.clashes)
        if clashes:
            self._settle(data.draw(st.sampled_from(clashes)), choice)

    # -- What must be so in the end --

    def teardown(self) -> None:
        for device in DEVICES:
            self.send(device, len(self.waiting[device]) or 1)
        for token in sorted(self.model.clashes):
            self._settle(token, "mine")
        assert set(self.answered) == set(self.typed), "every entry was answered"
        rows = list(Reading.objects.filter(visit=self.visit))
        tokens = Counter(row.token for row in rows)
        assert set(tokens.values()) <= {1}
        for token, outcome in self.answered.items():
            entry = self.typed[token]
            made_a_row = outcome == "stored" and self.model.means.get(token) == token
            assert tokens[token] == int(made_a_row), (entry, outcome)
            assert DeviceEntry.objects.filter(token=token).count() == 1
            assert ReadingConflict.objects.filter(token=token).count() == int(outcome == "conflict")
        counting = {(_row(one), one.take): one.value for one in current_readings(self.visit)}
        assert counting == {place: value for place, (_, value) in self.model.standing.items() if value is not None}
        assert not ReadingConflict.objects.filter(visit=self.visit, settled_at__isnull=True).exists()

    # -- How --

    def _entry(self, device: str, **given: Any) -> str:
        self.count += 1
        token = f"{self.visit.key}-token-{self.count:06d}"
        entry = {"token": token, "by": self.person.key, "typed_at": "", "instrument": "", **given}
        self.typed[token] = entry
        self.waiting[device].append(entry)
        return token

    def _post(self, device: str, entries: list[dict[str, Any]]) -> None:
        visit = Visit.objects.get(pk=self.visit.pk)
        expected = [self.model.expect(entry) for entry in entries]
        answers = dock_sending.send(by=self.person, visit=visit, device=device, entries=entries)
        assert [one.outcome for one in answers] == expected, (entries, answers)
        for one in answers:
            self.answered.setdefault(one.token, one.outcome)

    def _settle(self, token: str, choice: str) -> None:
        typed = self.typed[token]
        if choice == "next_take" and typed["kind"] == "take_away":
            choice = "theirs"
        self.count += 1
        settled_by = f"{self.visit.key}-settle-{self.count:06d}"
        place = self.model.clashes[token]
        takes = [take for row, take in self.model.standing if row == place[0]]
        self.model.settle(token, choice, settled_by, typed, max(takes, default=0) + 1)
        entry = {"token": settled_by, "kind": "settle", "replaces": token, "choose": choice}
        [answer] = dock_sending.send(by=self.person, visit=self.visit, device="desk", entries=[entry])
        assert answer.outcome == "stored", answer
        [again] = dock_sending.send(by=self.person, visit=self.visit, device="desk", entries=[entry])
        assert again.outcome == "already", again


def _row(reading: Reading) -> str:
    return f"{reading.slug}-{reading.mast}-{reading.position or 'one'}"


def on(stage: Stage) -> Any:
    """The machine for this stage, made anew for each course."""
    return lambda: Dock(stage)


@pytest.mark.django_db
def test_every_reading_is_stored_exactly_once_whatever_the_network_does(stage: Stage) -> None:
    chosen = settings(
        max_examples=COURSES,
        stateful_step_count=25,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    run_state_machine_as_test(on(stage), settings=chosen)
    assert DeviceEntry.objects.count() > COURSES
