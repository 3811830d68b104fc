"""Every page there is, as whoever sees most of it: axe, the keyboard's ring, targets, a phone's width, both schemes.

The addresses come from the table of tests/office/test_urls_by_role.py, so a new page is looked at without a line here.
Each is loaded once: wide and light, then 320 pixels wide and dark; what is drawn in one scheme is drawn in the other.
No server runs: the browser's requests are answered by Django itself in this thread, on the world built once there.
"""

from __future__ import annotations

import contextvars
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode, urlsplit

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.contrib.staticfiles import finders
from django.db import transaction
from django.test import Client
from django.urls import reverse

from office.certificates import paper, pdf
from tests.browser.conftest import AXE_AGAIN, AXE_RULES, TOO_WIDE
from tests.cast import make_cast
from tests.office.test_urls_by_role import TABLE, World

if TYPE_CHECKING:
    from playwright.sync_api import Browser, ConsoleMessage, Page, Route

pytestmark = pytest.mark.django_db

ORIGIN = "http://127.0.0.1"
STATIC = "/static/"
WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 320, "height": 640}
SEE_MOST = ("administrator", "certifier", "reviewer", "measurer", "owner", "other_owner", "race_committee")
# Where somebody else sees more than the first of those who may look.
RATHER = {"desk:review": "reviewer", "surveys:visit": "measurer", "boats:own_interest": "owner"}
# What a script asks by an access key is no page.
PAGES = [name for name, access in TABLE.items() if access.get and not (access.json and name.startswith("api:"))]
# What the world's addresses do not show by themselves: other readers, other states, and results.
MORE = {
    "home as a measurer": ("home", "measurer", {}),
    "home as an owner": ("home", "owner", {}),
    "home as the race committee": ("home", "race_committee", {}),
    "home of a stranger": ("home", "stranger", {}),
    "nobody signed in": ("home", "", {}),
    "a boat as her owner": ("desk:boat", "owner", {}),
    "a boat as her measurer": ("desk:boat", "measurer", {}),
    "a boat in feet and inches": ("desk:boat", "administrator", {"beside": "feet"}),
    "a boat found": ("racing:check", "", {"q": "SKE 214"}),
    "nothing found": ("boats:list", "administrator", {"q": "no such boat"}),
}
AXE_RUN = """async (only) => {
  const found = await axe.run(document, {runOnly: only, resultTypes: ['violations']});
  return found.violations.map(one =>
    `${one.id}: ${one.help}: ` + one.nodes.slice(0, 4).map(node => node.html.slice(0, 160)).join(' | '));
}"""
# After a key was pressed, what a script focuses shows its ring as if the keyboard had come there.
REACHED = "a[href], button, input, select, textarea, summary, [tabindex='0']"
WITHOUT_RING = """(reached) => [...document.querySelectorAll(reached)]
  .filter(one => one.getClientRects().length && !one.disabled && getComputedStyle(one).visibility === 'visible')
  .filter(one => { one.focus({preventScroll: true}); const style = getComputedStyle(one);
    return document.activeElement === one && !(style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2); })
  .slice(0, 6).map(one => one.outerHTML.slice(0, 160))"""
SMALL = """() => [...document.querySelectorAll('button, input:not([type=hidden]), select, textarea, summary')]
  .filter(one => one.getClientRects().length && !one.closest('.visually-hidden'))
  .filter(one => { const own = one.getBoundingClientRect(), label = one.labels?.[0]?.getBoundingClientRect();
    const box = ['checkbox', 'radio'].includes(one.type) && label ? {width: own.width + label.width,
      height: Math.max(own.height, label.height)} : own;
    return box.width < 23.5 || box.height < 23.5; })
  .slice(0, 6).map(one => one.outerHTML.slice(0, 160))"""


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
        yield World(make_cast())
        transaction.set_rollback(True)


class Window:
    """One browser window whose requests Django answers, as the person set last."""

    def __init__(self, page: Page) -> None:
        self.page, self.client = page, Client(SERVER_NAME="127.0.0.1")
        self.complaints: list[str] = []
        self.context = contextvars.copy_context()
        self.ready: dict[str, tuple[int, dict[str, str], bytes]] = {}
        page.on("console", self.listen)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.route("**/*", self.answer)

    def listen(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.complaints.append(message.text)

    def answer(self, route: Route) -> None:
        parts = urlsplit(route.request.url)
        if not route.request.url.startswith(f"{ORIGIN}/"):
            self.complaints.append(f"asked for {route.request.url}")
            route.abort()
        elif route.request.method != "GET":  # a page that goes on by itself does so in its own tests
            route.fulfill(status=204)
        elif parts.path.startswith(STATIC):
            route.fulfill(path=Path(str(finders.find(parts.path.removeprefix(STATIC)))))
        else:
            answer = self.ready.pop(route.request.url, None) or self.context.copy().run(
                self.get, route.request.url, route.request.headers
            )
            route.fulfill(status=answer[0], headers=answer[1], body=answer[2])

    def get(self, url: str, headers: dict[str, str] | None = None) -> tuple[int, dict[str, str], bytes]:
        """Django's answer; whatever it changed is taken back."""
        with transaction.atomic():
            found: Any = self.client.get(url.removeprefix(ORIGIN), headers=headers)
            body = b"".join(found.streaming_content) if found.streaming else found.content
            transaction.set_rollback(True)
        return found.status_code, dict(found.headers), body

    def is_page(self, address: str) -> bool:
        """Whether a whole page is there, not a file, a part of a page, a way on, or a refusal of this state."""
        answer = self.get(ORIGIN + address)
        assert answer[0] in {200, 302, 409}, answer[0]
        self.ready[ORIGIN + address] = answer
        return answer[0] == 200 and answer[2].lstrip().lower().startswith(b"<!doctype html")

    def become(self, person: Any) -> None:
        # Playwright calls back out of its own context, in which Django would open a second connection.
        self.client, self.ready, self.context = Client(SERVER_NAME="127.0.0.1"), {}, contextvars.copy_context()
        if person is not None:
            self.client.force_login(person)


@pytest.fixture(scope="module")
def window(browser: Browser) -> Iterator[Window]:
    context = browser.new_context(locale="en-GB", timezone_id="UTC", service_workers="block")
    context.set_default_timeout(15_000)
    yield Window(context.new_page())
    context.close()


def examine(window: Window, address: str) -> None:
    """All that a page must hold; every finding is collected, so that one run tells everything."""
    page = window.page
    page.set_viewport_size(WIDE)  # type: ignore[arg-type]
    page.emulate_media(color_scheme="light")
    window.complaints.clear()
    page.goto(ORIGIN + address)
    page.evaluate(AXE_SCRIPT)
    found = {"wide, light": page.evaluate(AXE_RUN, {"type": "tag", "values": AXE_RULES})}
    page.keyboard.press("Tab")
    found["no ring where the keyboard is"] = page.evaluate(WITHOUT_RING, REACHED)
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.emulate_media(color_scheme="dark")
    found["phone, dark"] = page.evaluate(AXE_RUN, {"type": "rule", "values": AXE_AGAIN})
    found["smaller than 24 pixels"] = page.evaluate(SMALL)
    sideways = page.evaluate("document.documentElement.scrollWidth") > PHONE["width"]
    found["wider than a phone"] = page.evaluate(TOO_WIDE) or ["something"] if sideways else []
    found["the browser complains"] = list(window.complaints)
    said = "\n".join(f"{what}: {one}" for what, ones in found.items() for one in ones)
    assert not said, f"{address}\n{said}"


@pytest.mark.parametrize("name", PAGES)
def test_every_page(world: World, window: Window, name: str) -> None:
    allowed = {"measurer"} if TABLE[name].own else TABLE[name].get
    assert allowed is not None
    part = RATHER.get(name) or next(one for one in (*SEE_MOST, *sorted(allowed)) if one in allowed)
    window.become(world.cast.people()[part])
    address = world.address(name)
    if window.is_page(address):
        examine(window, address)


@pytest.mark.parametrize("what", MORE)
def test_as_others_see_it(world: World, window: Window, what: str) -> None:
    name, part, query = MORE[what]
    window.become(world.cast.people()[part] if part else None)
    address = world.address(name) + (f"?{urlencode(query)}" if query else "")
    assert window.is_page(address)
    examine(window, address)


def test_something_was_looked_at() -> None:
    """The table names the pages; should it ever be empty of them, this says so."""
    assert len(PAGES) > 50
    assert reverse("home") == "/"
