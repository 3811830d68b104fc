"""The whole line in a browser: measurer, reviewer, certifier, owner, race committee.

Every page of it is looked at by axe in the light and the dark scheme, fits a phone, shows where the keyboard is, and
leaves a screenshot for a person to look at. The boat was measured and certified before; this time her lower band has
been painted 30 mm higher, which the reviewer has to see.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from office.certificates.actions import issue
from office.certificates.verification.register import check_all
from surveys import actions
from surveys.models import Visit, VisitState
from tests.cast import PASSWORD, make_cast
from tests.surveys.makers import SAMPLES, Stage, record_kit, register_boat

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_keys")]

NEXT_SEASON = SAMPLES / "quiet_margin_2024.csv"
LEFT_OUT = ("lower_band_width", "BD", "SPL", "taper_length")  # all but the last are typed into the form instead
TWICE = (
    """() => [...document.querySelectorAll('[id]')].map(one => one.id).filter((id, at, all) => all.indexOf(id) < at)"""
)
FOCUS = """() => {
  const at = document.activeElement, style = getComputedStyle(at);
  return {words: at.innerText || at.name || at.tagName, body: at === document.body,
    ring: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2};
}"""


@pytest.fixture
def stage() -> Stage:
    """A boat with a certificate of last season, and a visit planned for today."""
    cast = make_cast()
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    issue(by=cast.certifier, visit=stage.visit("accepted"))
    return stage


@pytest.fixture
def planned(stage: Stage) -> Visit:
    return stage.visit("planned")


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """The log sheet as the measurer uploads it: three readings are still to be typed, one cannot be taken."""
    rows = NEXT_SEASON.read_text(encoding="utf-8").splitlines(keepends=True)
    path = tmp_path / "second visit.csv"
    kept = [row for row in rows if not row.startswith(tuple(f"reading,{slug}," for slug in LEFT_OUT))]
    path.write_text("".join(kept), encoding="utf-8")
    return path


class Line:
    """One browser that goes from desk to desk."""

    def __init__(self, page: Page, url: str, examine: Callable[[str], None]) -> None:
        self.page, self.url, self.examine = page, url, examine

    def open(self, name: str, *args: Any) -> None:
        self.page.goto(self.url + reverse(name, args=args))

    def sign_in(self, person: Any) -> None:
        self.open("people:sign_in")
        self.page.get_by_label("E-mail").fill(person.email)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.press("Sign in")

        expect(self.page.get_by_role("button", name="Sign out")).to_be_visible()

    def sign_out(self) -> None:
        self.press("Sign out")
        self.says("You are signed out.")

    def press(self, words: str, within: str = "body") -> None:
        self.page.locator(within).get_by_role("button", name=re.compile(words)).first.click()

    def follow(self, words: str) -> None:
        self.page.locator("main").get_by_role("link", name=re.compile(words)).first.click()

    def says(self, words: str) -> None:
        expect(self.page.locator("body")).to_contain_text(words, ignore_case=True)

    def saves(self, link: str) -> bytes:
        """The bytes behind a link of the page, as the browser gets them with its session."""
        href = self.page.get_by_role("link", name=re.compile(link)).first.get_attribute("href")
        answer = self.page.request.get(self.url + str(href))
        assert answer.ok
        return answer.body()


@pytest.fixture
def line(page: Page, live_server: Any, look: Any, no_axe_violations: Any, fits_a_phone: Any) -> Line:
    def examine(name: str) -> None:
        look(f"line-{name}")
        assert page.evaluate(TWICE) == [], f"{page.url}: the same id twice"
        no_axe_violations()
        page.emulate_media(color_scheme="dark")
        no_axe_violations(again=True)
        page.emulate_media(color_scheme="light")
        fits_a_phone()
        page.keyboard.press("Tab")
        focus = page.evaluate(FOCUS)
        assert not focus["body"], f"{page.url}: the keyboard reaches nothing"
        assert focus["ring"], f"{page.url}: nothing shows that the keyboard is at {focus['words']!r}"

    return Line(page, live_server.url, examine)


def test_from_the_dock_to_the_race(line: Line, stage: Stage, planned: Visit, sheet: Path) -> None:
    measures_and_signs(line, stage, planned, sheet)
    asks_and_returns(line, stage, planned)
    answers_and_signs_again(line, stage, planned)
    accepts(line, stage, planned)
    number = certifies(line, stage, planned)
    reads_and_downloads(line, stage, number)
    checks_on_the_day(line, number)
    assert list(check_all()) == []


def measures_and_signs(line: Line, stage: Stage, visit: Visit, sheet: Path) -> None:
    line.open("home")
    line.examine("00-welcome")
    line.open("people:sign_in")
    line.examine("01-sign-in")
    line.sign_in(stage.cast.measurer)
    line.examine("02-measurer-home")
    line.follow("Quiet Margin")
    line.examine("03-visit-planned")
    line.press("Begin the visit")
    states_the_conditions(line)
    line.open("surveys:upload", visit.key)
    line.examine("05-upload")
    line.page.get_by_label("Log sheet").set_input_files(sheet)
    line.press("Check and take the sheet")
    types_the_rest(line)
    settles_what_is_missing(line)
    line.open("surveys:sign", visit.key)
    line.examine("09-sign")
    line.page.get_by_label("Your password").fill("not my password")
    line.press("^Sign$", "main")
    line.says("password")
    line.page.get_by_label("Your password").fill(PASSWORD)
    line.press("^Sign$", "main")
    line.says("Signed. The visit now waits for its review.")
    line.examine("10-visit-signed")
    visit.refresh_from_db()
    assert visit.state == VisitState.SIGNED
    line.sign_out()


def states_the_conditions(line: Line) -> None:
    line.examine("04-conditions")
    line.page.get_by_label("Date of the visit").fill("2024-04-23")
    line.page.get_by_label("Place", exact=True).fill("Skerrin Haven, north yard")
    line.page.get_by_label("Air temperature").fill("46")
    line.page.get_by_label("Degrees").select_option("degF")
    line.press("Store|Save", "main")
    line.says("The conditions are stored.")


def types_the_rest(line: Line) -> None:
    """One reading without a word of JavaScript's help would be stored with all; here each row is stored by itself."""
    page = line.page
    line.says("The log sheet is taken")
    line.examine("06-readings")
    page.locator("#boom_depth-main-one-value").fill("one hundred")
    page.locator("#boom_depth-main-one-store").click()
    page.locator("#boom_depth-main-one-value-error").wait_for()
    line.examine("07-reading-refused")
    page.locator("#boom_depth-main-one-value").fill("141,3")
    page.locator("#boom_depth-main-one-instrument").select_option("C-02")
    page.locator("#boom_depth-main-one-store").click()
    page.locator("#row-boom_depth-main-one .takes").wait_for()
    page.locator("#pole_length-main-one-value").fill("12 ft 1 3/4 in")
    page.locator("#pole_length-main-one-instrument").select_option("T-03")
    page.locator("#pole_length-main-one-store").click()
    page.locator("#row-pole_length-main-one .takes").wait_for()
    assert "12 ft 1 3/4 in" in page.locator("#row-pole_length-main-one .takes").inner_text()
    page.locator("#lower_band_width-main-one-value").fill("24")
    page.locator("#lower_band_width-main-one-instrument").select_option("R-01")
    line.press("Store everything typed", "main")
    line.says("1 reading stored.")


def settles_what_is_missing(line: Line) -> None:
    line.follow("Settle with a reason")
    line.examine("08-settle")
    line.page.get_by_label("Why it may stand").fill(
        "The taper begins under the upper spreaders' bracket, which stays on."
    )
    line.press("Settle", "main")
    line.says("The check is settled")


def asks_and_returns(line: Line, stage: Stage, visit: Visit) -> None:
    line.sign_in(stage.cast.reviewer)
    line.examine("11-reviewer-home")
    line.open("desk:queue")
    line.examine("12-queue")
    line.follow("Quiet Margin")
    line.says("Is it real?")
    line.examine("13-review")
    line.press("Begin the review")
    line.page.get_by_label("About").select_option("pole_length|main|")
    line.page.get_by_label("Question").fill("In feet this time. Which end of the pole did you read?")
    line.press("Note the question")
    line.says("The question is noted.")
    line.examine("14-review-asked")
    line.page.get_by_label("Why it goes back").fill("One question about the pole; the rest is clear.")
    line.press("Return with the questions")
    line.says("nothing is lost")
    visit.refresh_from_db()
    assert visit.state == VisitState.RETURNED
    line.sign_out()


def answers_and_signs_again(line: Line, stage: Stage, visit: Visit) -> None:
    line.sign_in(stage.cast.measurer)
    line.follow("Quiet Margin")
    line.says("Which end of the pole did you read?")
    line.examine("15-visit-returned")
    line.follow("^Answer")
    line.examine("16-answer")
    line.page.get_by_label("Your answer").fill("From the centreline to the outer end, as always.")
    line.press("Answer|Send|Save", "main")
    line.says("goes back to the reviewer with your next signature")
    line.open("surveys:sign", visit.key)
    line.page.get_by_label("Your password").fill(PASSWORD)
    line.press("^Sign$", "main")
    line.says("Signed. The visit now waits for its review.")
    line.sign_out()


def accepts(line: Line, stage: Stage, visit: Visit) -> None:
    line.sign_in(stage.cast.reviewer)
    line.open("desk:review", visit.key)
    line.press("Begin the review")
    line.press("Settle")
    line.says("The question is settled.")
    line.page.get_by_label("Why it is accepted").fill("The lower band was painted 30 mm higher; all else follows.")
    line.examine("17-review-decision")
    line.press("Accept the visit")
    line.says("the visit is accepted")
    line.examine("18-queue-empty")
    visit.refresh_from_db()
    assert visit.state == VisitState.ACCEPTED
    line.sign_out()


def certifies(line: Line, stage: Stage, visit: Visit) -> str:
    """The number of the certificate, whose paper is a PDF."""
    line.sign_in(stage.cast.certifier)
    line.examine("19-certifier-home")
    line.follow("Quiet Margin")
    line.examine("20-issue")
    line.page.get_by_role("checkbox").check()
    line.press("^Issue ")
    line.says("is issued, in force from")
    line.examine("21-certificate")
    assert line.saves("PDF, A4").startswith(b"%PDF")
    assert line.saves("PDF, Letter").startswith(b"%PDF")
    line.sign_out()
    return str(visit.certificates.get().number)


def reads_and_downloads(line: Line, stage: Stage, number: str) -> None:
    line.sign_in(stage.cast.owner)
    line.examine("22-owner-home")
    line.follow("Quiet Margin")
    line.says(number)
    line.examine("23-owner-boat")
    line.follow(re.escape(number))
    line.examine("24-owner-certificate")
    assert line.saves("PDF, A4").startswith(b"%PDF")
    line.sign_out()


def checks_on_the_day(line: Line, number: str) -> None:
    """Nobody signs in for this: the race committee asks as anybody does."""
    today = dt.datetime.now(dt.UTC).date()
    line.open("racing:check")
    line.examine("25-check")
    line.page.locator("#id_q").fill("ske214")
    line.page.locator("#id_on").fill(today.isoformat())
    line.press("Check")
    line.says(number)
    line.says("In force")
    line.examine("26-check-in-force")
    line.open("racing:certificate", number)
    line.says("Quiet Margin")
    line.examine("27-public-certificate")
    line.page.goto(f"{line.url}{reverse('racing:check')}?q=SKE-0214&on={today.year + 3}-06-01")
    line.says("Expired")


def test_the_measurer_needs_no_javascript(
    browser: Any, live_server: Any, stage: Stage, planned: Visit, sheet: Path
) -> None:
    """The same forms with scripts switched off: begin, upload, type, sign."""
    actions.begin_visit(by=stage.cast.measurer, visit=planned)
    context = browser.new_context(java_script_enabled=False)
    line = Line(context.new_page(), live_server.url, lambda name: None)
    line.sign_in(stage.cast.measurer)
    line.open("surveys:upload", planned.key)
    line.page.get_by_label("Log sheet").set_input_files(sheet)
    line.press("Check and take the sheet")
    for slug, value, instrument in (
        ("boom_depth", "141.3", "C-02"), ("pole_length", "3702", "T-03"), ("lower_band_width", "26.5", "R-01"),
        ("taper_length", "1904", "T-03"),
    ):  # fmt: skip
        line.page.locator(f"#{slug}-main-one-value").fill(value)
        line.page.locator(f"#{slug}-main-one-instrument").select_option(instrument)
    line.press("Store everything typed", "main")
    line.says("4 readings stored.")
    line.open("surveys:sign", planned.key)
    line.page.get_by_label("Your password").fill(PASSWORD)
    line.press("^Sign$", "main")
    line.says("Signed. The visit now waits for its review.")
    context.close()
