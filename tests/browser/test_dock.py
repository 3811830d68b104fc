"""The dock page on a phone, a tablet and a desk: readings taken, and each way in which the office is out of reach."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.sessions.models import Session
from PIL import Image
from playwright.sync_api import expect

from surveys.models import AbsentReading, Reading, ReadingConflict, Visit
from surveys.queries import current_readings
from tests.browser.conftest import AXE_RULES, SCREENSHOTS
from tests.browser.dock import DESK, PHONE, TABLET, Device, Line, eventually, new_context, sign_in
from tests.cast import PASSWORD, make_cast
from tests.surveys.makers import Stage, record_kit, register_boat

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.django_db(transaction=True)

LOWER, UPPER, LUFF = "lower_band_width-main-one", "upper_band_width-main-one", "luff_between_bands-main-one"
FILE = {"format": "dock-waiting", "version": 1, "entries": []}
SIDES = """() => [...document.querySelectorAll('.dock-key, .dock-store')].map(one => one.getBoundingClientRect())
  .flatMap(box => [box.width, box.height])"""


@pytest.fixture
def stage() -> Stage:
    cast = make_cast()
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def visit(stage: Stage) -> Visit:
    return stage.visit("draft")


@pytest.fixture
def line(live_server: Any) -> Iterator[Line]:
    made = Line(live_server.url)
    yield made
    made.cut()


@pytest.fixture
def device(browser: Browser, line: Line, stage: Stage, visit: Visit) -> Iterator[Callable[..., Device]]:
    """`device(PHONE)`: another device of the measurer, signed in. A complaint in its console fails the test."""
    complaints: list[str] = []
    made = []

    def make(size: dict[str, Any] = PHONE, person: Any = None, **more: Any) -> Device:
        context = new_context(browser, **size, **more)
        made.append(context)
        sign_in(context, line.url, person or stage.cast.measurer)
        return Device(context, line.url, visit, complaints.append)

    yield make
    for context in made:
        context.close()
    assert not complaints, f"the browser's console says {complaints}"


def values(visit: Visit, row: str = "") -> list[str]:
    """What stands in the office, as it was written."""
    slug, mast, place = (row or "--").split("-")
    return [
        one.written
        for one in current_readings(visit)
        if not row or (one.slug, one.mast, one.position or "one") == (slug, mast, place)
    ]


def look(device: Device, name: str) -> None:
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    device.page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=True, caret="initial")


def examine(device: Device, *schemes: Literal["dark", "light"]) -> None:
    """axe, and nothing that scrolls sideways. The walk is looked at in both schemes, what differs from it in one."""
    for scheme in schemes:
        device.page.emulate_media(color_scheme=scheme)
        found = Axe().run(device.page, options={"runOnly": {"type": "tag", "values": AXE_RULES}})
        assert found.violations_count == 0, f"{scheme}\n{found.generate_report()}"
    assert device.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


# ---- Taking readings ----


def test_one_thumb_reads_what_the_measurer_walks_past(device, visit):
    phone = device(PHONE).open()
    expect(phone.page.locator(".dock-name")).to_contain_text("Width of the lower band")
    phone.type("126")
    expect(phone.said).to_contain_text("126 mm: one hundred and twenty-six millimetres")
    expect(phone.said).to_contain_text("with the office")
    expect(phone.page.locator(".dock-name")).to_contain_text("Width of the upper band")
    phone.type("15286", row=LUFF)
    expect(phone.said).to_contain_text("fifteen thousand two hundred and eighty-six")
    phone.is_with_the_office()
    assert values(visit) == ["126", "15286"]
    expect(phone.page.locator("#dock-panel")).to_contain_text("15 28")  # the luff, brought to the reference temperature
    examine(phone, "dark", "light")
    look(phone, "dock-phone")


def test_the_list_shows_what_each_reading_has_come_to(device, visit):
    phone = device(PHONE).open()
    phone.type("126")
    phone.page.get_by_role("button", name="The list", exact=True).click()
    expect(phone.page.locator(f"[data-row='{LOWER}']")).to_contain_text("126 mm")
    expect(phone.page.locator(f"[data-row='{LOWER}']")).to_contain_text("read")
    expect(phone.page.locator(f"[data-row='{UPPER}']")).to_contain_text("to read")
    examine(phone, "dark")
    look(phone, "dock-list")


def test_repeat_amend_take_away_and_undo(device, visit):
    phone = device(PHONE).open()
    phone.type("126")
    phone.page.get_by_role("button", name="Take it again").click()
    expect(phone.page.locator(".dock-take")).to_have_text("Take 2")
    phone.type("127")
    phone.go(LOWER)
    phone.page.get_by_role("button", name="Amend take 1").click()
    for sign in "128":
        phone.page.get_by_role("button", name=sign, exact=True).click()
    phone.page.get_by_role("button", name="Amend", exact=True).click()
    expect(phone.said).to_contain_text("128 mm")
    phone.page.get_by_role("button", name="Take away take 2").click()
    phone.page.get_by_role("button", name="Take it away").click()
    phone.is_with_the_office()
    assert values(visit) == ["128"]
    phone.type("130", row=UPPER)
    phone.is_with_the_office()
    phone.page.get_by_role("button", name="Undo").click()
    expect(phone.said).to_contain_text("Undone")
    phone.is_with_the_office()
    assert values(visit) == ["128"]


def test_not_on_this_rig_asks_why_and_can_be_taken_back(device, visit):
    phone = device(PHONE).open()
    phone.go("spinnaker_halyard_above_band-main-new")
    phone.page.get_by_role("button", name="Not on this rig").click()
    phone.page.get_by_role("button", name="It is not on this rig").click()
    expect(phone.page.get_by_text("Say in a few words why.")).to_be_visible()
    examine(phone, "light")
    phone.page.get_by_label("Why").fill("no spinnaker is carried")
    phone.page.get_by_role("button", name="It is not on this rig").click()
    phone.is_with_the_office()
    assert AbsentReading.objects.get().reason == "no spinnaker is carried"
    phone.go("spinnaker_halyard_above_band-main-new")
    phone.page.get_by_role("button", name="It is on this rig").click()
    expect(phone.said).to_contain_text("is on this rig again")
    phone.is_with_the_office()
    assert AbsentReading.objects.get().taken_back_at is not None


def test_feet_inches_and_sixteenths(device, visit):
    phone = device(PHONE).open()
    phone.go(LUFF)
    phone.page.get_by_label("Typed in").select_option("ft")
    keys = phone.page.get_by_role("group", name="Keys")
    for figure in ("50", "1", "13"):
        for sign in figure:
            keys.get_by_role("button", name=sign, exact=True).click()
        keys.get_by_role("button", name="Next: feet").click()
    expect(phone.page.locator(".dock-words")).to_have_text(
        "fifty feet one and thirteen sixteenths inches, 15\u202f286 mm"
    )
    look(phone, "dock-feet")
    keys.get_by_role("button", name="Store").click()
    expect(phone.said).to_contain_text("50 ft 1 13/16 in")
    phone.is_with_the_office()
    reading = Reading.objects.get()
    assert (reading.written, round(reading.value or 0, 3)) == ("50 ft 1 13/16 in", 15286.038)


def test_a_halyard_is_named_and_read_twice(device, visit, line):
    phone = device(PHONE).open()
    phone.page.get_by_role("button", name="The list", exact=True).click()
    phone.page.locator("[data-row='spinnaker_halyard_above_band-main-new']").click()
    line.cut()
    phone.page.get_by_label("Which halyard").fill("masthead")
    for figure in ("14100", "14104"):
        for sign in figure:
            phone.page.get_by_role("button", name=sign, exact=True).click()
        phone.page.get_by_role("button", name="Store", exact=True).click()
        expect(phone.said).to_contain_text(figure[-3:])
        if figure == "14100":
            phone.page.get_by_role("button", name="Take it again").click()
    line.mend()
    phone.send_now()
    phone.is_with_the_office()
    assert [(one.position, one.take, one.written) for one in current_readings(visit)] == [
        ("masthead", 1, "14100"),
        ("masthead", 2, "14104"),
    ]


def test_keyboard_alone(device, visit):
    desk = device(DESK).open()
    keyboard = desk.page.keyboard
    for _ in range(60):
        keyboard.press("Tab")
        if desk.page.evaluate("document.activeElement.id") == "dock-value":
            break
    keyboard.type("126")
    keyboard.press("Enter")
    expect(desk.said).to_contain_text("126 mm")
    expect(desk.readout).to_be_focused()
    keyboard.type("1x")
    keyboard.press("Enter")
    expect(desk.page.get_by_role("alert")).to_contain_text("is no figure")
    keyboard.press("ArrowDown")
    expect(desk.page.locator(".dock-name")).to_contain_text("Luff between the bands")
    keyboard.type("15286")
    keyboard.press("Enter")
    expect(desk.said).to_contain_text("15\u202f286 mm")
    desk.is_with_the_office()
    assert values(visit) == ["126", "15286"]
    examine(desk, "dark")
    look(desk, "dock-desk")


def test_a_tablet_and_a_small_phone(device):
    tablet = device(TABLET).open()
    tablet.type("126")
    examine(tablet, "light")
    look(tablet, "dock-tablet")
    small = device({"viewport": {"width": 320, "height": 640}, "has_touch": True}).open()
    examine(small, "dark")
    look(small, "dock-small")
    assert min(small.page.evaluate(SIDES)) >= 56


# ---- The office out of reach ----


def test_a_cut_line_keeps_what_is_typed_and_says_so(device, visit, line):
    phone = device(PHONE).open()
    line.cut()
    phone.type("126")
    expect(phone.said).to_contain_text("kept here, not yet with the office")
    phone.waits(1)
    phone.type("15286", row=LUFF)
    phone.waits(2)
    phone.page.get_by_role("button", name="The list", exact=True).click()
    expect(phone.page.locator(f"[data-row='{LUFF}']")).to_contain_text("waits here")
    examine(phone, "light")
    look(phone, "dock-waiting")
    assert values(visit) == []
    line.mend()
    phone.send_now()
    phone.is_with_the_office()
    assert values(visit) == ["126", "15286"]


def test_an_answer_that_gets_lost_doubles_nothing(device, visit, line):
    phone = device(PHONE).open()
    line.lose_answers = 2
    phone.type("126")
    eventually(lambda: values(visit) == ["126"] and line.lose_answers == 1, phone.page)
    phone.waits(1)  # the office has it, the device does not know
    phone.send_now()
    eventually(lambda: line.lose_answers == 0, phone.page)
    phone.waits(1)
    phone.page.get_by_role("button", name="Send now").click()
    phone.is_with_the_office()
    assert values(visit) == ["126"]
    assert Reading.objects.count() == 1


def test_a_sign_in_that_ran_out_asks_again_and_loses_nothing(device, visit, stage):
    phone = device(PHONE).open()
    Session.objects.all().delete()
    phone.type("126")
    phone.page.get_by_role("link", name="Sign in again to send 1 reading").click()
    phone.page.get_by_label("E-mail").fill(stage.cast.measurer.email)
    phone.page.get_by_label("Password").fill(PASSWORD)
    phone.page.get_by_role("button", name="Sign in", exact=True).click()
    expect(phone.readout).to_be_visible()
    phone.is_with_the_office()
    assert values(visit) == ["126"]


def test_a_stranger_on_the_same_phone_sees_a_count_and_sends_nothing(device, visit, stage, line):
    phone = device(PHONE).open()
    line.cut()
    phone.type("126")
    phone.waits(1)
    sign_in(phone.context, line.url, stage.cast.second_measurer)  # before the line is back: it is tried again by itself
    line.mend()
    phone.send_now()
    expect(phone.page.locator("#dock-troubles")).to_contain_text("1 reading typed by Mara Lind waits on this device")
    expect(phone.page.locator("body")).not_to_contain_text("126 mm")
    assert values(visit) == []
    sign_in(phone.context, line.url, stage.cast.measurer)
    phone.open().is_with_the_office()
    assert values(visit) == ["126"]


def test_signing_out_takes_the_kept_figures_along_and_leaves_what_waits(device, visit, stage, line):
    phone = device(PHONE).open_and_keep()
    line.shut = "/send/"
    phone.type("126")
    phone.waits(1)
    phone.page.get_by_role("button", name="Sign out").click()
    expect(phone.page.get_by_role("link", name="Sign in").first).to_be_visible()
    assert "dock-kept" not in phone.page.evaluate("indexedDB.databases().then(all => all.map(one => one.name))")
    assert "dock-pages" not in phone.page.evaluate("caches.keys()")
    line.shut = ""
    sign_in(phone.context, line.url, stage.cast.measurer)
    phone.open().is_with_the_office()
    assert values(visit) == ["126"]


def test_two_devices_with_two_figures_and_a_person_chooses(device, visit):
    one, other = device(PHONE).open(), device(PHONE).open()
    one.context.set_offline(True)
    one.type("126")
    one.waits(1)
    other.type("128")
    other.is_with_the_office()
    one.context.set_offline(False)
    one.send_now()
    trouble = one.page.get_by_role("region", name="Two readings differ")
    expect(trouble).to_contain_text("126 mm")
    expect(trouble).to_contain_text("128 mm")
    examine(one, "dark")
    look(one, "dock-two-differ")
    assert values(visit) == ["128"]
    trouble.get_by_role("button", name="Keep 126 mm").click()
    expect(trouble).to_be_hidden()
    one.is_with_the_office()
    assert values(visit) == ["126"]
    assert ReadingConflict.objects.get().choice == "mine"


def test_the_same_figure_on_two_devices_is_one_reading(device, visit, line):
    one, other = device(PHONE).open(), device(PHONE).open()
    line.cut()
    one.type("126")
    other.type("126")
    line.mend()
    for phone in (one, other):
        phone.send_now()
        phone.is_with_the_office()
    assert values(visit) == ["126"]
    assert not ReadingConflict.objects.exists()


def test_two_tabs_of_one_device_share_what_waits(device, visit, line):
    phone = device(PHONE).open()
    tab = Device(phone.context, phone.url, visit, phone.complain)
    tab.page = phone.context.new_page()
    tab.open()
    line.cut()
    phone.type("126")
    expect(tab.page.locator(f"[data-row='{LOWER}']")).to_contain_text("126 mm")
    tab.type("130", row=UPPER)
    phone.waits(2)
    line.mend()
    phone.send_now()
    tab.send_now()
    phone.is_with_the_office()
    tab.is_with_the_office()
    assert values(visit) == ["126", "130"]
    assert Reading.objects.count() == 2


def test_what_waits_is_saved_to_a_file_and_read_in_elsewhere(device, visit, line, tmp_path):
    phone, other = device(PHONE).open(), device(DESK).open()
    line.cut()
    phone.type("126")
    phone.type("130")
    with phone.page.expect_download() as download:
        phone.page.get_by_role("button", name="Save to a file").click()
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    assert path.name == "quiet-margin-waiting.json"
    assert [one["text"] for one in json.loads(path.read_text())["entries"]] == ["126", "130"]
    line.mend()
    other.page.get_by_label("Read a file in").set_input_files(path)
    expect(other.page.locator("#dock-file-said")).to_contain_text("2 readings in the file, 2 of them new")
    other.is_with_the_office()
    phone.send_now()  # the first device sends them too
    phone.is_with_the_office()
    assert values(visit) == ["126", "130"]
    assert Reading.objects.count() == 2


def test_a_file_of_another_visit_or_none_at_all_is_refused(device, tmp_path):
    phone = device(PHONE).open()
    path = tmp_path / "wrong.json"
    for text, sentence in (
        ("luff 15286", "JSON is expected"),
        (
            json.dumps({**FILE, "key": "visit:x", "title": "Sea Holly"}),
            "belongs to Sea Holly",
        ),
        (
            json.dumps({**FILE, "key": f"visit:{phone.visit.key}", "entries": [{"token": "short"}]}),
            "Entry 1",
        ),
    ):
        path.write_text(text)
        phone.page.get_by_label("Read a file in").set_input_files(path)
        expect(phone.page.locator("#dock-file-said")).to_contain_text(sentence)


def test_a_refused_reading_stays_until_a_person_decides(device, visit):
    phone, other = device(PHONE).open(), device(PHONE).open()
    phone.context.set_offline(True)
    phone.type("126")
    phone.waits(1)
    other.go(LOWER)
    other.page.get_by_role("button", name="Not on this rig").click()
    other.page.get_by_label("Why").fill("no band is painted yet")
    other.page.get_by_role("button", name="It is not on this rig").click()
    other.is_with_the_office()
    phone.context.set_offline(False)
    phone.send_now()
    refused = phone.page.get_by_role("region", name="Refused")
    expect(refused).to_contain_text("126 mm")
    examine(phone, "light")
    look(phone, "dock-refused")
    phone.reopen()
    expect(phone.page.get_by_role("region", name="Refused")).to_contain_text("126 mm")
    phone.page.get_by_role("button", name="Throw it away").click()
    phone.page.get_by_role("dialog").get_by_role("button", name="Throw it away").click()
    expect(phone.page.get_by_role("region", name="Refused")).to_be_hidden()
    assert values(visit) == []


def test_a_device_that_keeps_nothing_says_so_loudly(device, visit, line):
    phone = device(PHONE)
    phone.context.add_init_script("IDBFactory.prototype.open = () => { throw new Error('the disk is full'); }")
    phone.open()
    expect(phone.page.get_by_role("alert").first).to_contain_text("This device keeps nothing")
    line.cut()
    phone.type("126")
    expect(phone.bar).to_contain_text("1 reading NOT kept by this device")
    expect(phone.said).to_contain_text("NOT kept by this device")
    examine(phone, "dark")
    look(phone, "dock-not-kept")
    line.mend()
    phone.send_now()
    phone.is_with_the_office()
    assert values(visit) == ["126"]


def test_a_photo_waits_like_a_reading(device, visit, line, tmp_path):
    Image.new("RGB", (400, 300), "teal").save(tmp_path / "mast.jpg")
    phone = device(PHONE).open()
    line.cut()
    phone.page.get_by_label("Take or choose a photo").set_input_files(tmp_path / "mast.jpg")
    expect(phone.bar).to_contain_text("1 photo waits here")
    expect(phone.page.locator(".dock-thumbs img")).to_be_visible()
    line.mend()
    phone.send_now()
    phone.is_with_the_office()
    expect(phone.page.locator(".dock-thumbs img")).to_be_visible()
    assert visit.photos.count() == 1
