"""Debian's Chromium through Playwright, against the live server.

    def test_the_queue(page, live_server, look, no_axe_violations): ...

`look("queue")` keeps a screenshot in `.data/screenshots`; `no_axe_violations()` runs axe on the page as it stands.
Every test fails on an error in the browser's console and on a request to anywhere but the live server.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from office import environment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request

expect.set_options(timeout=15_000)  # a slow machine is no failure

SCREENSHOTS = environment.ROOT / ".data" / "screenshots"
AXE_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
# What the scheme and the width can change; the rest of a page is the same in both.
AXE_AGAIN = ["color-contrast", "target-size", "scrollable-region-focusable"]
QUIET = [
    "--no-sandbox",  # Chromium's own sandbox refuses root
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-dev-shm-usage",
    "--disable-domain-reliability",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pings",
]


@pytest.fixture(autouse=True, scope="session")
def _database_beside_the_browser() -> Iterator[None]:
    """Playwright's loop runs in this thread, and Django would take each query for one from asynchronous code."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    yield
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    return {"executable_path": environment.chromium(), "args": QUIET, "headless": True}


@pytest.fixture
def browser_context_args() -> dict[str, Any]:
    return {"viewport": {"width": 1280, "height": 900}, "locale": "en-GB", "timezone_id": "UTC"}


@pytest.fixture
def context(context: BrowserContext, live_server: Any) -> Iterator[BrowserContext]:
    """A context that reaches the live server and nothing else, and that complains of what the console says."""
    strays: list[str] = []
    complaints: list[str] = []

    def listen(page: Page) -> None:
        page.on("console", on_console)
        page.on("pageerror", lambda error: complaints.append(str(error)))

    def on_console(message: ConsoleMessage) -> None:
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            complaints.append(f"{message.location.get('url', '')}: {message.text}")

    def on_request(request: Request) -> None:
        if not request.url.startswith((live_server.url, "data:", "blob:", "about:")):
            strays.append(request.url)

    context.on("page", listen)
    context.on("request", on_request)
    context.set_default_timeout(15_000)
    yield context
    assert not strays, f"the page asked for {strays}"
    assert not complaints, f"the browser's console says {complaints}"


@pytest.fixture
def look(page: Page) -> Callable[[str], Path]:
    """Keep a screenshot of the whole page, to be looked at by a person."""

    def keep(name: str) -> Path:
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        path = SCREENSHOTS / f"{name}.png"
        page.screenshot(path=path, full_page=True, caret="initial")  # hiding it leaves style attributes behind
        return path

    return keep


@pytest.fixture
def no_axe_violations(page: Page) -> Callable[..., None]:
    """axe finds nothing on the page as it stands; `again` in another scheme, by the rules which that can break."""

    def check(*, again: bool = False) -> None:
        only = {"type": "rule", "values": AXE_AGAIN} if again else {"type": "tag", "values": AXE_RULES}
        found = Axe().run(page, options={"runOnly": only, "resultTypes": ["violations"]})
        assert found.violations_count == 0, f"{page.url}\n{found.generate_report()}"

    return check


TOO_WIDE = """() => [...document.querySelectorAll('body *')]
  .filter(one => one.getBoundingClientRect().right > 321 && !one.closest('.ledger-wrap'))
  .slice(0, 6).map(one => `${one.tagName} ${one.className} ${(one.innerText || '').slice(0, 40)}`)"""


@pytest.fixture
def fits_a_phone(page: Page) -> Callable[[], None]:
    """At 320 pixels of width nothing scrolls sideways."""

    def check() -> None:
        before = page.viewport_size
        page.set_viewport_size({"width": 320, "height": 640})
        widest = page.evaluate("document.documentElement.scrollWidth")
        what = page.evaluate(TOO_WIDE) if widest > 320 else []
        if before:
            page.set_viewport_size(before)
        assert widest <= 320, f"{page.url} is {widest} pixels wide on a screen of 320: {what}"

    return check
