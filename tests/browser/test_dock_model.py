"""Random interleavings of what happens at a dock, against a model that is one list: what was typed.

Two devices type, change, lose the line, lose answers, reload, close their page, send again, one after the other in any
order. In the end the line is there and both have sent. Then every typed reading is in the office exactly once: as the
row that bears its token, or, where the other device was first, as the same value found there, or as one side of a
conflict.

OFFICE_INTERLEAVINGS says how many (12 without it); OFFICE_INTERLEAVINGS_FROM the first one's number.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from django.urls import reverse

from surveys.models import DeviceEntry, Reading, ReadingConflict, Visit
from tests.browser.dock import KEPT, PHONE, Line, new_context, sign_in
from tests.cast import make_cast
from tests.surveys.makers import Stage, record_kit, register_boat

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

pytestmark = pytest.mark.django_db(transaction=True)

FIRST = int(os.environ.get("OFFICE_INTERLEAVINGS_FROM", "0"))
INTERLEAVINGS = int(os.environ.get("OFFICE_INTERLEAVINGS", "12"))
STEPS = 9
ROWS = ("lower_band_width-main-one", "upper_band_width-main-one", "luff_between_bands-main-one")

READY = """async () => {
  for (const end = Date.now() + 60_000; !globalThis.Dock?.app?.reading.row;) {
    if (Date.now() > end) {
      const { store, sender, state } = globalThis.Dock?.app || {};
      const seen = [location.href, document.title, document.readyState, document.scripts.length];
      const known = [...seen, store?.trouble, !!store?.database, sender?.reach, sender?.trouble, !!state];
      throw new Error(`the page does not begin: ${JSON.stringify([Object.keys(globalThis.Dock || {}), known])}`);
    }
    await new Promise(go => setTimeout(go, 5));
  }
}"""
# A reading is typed when the page has read it back: from here on it must not be lost.
TYPED = """async ([row, figure]) => {
  while (Dock.app.reading.storing) await new Promise(go => setTimeout(go, 2));
  const before = Dock.app.last?.token;
  Dock.app.go(row);
  const input = document.getElementById('dock-value');
  input.value = figure;
  input.dispatchEvent(new Event('input', { bubbles: true }));
  input.form.requestSubmit();
  while (Dock.app.last?.token === before || !Dock.app.last?.token) await new Promise(go => setTimeout(go, 2));
  const { token, take, kept } = Dock.app.last;
  return { token, take, kept };
}"""
AMENDED = """async ([row, figure]) => {
  while (Dock.app.reading.storing) await new Promise(go => setTimeout(go, 2));
  const place = Dock.app.rows.find(one => one.key === row);
  const former = place.takes.at(-1);
  if (!former) return null;
  const before = Dock.app.last?.token;
  Dock.app.go(row, { focus: true, amending: former });
  const input = document.getElementById('dock-value');
  input.value = figure;
  input.form.requestSubmit();
  while (Dock.app.last?.token === before) await new Promise(go => setTimeout(go, 2));
  return { token: Dock.app.last.token, take: Dock.app.last.take, kept: Dock.app.last.kept };
}"""
UNDONE = """async () => {
  while (Dock.app.reading.storing) await new Promise(go => setTimeout(go, 2));
  const button = document.querySelector('[data-focus=undo]');
  if (!button || button.closest('[hidden]')) return null;
  const { token } = Dock.app.last;
  button.click();
  while (!Dock.app.last?.undone) await new Promise(go => setTimeout(go, 2));
  return token;
}"""
# Everything that waits has been sent, and nothing is on its way.
SENT = """async () => {
  for (const end = Date.now() + 40_000; Date.now() < end;) {
    if (!Dock.app.sender.busy) await Dock.app.sender.now();
    const rest = await Dock.app.store.all('entries');
    const quiet = !Dock.app.sender.busy && !rest.some(one => one.status === 'waiting');
    if (quiet) return rest.map(one => [one.token, one.sentence]);
    await new Promise(go => setTimeout(go, 10));
  }
  throw new Error(`still waiting: ${JSON.stringify(await Dock.app.store.all('entries'))}`);
}"""


@dataclass
class Model:
    """What was typed, by token; and what was taken back by whoever had typed it."""

    typed: dict[str, tuple[str, int, str]] = field(default_factory=dict)  # token -> row, take, figure
    undone: set[str] = field(default_factory=set)
    story: list[str] = field(default_factory=list)


class Dock:
    """One of the two devices, walked through one interleaving after the other."""

    def __init__(self, name: str, context: BrowserContext, line: Line) -> None:
        self.name, self.context, self.line = name, context, line
        self.page: Page = context.new_page()

    def open(self, visit: Visit) -> None:
        self.address = self.line.url + reverse("surveys:dock", args=[visit.key])
        self.page.goto(self.address, wait_until="commit")
        self.page.evaluate(READY)
        self.page.evaluate(KEPT, self.address)

    def again(self, *, fresh: bool) -> None:
        if fresh:
            self.page.close()
            self.page = self.context.new_page()
        self.page.goto(self.address, wait_until="commit")
        self.page.evaluate(READY)


def walk(dice: random.Random, model: Model, devices: list[Dock], line: Line) -> None:
    for _ in range(STEPS):
        device = dice.choice(devices)
        row = dice.choice(ROWS)
        figure = str(dice.randint(100, 9999))
        what = dice.choices(
            ("type", "amend", "undo", "cut", "mend", "lose", "send", "reload", "close"), (9, 3, 2, 3, 3, 3, 4, 2, 1)
        )[0]
        model.story.append(f"{device.name} {what} {row if what in {'type', 'amend'} else ''} {figure}")
        if what in {"type", "amend"}:
            made = device.page.evaluate(TYPED if what == "type" else AMENDED, [row, figure])
            if made:
                assert made["kept"], "the device did not keep it"
                model.typed[made["token"]] = (row, made["take"], figure)
        elif what == "undo" and (token := device.page.evaluate(UNDONE)):
            model.undone.add(token)
        elif what == "cut":
            line.dropping = True
        elif what == "mend":
            line.dropping = False
        elif what == "lose":
            line.dropping, line.lose_answers = False, line.lose_answers + 1
        elif what == "send":
            device.page.evaluate("dispatchEvent(new Event('online'))")
        elif what in {"reload", "close"}:
            device.again(fresh=what == "close")


def account(model: Model, visit: Visit) -> list[str]:
    """What is not in the office exactly once."""
    rows = {one.token: one for one in Reading.objects.filter(visit=visit) if one.token}
    conflicts = {one.token: one for one in ReadingConflict.objects.filter(visit=visit)}
    receipts = {one.token: one for one in DeviceEntry.objects.filter(visit=visit).select_related("reading")}
    wrong = []
    for token, (row, take, figure) in model.typed.items():
        receipt = receipts.get(token)
        if receipt is None:
            if token not in model.undone:  # what never left the device may be undone without a trace
                wrong.append(f"{row} take {take} {figure}: lost")
            continue
        same = receipt.outcome == "already" and receipt.reading is not None and receipt.reading.written == figure
        places = (
            (token in rows and rows[token].written == figure)
            + (token in conflicts and conflicts[token].written == figure)
            + same
        )
        if places != 1:
            wrong.append(f"{row} take {take} {figure}: {places} times, {receipt.outcome}")
    strangers = [one.written for token, one in rows.items() if token not in model.typed and not one.withdrawn]
    return wrong + [f"{written}: nobody typed it" for written in strangers]


@pytest.fixture
def line(live_server: Any) -> Iterator[Line]:
    made = Line(live_server.url)
    yield made
    made.cut()


@pytest.fixture(autouse=True)
def _without_the_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures, checks and drawing are most of an answer's work, and no part of what is tested here."""
    empty = {"html": "", "drawing": "", "checks": [], "next": {"row": None, "sentence": ""}, "missing": 0, "read": 0}
    monkeypatch.setattr("surveys.dock.panel_of", lambda *args, **options: empty)
    monkeypatch.setattr("surveys.dock.derive_visit", lambda visit: None)


def test_every_typed_reading_is_in_the_office_exactly_once(browser: Browser, line: Line) -> None:
    cast = make_cast()
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    devices = []
    for name in ("one", "other"):
        context = new_context(browser, **PHONE)
        context.set_default_timeout(30_000)
        sign_in(context, line.url, cast.measurer)
        devices.append(Dock(name, context, line))
    typed = 0
    for number in range(FIRST, FIRST + INTERLEAVINGS):
        dice, model = random.Random(number), Model()
        visit = stage.visit("draft")
        line.dropping, line.lose_answers = False, 0
        for device in devices:
            device.open(visit)
        walk(dice, model, devices, line)
        line.dropping, line.lose_answers = False, 0
        refused = [one for device in devices for one in device.page.evaluate(SENT)]
        wrong = account(model, visit)
        assert not wrong, f"interleaving {number}: {wrong}; refused: {refused}; {model.story}"
        assert Reading.objects.filter(visit=visit).count() == len(
            {one.token for one in Reading.objects.filter(visit=visit)}
        )
        typed += len(model.typed)
    assert typed >= INTERLEAVINGS  # it was about something
