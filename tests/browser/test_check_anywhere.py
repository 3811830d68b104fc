"""The page that checks certificates with the server really stopped: codes, files, and everything that is not right."""

from __future__ import annotations

import base64
import datetime as dt
import json
import os
import random
from collections.abc import Iterator
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from django.core.servers.basehttp import WSGIRequestHandler
from playwright.sync_api import BrowserType, Page, expect
from pytest_django.live_server_helper import LiveServer

from office.certificates import actions, amending, pdf, snapshot
from office.certificates.models import Certificate, Document
from office.certificates.seal import keyring, published, statement_file
from tests.browser.dock import eventually
from tests.cast import Cast
from tests.office.certificates import samples
from tests.office.certificates.seal.conftest import Sealed, make_key_set, seal_up
from tests.surveys.makers import Stage, picture, record_kit, register_boat

pytestmark = pytest.mark.django_db(transaction=True)

CHANGES = int(os.environ.get("OFFICE_TEST_CHANGES_IN_BROWSER", "20"))
CHECK = """async ({given, keys, now}) => {
  const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const wanted = given.code ?? bytes(given.file);
  const verdict = await rigCheck.check(wanted, keys, now);
  const said = verdict.points.map((one) => one.sentence);
  return {genuine: rigCheck.isGenuine(verdict), number: verdict.number, said};
}"""


@pytest.fixture
def live_server(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[LiveServer]:
    """A server of this test's own, which it may stop: no connection is kept open, on which it would go on to answer."""
    monkeypatch.setattr(WSGIRequestHandler, "protocol_version", "HTTP/1.0")
    server = LiveServer("127.0.0.1")
    yield server
    server.stop()


@pytest.fixture
def issued(cast: Cast, live_server: LiveServer, settings: Any) -> Certificate:
    settings.PUBLIC_URL = live_server.url
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    return actions.issue(by=cast.certifier, visit=stage.visit("accepted"))


def paper_of(certificate: Certificate) -> bytes:
    return bytes(Document.objects.get(certificate=certificate, paper="A4").pdf)


def json_of(certificate: Certificate) -> bytes:
    seal = certificate.seal
    return statement_file.write(snapshot.read(certificate), seal.statement_key.identifier, seal.signature)


def drop(page: Page, name: str, content: bytes) -> None:
    page.set_input_files("#file", {"name": name, "mimeType": "application/octet-stream", "buffer": content})


def paste(page: Page, text: str) -> None:
    page.fill("#code", text)
    page.get_by_role("button", name="Check the code").click()


def says(page: Page, *sentences: str) -> None:
    for sentence in sentences:
        expect(page.locator("#answers")).to_contain_text(sentence)


def another_office() -> Sealed:
    address = "https://elsewhere.example/check/c/EL-2026-0007/"
    office = {"name": "Rig Office of Elsewhere", "place": "", "demonstration": False}
    keys = make_key_set("Rig Office of Elsewhere", dt.datetime(2026, 1, 5, tzinfo=dt.UTC))
    return seal_up(keys, samples.document(number="EL-2026-0007", office=office, check_at=address))


def test_without_a_network(
    page: Page, live_server: LiveServer, issued: Certificate, look: Any, no_axe_violations: Any, fits_a_phone: Any
):
    code, paper, file = issued.seal.code, paper_of(issued), json_of(issued)
    foreign = another_office()
    page.goto(f"{live_server.url}/check/anywhere/")
    expect(page.locator("#anywhere")).to_have_attribute("data-ready", "yes", timeout=20_000)
    expect(page.locator("#contact-said")).to_contain_text("answered just now")
    expect(page.locator("#camera")).to_be_disabled()  # Debian's Chromium has no reader of codes
    expect(page.locator("#camera-said")).to_contain_text("cannot read a square code itself. The phone's own camera app")
    expect(page.locator("#camera-said")).to_contain_text("Or paste the text")
    drop_picture(page)
    says(page, "This browser cannot read a square code itself.")
    no_axe_violations()
    fits_a_phone()

    live_server.stop()
    with pytest.raises(URLError):
        urlopen(f"{live_server.url}/check/keys.json")
    page.reload()
    expect(page.locator("#contact-said")).to_contain_text("No contact now. Checked by what")
    paste(page, code)
    says(page, "Genuine", "signed what the code says", issued.number, issued.boat.name, "what happened since cannot be")
    drop(page, "c.pdf", paper)
    says(page, "signed the whole file, to the last byte", "of the same certificate", "signed what it states")
    look("check-anywhere")
    no_axe_violations()
    fits_a_phone()
    page.emulate_media(color_scheme="dark")
    no_axe_violations(again=True)
    drop(page, "c.json", file)
    says(page, "The file: c.json", "of the same certificate")

    paste(page, foreign.code)
    says(page, "Not genuine", "names elsewhere.example and bears a key that", "another office")
    drop(page, "foreign.pdf", foreign.paper)
    says(page, "It is signed, but not by", "Rig Office of Elsewhere")
    drop(page, "plain.pdf", pdf.render(samples.document(), "A4"))
    says(page, "It bears no signature.")
    drop(page, "notes.txt", b"a shopping list")
    says(page, "neither a PDF nor a certificate's JSON file")
    look("check-anywhere-not-genuine")

    # A phone that read the code and found no office: the worker answers for the address in it.
    page.goto(code)
    expect(page.locator("#contact-said")).to_contain_text("No contact now")
    says(page, "Genuine", "signed what the code says", issued.number)

    # The same phone with its clock set back since.
    page.clock.set_fixed_time(dt.datetime.now(dt.UTC) - dt.timedelta(days=3))
    page.reload()
    expect(page.locator("#contact-more")).to_contain_text("a time before the last contact: it was set back")
    says(page, "is still to come: set the clock")


def test_a_code_beside_the_paper_of_another_certificate(page: Page, live_server: LiveServer, cast: Cast, issued: Any):
    """A genuine code replayed; and what the office had withdrawn, suspended or replaced by the last contact."""
    reason = "The builder's name was misspelt."
    second = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason=reason)
    page.goto(f"{live_server.url}/check/anywhere/")
    expect(page.locator("#contact-said")).to_contain_text("answered just now")
    paste(page, second.seal.code)
    drop(page, "c.pdf", paper_of(issued))
    says(page, f"The code beside it is genuine, but of another certificate: {second.number}.")
    page.get_by_role("button", name="Begin with another certificate").click()
    drop(page, "c.pdf", paper_of(issued))
    says(page, "Genuine", f"that it is replaced, not in force from {issued.valid_from}", f"after it is {second.number}")


def test_an_amendment_beside_what_it_amends(
    page: Page, live_server: LiveServer, cast: Cast, issued: Certificate, look: Any, no_axe_violations: Any,
    fits_a_phone: Any,
):  # fmt: skip
    made = amending.amend(by=cast.certifier, certificate=issued, text="For Skaw read Skau.", reason="Misspelt.")
    paper, file = bytes(made.documents.get(paper="A4").pdf), amending.signed_file(made.seal)
    page.goto(f"{live_server.url}/check/anywhere/")
    expect(page.locator("#contact-said")).to_contain_text("answered just now")
    drop(page, "a.json", file)
    says(page, "Genuine", f"It is amendment 1 to certificate {issued.number}, not a certificate", "For Skaw read Skau.")
    drop(page, "c.pdf", paper_of(issued))
    says(page, "The PDF beside it is the certificate that it amends, by its hash.", "had amended it:", f"{made}, to be")
    paste(page, issued.seal.code)
    says(page, "The code beside it is of the certificate that it amends", "of the same certificate")
    drop(page, "a.pdf", paper)
    says(page, "The PDF: a.pdf", "signed what it states, to the last byte")
    look("check-anywhere-amendment")
    no_axe_violations()
    fits_a_phone()
    keys, now = published.to_document(keyring.published()), made.issued_at.timestamp() * 1000
    dice = random.Random(43)
    for content in (paper, file):
        for _ in range(-(-CHANGES // 2)):
            changed = bytearray(content)
            changed[dice.randrange(len(changed))] ^= dice.randrange(1, 256)
            answer = checked(page, {"file": base64.b64encode(bytes(changed)).decode()}, keys, now)
            assert not answer["genuine"], answer
    whole = json.loads(file)
    whole = {"certificate": whole["amendment"], "format": statement_file.FORMAT, "signature": whole["signature"]}
    answer = checked(page, {"file": base64.b64encode(snapshot.canonical(whole).encode()).decode()}, keys, now)
    assert "a certificate in another form than this check knows" in " ".join(answer["said"])
    assert not answer["genuine"]


# A reader of codes as some browsers have one: it sees nothing at first, then the code in `window.onPaper`.
READER = """window.looked = 0;
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ['qr_code']; }
    async detect() {
      window.looked += 1;
      return window.looked < 3 || window.blind ? [] : [{ rawValue: window.onPaper }];
    }
  };
  const asked = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  window.streams = [];
  navigator.mediaDevices.getUserMedia = async (what) => {
    if (window.noCamera) throw new DOMException('', 'NotAllowedError');
    const stream = await asked(what); window.streams.push(stream); return stream;
  };"""
LIVE = "() => window.streams.flatMap((one) => one.getTracks()).filter((one) => one.readyState === 'live').length"


@pytest.fixture
def with_a_camera(browser_type: BrowserType, browser_type_launch_args: dict[str, Any]) -> Iterator[Page]:
    """A browser of its own, with a camera that shows a test picture and is allowed without asking."""
    flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    arguments = browser_type_launch_args | {"args": [*browser_type_launch_args["args"], *flags]}
    browser = browser_type.launch(**arguments)
    context = browser.new_context(permissions=["camera"])
    context.add_init_script(READER)
    complaints: list[str] = []
    page = context.new_page()
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    browser.close()
    assert not complaints


def test_the_code_by_camera(with_a_camera: Page, live_server: LiveServer, issued: Certificate):
    """What the camera sees is checked, and the camera is off from then on; so it is when stopped, or left."""
    page, button = with_a_camera, with_a_camera.locator("#camera")
    page.goto(f"{live_server.url}/check/anywhere/")
    expect(page.locator("#contact-said")).to_contain_text("answered just now")
    page.evaluate("(text) => { window.onPaper = text; }", issued.seal.code)
    button.click()
    says(page, "Genuine", "signed what the code says", issued.number)
    expect(page.locator("#code")).to_have_value(issued.seal.code)
    expect(button).to_have_text("Read it with the camera")
    expect(page.locator("#picture")).to_be_hidden()
    assert page.evaluate("window.streams.length") == 1
    assert page.evaluate(LIVE) == 0
    assert page.evaluate("window.looked") == 3

    page.evaluate("() => { window.blind = true; }")
    button.click()
    expect(page.locator("#camera-said")).to_have_text("Hold the code of the paper before the camera.")
    expect(page.locator("#picture")).to_be_visible()
    assert page.evaluate(LIVE) == 1
    button.click()
    expect(page.locator("#picture")).to_be_hidden()
    assert page.evaluate(LIVE) == 0
    button.click()
    button.click()  # stopped while it starts: what comes late is let go
    expect(button).to_have_text("Read it with the camera")
    eventually(lambda: page.evaluate(LIVE) == 0, page)
    # Stopped in the moment between the camera's answer and its first picture.
    page.evaluate("""() => { const video = document.getElementById('picture'), play = video.play;
      video.play = async () => { video.play = play; document.getElementById('camera').click(); }; }""")
    button.click()
    eventually(lambda: page.evaluate(LIVE) == 0, page)
    expect(button).to_have_text("Read it with the camera")

    drop_picture(page)
    says(page, "No square code was found in this picture.")
    page.evaluate("(text) => { window.blind = false; window.onPaper = text; }", issued.seal.code.replace("#", "#A"))
    drop_picture(page)
    says(page, "Not genuine")
    page.evaluate("() => { window.noCamera = true; }")
    button.click()
    expect(page.locator("#camera-said")).to_contain_text("not allowed, is in use or is missing. Paste the text")
    assert page.evaluate(LIVE) == 0


def drop_picture(page: Page) -> None:
    page.set_input_files("#file", {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": picture().read()})


def checked(page: Page, given: dict[str, str], keys: dict[str, Any], now: float) -> dict[str, Any]:
    return dict(page.evaluate(CHECK, {"given": given, "keys": keys, "now": now}))


def test_it_finds_what_the_office_finds(page: Page, live_server: LiveServer, issued: Certificate):
    """Changed bytes, keys before and after their time, a wrong clock: the same answers as the command gives."""
    page.goto(f"{live_server.url}/check/anywhere/")
    expect(page.locator("#contact-said")).to_contain_text("answered just now")
    keys, now = published.to_document(keyring.published()), issued.issued_at.timestamp() * 1000
    texts = {"code": issued.seal.code}
    files = {"paper": paper_of(issued), "file": json_of(issued)}
    dice = random.Random(41)
    for name, content in files.items():
        encoded = base64.b64encode(content).decode()
        assert checked(page, {"file": encoded}, keys, now)["number"] == issued.number, name
        for _ in range(CHANGES):
            changed = bytearray(content)
            changed[dice.randrange(len(changed))] ^= dice.randrange(1, 256)
            answer = checked(page, {"file": base64.b64encode(bytes(changed)).decode()}, keys, now)
            assert not answer["genuine"], answer
    assert checked(page, texts, keys, now)["genuine"]
    for _ in range(CHANGES):
        signs = list(issued.seal.code)
        place = dice.randrange(len(signs))
        signs[place] = dice.choice([one for one in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$+-/:" if one != signs[place]])
        assert not checked(page, {"code": "".join(signs)}, keys, now)["genuine"]
    page.clock.set_fixed_time(dt.datetime.now(dt.UTC) + dt.timedelta(hours=3))
    page.get_by_role("button", name="Ask the office again").click()
    expect(page.locator("#contact-more")).to_contain_text("this device's clock was 3 hours ahead of the office's")
    forged = seal_up(make_key_set(), snapshot.read(issued))  # in our office's name, with a key of somebody's own
    for wrong in ({"code": forged.code}, {"file": base64.b64encode(forged.file).decode()}):
        answer = checked(page, wrong, keys, now)
        assert not answer["genuine"]
        assert "it is forged, or the list of keys is older than the key" in " ".join(answer["said"])
    for strange in (
        b"%PDF-",
        b"%PDF-1.7\n" + bytes(900),
        files["paper"][:-20],
        files["paper"] + b"\n",
        b'{"a":1}',
        b"",
    ):
        answer = checked(page, {"file": base64.b64encode(strange).decode()}, keys, now)
        assert (answer["genuine"], answer["number"], len(answer["said"])) == (False, "", 1), (strange[:20], answer)
    early = checked(page, texts, keys, now - 86_400_000)
    assert "is still to come: set the clock" in " ".join(early["said"])
    for field, moment, word in (
        ("used_from", "2040-01-01T00:00:00Z", "uses only since 2040"),
        ("expires_at", "2020-01-01T00:00:00Z", "ran out at 2020"),
        ("retired_at", "2020-01-01T00:00:00Z", "retired at 2020"),
    ):
        other = json.loads(json.dumps(keys))
        for key in other["keys"]:
            key[field] = moment
        for given in (texts, {"file": base64.b64encode(files["paper"]).decode()}):
            answer = checked(page, given, other, now)
            assert not answer["genuine"]
            assert word in " ".join(answer["said"])
