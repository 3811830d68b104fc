"""A spot check at the dock on a phone: read with and without a network, once each; what is found, the report."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, expect

from boats.models import Boat
from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf, snapshot
from office.policy.actions import change_policy
from office.racing import actions, spot_checks
from office.racing.models import SpotCheck, SpotReading
from office.racing.spot_figures import stated
from tests.browser.conftest import AXE_RULES, SCREENSHOTS
from tests.browser.dock import PHONE, Device, Line, new_context, sign_in
from tests.cast import Cast, make_cast
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.django_db(transaction=True)

LUFF, FOOT, BASE = "luff_between_bands-main-one", "foot_distance-main-one", "foretriangle_base-main-one"
ITEMS = {LUFF: ("luff", "main"), FOOT: ("foot", "main"), BASE: ("foretriangle_base", "main")}
TOLERANCE = 20.0


class Phone(Device):
    """The inspector's phone with the spot check's dock page."""

    spot: SpotCheck

    @property
    def address(self) -> str:
        return self.url + reverse("events:spot_dock", args=[self.spot.event.key, self.spot.key])

    def at(self, name: str) -> str:
        return self.url + reverse(f"events:{name}", args=[self.spot.event.key, self.spot.key])


@pytest.fixture
def people() -> Cast:
    return make_cast()


@pytest.fixture
def boat(people: Cast, monkeypatch: pytest.MonkeyPatch) -> Boat:
    """With a certificate in force, whose paper nobody reads here."""
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
    stage = Stage(people, register_boat(people), record_kit(people))
    return certificate_actions.issue(by=people.certifier, visit=stage.visit("accepted")).boat


@pytest.fixture
def spot(people: Cast, boat: Boat) -> SpotCheck:
    today = timezone.localdate()
    change_policy(by=people.administrator, reason="For spot checks.", change_limits={"default": TOLERANCE})
    event = actions.make_event(
        by=people.race_committee, name="Lantern Week", first_day=today, last_day=today, rules_edition="2025_2028"
    )
    return spot_checks.begin(
        by=people.race_committee, event=event, boat=boat, items=list(ITEMS.values()), day=today, place="Pontoon B",
        air_temperature_c=18.0,
    )  # fmt: skip


@pytest.fixture
def phone(browser: Browser, live_server: Any, people: Cast, spot: SpotCheck) -> Iterator[tuple[Phone, Line]]:
    complaints: list[str] = []
    line = Line(live_server.url)
    context = new_context(browser, **PHONE)
    sign_in(context, line.url, people.race_committee)
    made = Phone(context, line.url, spot.certificate.visit, complaints.append)
    made.spot = spot
    yield made, line
    context.close()
    line.cut()
    assert not complaints, f"the browser's console says {complaints}"


def stored(spot: SpotCheck) -> list[tuple[str, int, str]]:
    """Every row there is, those replaced too: nothing may be there twice."""
    return sorted(SpotReading.objects.filter(spot_check=spot).values_list("slug", "take", "written"))


def examine(phone: Phone, name: str) -> None:
    found = Axe().run(phone.page, options={"runOnly": {"type": "tag", "values": AXE_RULES}})
    assert found.violations_count == 0, f"{phone.page.url}\n{found.generate_report()}"
    assert phone.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, name
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    phone.page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=True, caret="initial")


def test_read_without_a_network_and_reported(phone: tuple[Phone, Line], people: Cast, spot: SpotCheck) -> None:
    device, line = phone
    rows = stated(snapshot.read(spot.certificate))
    luff, foot, base = (f"{float(rows[item]['value_unrounded']):.0f}" for item in ITEMS.values())
    longer, edge = str(int(foot) + 60), str(int(base) + 17)
    device.open_and_keep()
    expect(device.page.locator("#dock-count")).to_have_text("0 read, 3 missing")
    expect(device.page.get_by_role("button", name="Not on this rig")).to_have_count(0)
    device.type(luff, row=LUFF)
    device.is_with_the_office()

    line.cut()
    device.type(longer, row=FOOT)
    device.waits(1)
    device.reopen()  # a closed tab: the worker has the page, the device what waits
    device.waits(1)
    device.type(edge, row=BASE)
    device.type(edge, row=BASE)
    device.waits(3)
    examine(device, "spot-dock-waits")
    assert len(stored(spot)) == 1

    line.mend()
    line.lose_answers = 1  # what comes first is stored, and its answer lost
    device.send_now()
    device.send_now()
    device.is_with_the_office()
    everything = [
        ("foot_distance", 1, longer), ("foretriangle_base", 1, edge), ("foretriangle_base", 2, edge),
        ("luff_between_bands", 1, luff),
    ]  # fmt: skip
    assert stored(spot) == everything
    panel = device.page.locator("#dock-panel")
    for answer in ("Agrees", "Differs", "Cannot tell"):
        expect(panel).to_contain_text(answer)
    examine(device, "spot-dock")

    device.page.goto(device.at("spot_check"))
    device.page.get_by_role("button", name="Finish the spot check").click()
    expect(device.page.get_by_text("The spot check is finished")).to_be_visible()
    examine(device, "spot-check")
    report = device.page.request.get(device.at("spot_report")).body()
    (SCREENSHOTS / "spot-report.pdf").write_bytes(report)
    text = " ".join("".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(report)).pages).split())
    for words in (
        "Spot check: Quiet Margin",
        "agrees",
        "differs",
        "cannot tell",
        longer,
        "Person in charge of the boat",
    ):
        assert words in text, words

    sign_in(device.context, line.url, people.reviewer)
    device.page.goto(f"{line.url}{reverse('boats:boat', args=[spot.boat.key])}")
    found = "finished a spot check: P agrees, E differs, J cannot tell"
    expect(device.page.locator("#timeline")).to_contain_text(found)
