"""What the tests of the dock page share: a line to the office that can be cut, and devices that reach it.

line = Line(live_server.url)      # a proxy in front of the live server
line.cut(); line.mend()           # connections are refused, as with a dead server
line.lose_answers = 1             # the office stores what the next request brings, its answer never arrives
"""

from __future__ import annotations

import contextlib
import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import expect

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Locator, Page

    from office.people.models import Person
    from surveys.models import Visit

PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
TABLET: dict[str, Any] = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
DESK: dict[str, Any] = {"viewport": {"width": 1366, "height": 900}}
HOP_BY_HOP = {"connection", "keep-alive", "transfer-encoding", "date", "server"}


class Line:
    """The way to the office, on a port of its own: open, cut, or losing answers."""

    def __init__(self, upstream: str) -> None:
        self.upstream = urlsplit(upstream)
        self.lose_answers = 0
        self.sent: list[tuple[str, int]] = []  # path and bytes of each answer, its head included
        self.dropping = False  # takes the connection and closes it: as good as cut, and quicker to mend
        self.shut = ""  # requests with this in their path get no answer
        self.port = 0
        self.server: ThreadingHTTPServer | None = None
        self.mend()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        self.dropping = False
        if self.server is not None:
            return
        line = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                line.pass_on(self)

            do_POST = do_GET  # noqa: N815

            def log_message(self, *args: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()

    def cut(self) -> None:
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None

    def pass_on(self, handler: BaseHTTPRequestHandler) -> None:
        handler.close_connection = True
        if self.dropping or (self.shut and self.shut in handler.path):
            return
        body = handler.rfile.read(int(handler.headers.get("Content-Length") or 0))
        office = http.client.HTTPConnection(self.upstream.hostname or "", self.upstream.port, timeout=30)
        try:
            office.request(handler.command, handler.path, body, dict(handler.headers.items()))
            answer = office.getresponse()
            content = answer.read()
        except OSError:  # the office went meanwhile: no answer
            return
        finally:
            office.close()
        if self.lose_answers and handler.command == "POST":
            self.lose_answers -= 1
            return
        handler.send_response(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in HOP_BY_HOP:
                handler.send_header(name, value)
        if "Content-Length" not in answer.headers:
            handler.send_header("Content-Length", str(len(content)))
        self.sent.append(
            (handler.path, len(content) + sum(len(name) + len(value) + 4 for name, value in answer.getheaders()))
        )
        with contextlib.suppress(OSError):  # the browser went meanwhile
            handler.end_headers()
            handler.wfile.write(content)


def eventually(holds: Callable[[], bool], page: Page) -> None:
    """Wait for what the office does; the page's own clock goes on meanwhile."""
    for _ in range(200):
        if holds():
            return
        page.wait_for_timeout(30)
    raise AssertionError("it did not come to be")


def sign_in(context: BrowserContext, url: str, person: Person | None) -> None:
    """A session as if the person had signed in on this device."""
    assert person is not None
    client = Client()
    client.force_login(person)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": url}])


class Device:
    """A phone, a tablet or a desk with the dock page open."""

    def __init__(self, context: BrowserContext, url: str, visit: Visit, complain: Callable[[str], None]) -> None:
        self.context, self.url, self.visit = context, url, visit
        self.complain = complain
        context.set_default_timeout(15_000)
        context.on("page", self._listen)
        self.page: Page = context.pages[0] if context.pages else context.new_page()

    def _listen(self, page: Page) -> None:
        page.on("pageerror", lambda error: self.complain(str(error)))
        page.on("console", self._on_console)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.complain(message.text)

    @property
    def address(self) -> str:
        return self.url + reverse("surveys:dock", args=[self.visit.key])

    def open(self) -> Device:
        self.page.goto(self.address)
        expect(self.readout).to_be_visible()
        return self

    def open_and_keep(self) -> Device:
        """Open the page and wait until the device could open it again without the office."""
        self.open()
        self.page.evaluate(KEPT, self.address)
        return self

    def reopen(self) -> Device:
        """The tab is closed, and the page opened in a new one."""
        self.page.close()
        self.page = self.context.new_page()
        return self.open()

    @property
    def bar(self) -> Locator:
        return self.page.locator("#dock-bar")

    @property
    def readout(self) -> Locator:
        return self.page.locator(".dock-figure").first

    @property
    def said(self) -> Locator:
        return self.page.locator("#dock-said")

    def go(self, row: str) -> None:
        """To a reading by the list, as a person does."""
        if (every := self.page.get_by_role("button", name="The list", exact=True)).is_visible():
            every.click()
        self.page.locator(f"[data-row='{row}']").click()
        expect(self.page.locator(".dock-form input:focus")).to_have_count(1)

    def type(self, figure: str, row: str = "") -> None:
        """With the keys of the page; what is typed is read back."""
        if row:
            self.go(row)
        keys = self.page.get_by_role("group", name="Keys")
        for sign in figure:
            keys.get_by_role("button", name="Decimal point" if sign == "." else sign, exact=True).click()
        keys.get_by_role("button", name="Store", exact=True).click()
        expect(self.said).to_contain_text(figure[-3:])

    def is_with_the_office(self) -> None:
        settled = self.page.locator("#dock-bar:not([aria-busy])")  # not while an entry is on its way into the queue
        expect(settled).to_contain_text("The office has everything")

    def waits(self, count: int) -> None:
        expect(self.bar).to_contain_text(
            f"{count} reading{'s' if count != 1 else ''} wait{'' if count != 1 else 's'} here"
        )

    def send_now(self) -> None:
        """As when the phone finds its network again; it may have tried by itself meanwhile."""
        self.page.evaluate("dispatchEvent(new Event('online'))")


# Resolves when the worker has its files and this page.
KEPT = """async (address) => {
  await navigator.serviceWorker.ready;
  const url = new URL(address);
  const page = url.origin + url.pathname;
  for (const end = Date.now() + 60_000; !(await caches.match(page, { cacheName: 'dock-pages' }));) {
    if (Date.now() > end) throw new Error('the worker does not keep the page');
    await new Promise((resolve) => setTimeout(resolve, 30));
  }
}"""


def new_context(browser: Browser, **size: Any) -> BrowserContext:
    return browser.new_context(locale="en-GB", timezone_id="UTC", **size)
