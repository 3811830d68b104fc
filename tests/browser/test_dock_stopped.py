"""The dock page against the office's real server: killed and started again, the browser restarted; its weight."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from django.db import connection
from playwright.sync_api import expect

from office import environment
from surveys.models import Reading, Visit
from surveys.queries import current_readings
from tests.browser.conftest import QUIET
from tests.browser.dock import PHONE, Device, Line, new_context, sign_in
from tests.cast import make_cast
from tests.surveys.makers import Stage, record_kit, register_boat

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserType

pytestmark = pytest.mark.django_db(transaction=True)

MOST_BYTES = 150_000
LUFF = "luff_between_bands-main-one"


class Office:
    """granian on the test's database, as `serve` starts it; killed as a power cut would."""

    def __init__(self, data: Any) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        name = connection.settings_dict["NAME"]
        self.env = os.environ | {
            "DJANGO_SETTINGS_MODULE": "office.settings", "DATABASE_URL": f"sqlite:///{name}", "OFFICE_DATA": str(data),
            "OFFICE_SECRET_KEY": "only for tests", "OFFICE_HOSTS": "127.0.0.1,rig.test",
        }  # fmt: skip
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def collect(self) -> None:
        call = [sys.executable, "-m", "django", "collectstatic", "--noinput", "-v0"]
        subprocess.run(call, env=self.env, cwd=environment.ROOT, check=True)

    def start(self) -> None:
        call = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(self.port)]
        call += ["--workers", "1", "--blocking-threads", "2", "--log-level", "error", "office.wsgi:application"]
        self.process = subprocess.Popen(call, env=self.env, cwd=environment.ROOT, start_new_session=True)
        for _ in range(600):
            with socket.socket() as asked:
                if asked.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError("the server does not listen")

    def kill(self) -> None:
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


@pytest.fixture(scope="module")
def static(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return tmp_path_factory.mktemp("office")


@pytest.fixture
def office(static: Any) -> Iterator[Office]:
    made = Office(static)
    if not (static / "static").exists():
        made.collect()
    made.start()
    yield made
    made.kill()


@pytest.fixture
def stage() -> Stage:
    cast = make_cast()
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def visit(stage: Stage) -> Visit:
    return stage.visit("draft")


def test_server_killed_page_reloaded_tab_closed_browser_restarted(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any], visit: Visit, office: Office, tmp_path: Any
) -> None:
    complaints: list[str] = []

    def browser() -> Device:
        context = browser_type.launch_persistent_context(tmp_path / "profile", **browser_type_launch_args, **PHONE)
        return Device(context, office.url, visit, complaints.append)

    phone = browser()
    sign_in(phone.context, office.url, visit.measurer)
    phone.open_and_keep()
    office.kill()
    phone.type("126")
    phone.waits(1)
    phone.open()  # reloaded: the worker has the page, the device has the reading
    phone.waits(1)
    phone.type("15286", row=LUFF)
    phone.waits(2)
    phone.reopen()
    phone.waits(2)
    phone.context.close()
    phone = browser()
    phone.open()
    phone.waits(2)
    assert not Reading.objects.exists()
    office.start()
    sign_in(phone.context, office.url, visit.measurer)  # a session without an end date does not outlive the browser
    phone.send_now()
    phone.is_with_the_office()
    phone.context.close()
    assert [one.written for one in current_readings(visit)] == ["126", "15286"]
    assert Reading.objects.count() == 2
    assert not complaints


def test_the_first_load_weighs_less_than_150_kilobytes(
    browser: Browser, stage: Stage, visit: Visit, office: Office
) -> None:
    """A visit with all its readings: all that comes until the page opens without the office, for the worker too."""
    stage.fill(visit)
    line = Line(office.url)
    context = new_context(browser, **PHONE)
    sign_in(context, line.url, visit.measurer)
    strangers: list[str] = []
    context.on("request", lambda request: None if request.url.startswith(line.url) else strangers.append(request.url))
    phone = Device(context, line.url, visit, lambda words: None).open_and_keep()
    phone.is_with_the_office()
    context.close()
    line.cut()
    total = sum(size for _, size in line.sent)
    assert not [url for url in strangers if not url.startswith("data:")]
    assert any(path.endswith("state.json") for path, _ in line.sent)
    assert total < MOST_BYTES, line.sent


def test_without_a_secure_context_the_page_says_so_and_still_keeps(
    browser_type: BrowserType, browser_type_launch_args: dict[str, Any], visit: Visit, office: Office
) -> None:
    launch = {**browser_type_launch_args, "args": [*QUIET, "--host-resolver-rules=MAP rig.test 127.0.0.1"]}
    browser = browser_type.launch(**launch)
    url = f"http://rig.test:{office.port}"
    context = new_context(browser, **PHONE)
    sign_in(context, url, visit.measurer)
    phone = Device(context, url, visit, lambda words: None).open()
    expect(phone.page.locator("#dock-troubles")).to_contain_text("not reached by https")
    expect(phone.page.locator("#dock-troubles")).to_contain_text("write on paper")
    office.kill()
    phone.type("126")
    phone.waits(1)
    office.start()
    phone.open()  # a new page of the same device: what waits lay in its database
    phone.is_with_the_office()
    browser.close()
    assert [one.written for one in current_readings(visit)] == ["126"]
