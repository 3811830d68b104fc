"""What the dock page is told, and what becomes of what a device sends."""

from __future__ import annotations

import json
import secrets
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from office.audit.models import Entry as TrailRow
from office.audit.refusals import WrongState
from office.certificates.verification import visits as verification
from office.policy.actions import change_policy
from surveys.actions.readings import undo_reading
from surveys.models import DeviceEntry, Reading, ReadingConflict, Visit
from surveys.queries import current_readings
from tests.surveys.makers import Stage

LUFF = "luff_between_bands-main-one"
FOOT = "foot_distance-main-one"
MOST_QUERIES = 25


class Device:
    """A phone of somebody: what it sends goes through the page's own address."""

    def __init__(self, stage: Stage, visit: Visit, part: str = "measurer", name: str = "phone") -> None:
        self.stage, self.person, self.visit, self.name = stage, getattr(stage.cast, part), visit, name
        self.client = Client()
        self.client.force_login(self.person)

    def state(self) -> dict[str, Any]:
        answer = self.client.get(reverse("surveys:dock_state", args=[self.visit.key]))
        assert answer.status_code == 200, answer.content
        found: dict[str, Any] = answer.json()
        return found

    def post(self, *entries: object, **more: Any) -> Any:
        body = more.pop("body", json.dumps({"device": self.name, "entries": entries}))
        more.setdefault("content_type", "application/json")
        return self.client.post(reverse("surveys:dock_send", args=[self.visit.key]), body, **more)

    def send(self, *entries: dict[str, Any]) -> list[dict[str, Any]]:
        answer = self.post(*entries)
        assert answer.status_code == 200, answer.content
        answers: list[dict[str, Any]] = answer.json()["answers"]
        assert [one["token"] for one in answers] == [one["token"] for one in entries]
        return answers

    def one(self, **entry: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        made = self.entry(**entry)
        return made, self.send(made)[0]

    def entry(self, text: str = "", row: str = LUFF, kind: str = "take", **more: Any) -> dict[str, Any]:
        given = {"token": secrets.token_urlsafe(18), "kind": kind, "row": row, "take": 1, "text": text}
        given |= {"by": self.person.key, "typed_at": "2023-05-16T10:00:00Z"}
        if kind in {"take", "amend"}:
            given["instrument"] = "T-03"
        return {**given, **more}


@pytest.fixture
def visit(stage: Stage) -> Visit:
    return stage.visit()


@pytest.fixture
def phone(stage: Stage, visit: Visit) -> Device:
    return Device(stage, visit)


def row(state: dict[str, Any], key: str = LUFF) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in state["rows"] if one["key"] == key)
    return found


# ---- The state ----


def test_the_state_of_an_empty_visit(phone: Device, visit: Visit) -> None:
    state = phone.state()
    assert (state["key"], state["title"], state["writable"]) == (f"visit:{visit.key}", "Quiet Margin", True)
    assert [one["slug"] for one in state["stations"]] == ["ashore", "afloat", "boom_and_pole"]
    luff = row(state)
    assert (luff["symbol"], luff["required"], luff["takes"], luff["previous"]) == ("P", True, [], None)
    assert luff["dimensions"] == ["luff"]
    assert state["panel"]["read"] == 0
    assert state["panel"]["next"]["row"] == state["rows"][0]["key"]
    assert state["panel"]["drawing"].startswith("<svg")
    assert "<section" in state["panel"]["html"]
    stations = [one["station"] for one in state["rows"]]
    assert stations == sorted(stations, key=["ashore", "afloat", "boom_and_pole"].index)


def test_the_state_of_a_full_visit_takes_few_queries(stage: Stage) -> None:
    stage.visit("accepted")
    phone = Device(stage, stage.visit())
    stage.fill(phone.visit)
    with CaptureQueriesContext(connection) as seen:
        state = phone.state()
    assert len(seen) <= MOST_QUERIES, len(seen)
    assert state["panel"]["missing"] == 0
    assert state["panel"]["read"] > 20
    assert row(state)["previous"] is not None, "its reading is in"


def test_the_device_is_told_when_nothing_has_changed(phone: Device) -> None:
    address = reverse("surveys:dock_state", args=[phone.visit.key])
    first = phone.client.get(address)
    assert "csrftoken" in first.cookies
    assert "private" in first.headers["Cache-Control"]
    again = phone.client.get(address, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    phone.one(text="12150")
    assert phone.client.get(address, headers={"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_previous_values_wait_for_the_reading_unless_the_office_shows_them(stage: Stage) -> None:
    stage.visit("accepted")
    phone = Device(stage, stage.visit())
    assert row(phone.state())["previous"] is None
    phone.one(text="12150")
    state = phone.state()
    assert row(state)["previous"]["date"] == "2023-05-16"
    assert row(state, FOOT)["previous"] is None
    change_policy(by=stage.cast.administrator, reason="A trusted crew.", show_previous_to_measurer=True)
    state = phone.state()
    assert state["shows_previous"] is True
    assert row(state, FOOT)["previous"]["value"] > 1000


# ---- Takes ----


def test_a_take_is_stored_and_read_back(phone: Device, visit: Visit) -> None:
    entry, answer = phone.one(text="12150")
    assert answer["outcome"] == "stored"
    assert answer["current"]["value"] == 12150.0
    assert answer["current"]["token"] == entry["token"]
    assert "twelve thousand one hundred and fifty millimetres" in answer["current"]["read_back"]
    reading = visit.readings.get()
    assert (reading.token, reading.written, reading.recorded_by) == (entry["token"], "12150", phone.person)
    receipt = DeviceEntry.objects.get()
    assert (receipt.outcome, receipt.reading, receipt.device) == ("stored", reading, "phone")
    assert receipt.typed_at is not None


def test_a_resend_never_doubles(phone: Device, visit: Visit) -> None:
    entry, first = phone.one(text="12150")
    before = TrailRow.objects.count()
    again = phone.send(entry, entry)
    assert [one["outcome"] for one in again] == ["already", "already"]
    assert again[0]["current"] == first["current"]
    assert visit.readings.count() == 1
    assert TrailRow.objects.count() == before


def test_a_resend_after_the_signature_is_still_known(stage: Stage, visit: Visit) -> None:
    phone = Device(stage, visit)
    entry, _ = phone.one(text="12150", take=9)
    stage.fill(visit)
    visit.refresh_from_db()
    stage.sign(visit)
    assert phone.send(entry)[0]["outcome"] == "already"
    late = phone.send(phone.entry("12150", take=3))[0]
    assert late["outcome"] == "refused"
    assert "signed" in late["sentence"]
    assert phone.state()["writable"] is False


def test_one_refused_entry_never_blocks_the_others(phone: Device, visit: Visit) -> None:
    answers = phone.send(
        phone.entry("twelve"), phone.entry("4120", row=FOOT), phone.entry("1", row="no-such-row"), phone.entry("12150")
    )
    assert [one["outcome"] for one in answers] == ["refused", "stored", "refused", "stored"]
    assert "expected" in answers[0]["sentence"]
    assert visit.readings.count() == 2


def test_another_figure_under_the_same_token_is_refused_not_lost(phone: Device, visit: Visit) -> None:
    entry, _ = phone.one(text="12150")
    answer = phone.send({**entry, "text": "12160"})[0]
    assert answer["outcome"] == "refused"
    assert "12150" in answer["sentence"]
    assert visit.readings.get().written == "12150"


def test_a_token_of_another_visit_is_refused(stage: Stage, phone: Device) -> None:
    entry, _ = phone.one(text="12150")
    other = Device(stage, stage.visit())
    assert other.send(entry)[0]["outcome"] == "refused"
    assert not other.visit.readings.exists()


def test_a_new_halyard_gets_a_row_of_its_own(phone: Device) -> None:
    new = "spinnaker_halyard_above_band-main-new"
    _, stored = phone.one(text="12300", row=new, position="masthead")
    assert stored["outcome"] == "stored"
    halyard = next(one for one in phone.state()["rows"] if one["position"] == "masthead")
    second = phone.send(phone.entry("12302", row=halyard["key"], take=2))[0]
    assert second["outcome"] == "stored"
    assert phone.send(phone.entry("12302", row=new, position=" "))[0]["outcome"] == "refused"


def test_what_another_person_typed_waits_for_that_person(stage: Stage, phone: Device, visit: Visit) -> None:
    answer = phone.send(phone.entry("12150", by=stage.cast.second_measurer.key))[0]
    assert answer["outcome"] == "refused"
    assert "Teo Varga must sign in to send it" in answer["sentence"]
    assert not visit.readings.exists()


# ---- Amending and taking away ----


def test_amend_and_take_away(phone: Device, visit: Visit) -> None:
    first, _ = phone.one(text="12150")
    amended, answer = phone.one(text="12151", kind="amend", replaces=first["token"])
    assert answer["outcome"] == "stored"
    assert [one.written for one in current_readings(visit)] == ["12151"]
    away, answer = phone.one(kind="take_away", replaces=amended["token"])
    assert answer["outcome"] == "stored"
    assert current_readings(visit) == []
    assert [one["outcome"] for one in phone.send(first, amended, away)] == ["already"] * 3
    assert visit.readings.count() == 3


def test_once_signed_an_amendment_needs_its_reason(stage: Stage) -> None:
    visit = stage.visit("returned")
    phone = Device(stage, visit)
    state = phone.state()
    assert state["signed_once"] is True
    token = row(state, FOOT)["takes"][0]["token"]
    assert phone.one(text="4125", kind="amend", row=FOOT, replaces=token)[1]["outcome"] == "refused"
    assert phone.one(kind="take_away", row=FOOT, replaces=token)[1]["outcome"] == "refused"
    amended = phone.one(text="4125", kind="amend", row=FOOT, replaces=token, reason="Slipped.")[1]
    assert amended["outcome"] == "stored"


def test_what_replaces_nothing_stored_is_refused(phone: Device) -> None:
    assert phone.one(text="1", kind="amend", replaces="a" * 22)[1]["outcome"] == "refused"
    assert phone.one(kind="take_away", replaces="")[1]["outcome"] == "refused"


# ---- Two devices ----


def test_the_same_value_from_two_devices_is_no_conflict(stage: Stage, phone: Device, visit: Visit) -> None:
    tablet = Device(stage, visit, name="tablet")
    phone.one(text="12150")
    entry, answer = tablet.one(text="12.150", unit="m")
    assert answer["outcome"] == "already"
    assert "same value" in answer["sentence"]
    assert visit.readings.count() == 1
    phone.one(text="12160", kind="amend", replaces=visit.readings.get().token)
    assert tablet.send(entry)[0]["outcome"] == "already", "its answer got lost; it said so before the amendment"
    # The tablet may amend what it knows by its own token.
    assert not ReadingConflict.objects.exists()


def test_two_values_are_both_kept_until_somebody_chooses(stage: Stage, phone: Device, visit: Visit) -> None:
    tablet = Device(stage, visit, name="tablet")
    phone.one(text="12150")
    entry, answer = tablet.one(text="12510", remark="sun in the eyes")
    assert answer["outcome"] == "conflict"
    assert visit.readings.get().written == "12150"
    assert tablet.send(entry)[0]["outcome"] == "conflict"
    assert ReadingConflict.objects.count() == 1
    [conflict] = phone.state()["conflicts"]
    assert (conflict["mine"]["text"], conflict["theirs"]["text"], conflict["row"]) == ("12510", "12150", LUFF)
    assert conflict["mine"]["remark"] == "sun in the eyes"


@pytest.mark.parametrize(
    ("choose", "standing"),
    [("mine", {1: "12510"}), ("theirs", {1: "12150"}), ("next_take", {1: "12150", 2: "12510"})],
)
def test_settling_a_conflict(stage: Stage, phone: Device, visit: Visit, choose: str, standing: dict[int, str]) -> None:
    phone.one(text="12150")
    entry, _ = Device(stage, visit).one(text="12510")
    settle, answer = phone.one(kind="settle", replaces=entry["token"], choose=choose)
    assert answer["outcome"] == "stored", answer
    assert {one.take: one.written for one in current_readings(visit)} == standing
    assert phone.state()["conflicts"] == []
    assert phone.send(settle)[0]["outcome"] == "already"
    assert phone.one(kind="settle", replaces=entry["token"], choose=choose)[1]["outcome"] == "already"
    other = "theirs" if choose == "mine" else "mine"
    assert phone.one(kind="settle", replaces=entry["token"], choose=other)[1]["outcome"] == "refused"
    kept = ReadingConflict.objects.get()
    assert (kept.choice, kept.settled_by) == (choose, phone.person)
    assert TrailRow.objects.filter(verb="settle_conflict").exists()


def test_amending_what_was_amended_meanwhile_is_a_conflict(stage: Stage, phone: Device, visit: Visit) -> None:
    tablet = Device(stage, visit)
    first, _ = phone.one(text="12150")
    phone.one(text="12151", kind="amend", replaces=first["token"])
    assert tablet.one(text="12151", kind="amend", replaces=first["token"])[1]["outcome"] == "already"
    late, answer = tablet.one(text="12152", kind="amend", replaces=first["token"])
    assert answer["outcome"] == "conflict"
    assert [one.written for one in current_readings(visit)] == ["12151"]
    away, answer = tablet.one(kind="take_away", replaces=first["token"])
    assert answer["outcome"] == "conflict"
    assert len(phone.state()["conflicts"]) == 2
    assert phone.one(kind="settle", replaces=late["token"], choose="mine")[1]["outcome"] == "stored"
    assert phone.one(kind="settle", replaces=away["token"], choose="mine")[1]["outcome"] == "stored"
    assert current_readings(visit) == []


def test_typing_anew_what_was_in_conflict(stage: Stage, phone: Device, visit: Visit) -> None:
    tablet = Device(stage, visit)
    phone.one(text="12150")
    entry, _ = tablet.one(text="12510")
    assert tablet.one(text="12150", kind="amend", replaces=entry["token"])[1]["outcome"] == "already"
    assert phone.state()["conflicts"] == []
    assert [one.written for one in current_readings(visit)] == ["12150"]


def test_a_conflict_stands_before_the_signature(stage: Stage, visit: Visit) -> None:
    stage.fill(visit)
    phone = Device(stage, visit)
    take = row(phone.state())["takes"][0]
    phone.one(text="1", take=take["take"])
    visit.refresh_from_db()
    with pytest.raises(WrongState, match="Two devices"):
        stage.sign(visit)


def test_a_reading_from_a_log_sheet_can_be_amended(stage: Stage, phone: Device, visit: Visit) -> None:
    stage.fill(visit)
    take = row(phone.state())["takes"][0]
    assert Reading.objects.filter(visit=visit, token__isnull=False).count() == 0
    assert phone.one(text="12149", kind="amend", replaces=take["token"])[1]["outcome"] == "stored"


# ---- Undo ----


def test_undo_takes_back_the_last_entry(phone: Device, visit: Visit) -> None:
    first, _ = phone.one(text="12150")
    phone.one(text="12151", kind="amend", replaces=first["token"])
    undo = phone.state()["undo"]
    assert "12151" in undo["sentence"]
    entry, answer = phone.one(kind="undo", replaces=undo["token"])
    assert answer["outcome"] == "stored"
    assert [one.written for one in current_readings(visit)] == ["12150"]
    assert phone.send(entry)[0]["outcome"] == "already"
    assert phone.one(kind="undo", replaces=undo["token"])[1]["outcome"] == "refused"
    phone.one(text="4120", row=FOOT)
    phone.one(kind="undo", replaces=phone.state()["undo"]["token"])
    assert [one.slug for one in current_readings(visit)] == ["luff_between_bands"]
    assert visit.readings.count() == 5


def test_nothing_is_undone_once_it_was_signed(stage: Stage) -> None:
    visit = stage.visit("returned")
    phone = Device(stage, visit)
    state = phone.state()
    assert state["undo"] is None
    token = row(state, FOOT)["takes"][0]["token"]
    assert "signed before" in phone.one(kind="undo", replaces=token)[1]["sentence"]
    with pytest.raises(WrongState, match="signed before"):
        undo_reading(by=stage.cast.measurer, visit=visit)


# ---- Who, and what cannot be read ----


@pytest.mark.parametrize("part", ["second_measurer", "reviewer", "certifier", "administrator", "owner", "stranger"])
def test_only_the_visits_measurer_sends(stage: Stage, visit: Visit, part: str) -> None:
    device = Device(stage, visit, part)
    answer = device.post(device.entry("12150"))
    assert answer.status_code == 403
    assert answer.json()["refused"]
    assert not visit.readings.exists()
    refused = device.client.get(reverse("surveys:dock_state", args=[visit.key]))
    assert (refused.status_code, bool(refused.json()["refused"])) == (403, True)


def test_signed_out_means_401_and_no_redirect(visit: Visit) -> None:
    for name in ("dock_state", "dock_send", "dock_photo"):
        address = reverse(f"surveys:{name}", args=[visit.key])
        answer = Client().get(address) if name == "dock_state" else Client().post(address)
        assert answer.status_code == 401
        assert answer.json()["sign_in"] == reverse("people:sign_in")


def test_a_stale_page_is_told_so_in_json(stage: Stage, visit: Visit) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(stage.cast.measurer)
    address = reverse("surveys:dock_send", args=[visit.key])
    answer = client.post(address, "{}", content_type="application/json")
    assert (answer.status_code, answer.json()["csrf"]) == (403, True)
    token = client.get(reverse("surveys:dock_state", args=[visit.key])).cookies["csrftoken"].value
    body = json.dumps({"device": "phone", "entries": []})
    answer = client.post(address, body, content_type="application/json", headers={"X-CSRFToken": token})
    assert answer.status_code == 200


DEEP = "[" * 100_000


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (" ", 422),
        ("nonsense", 422),
        ("[]", 422),
        ("{}", 422),
        ('{"device": 1, "entries": []}', 422),
        ('{"device": "x", "entries": {}}', 422),
        (DEEP, 422),
        (b"\xff\xfe", 422),
        (json.dumps({"device": "x", "entries": [{}] * 501}), 413),
        (" " * (5 * 1024 * 1024), 413),
        (
            '{"device": "x", "entries": [1, null, "a", {}, {"token": 5}, {"token": "' + "a" * 30 + '", "kind": "rm"}]}',
            200,
        ),
    ],
)
def test_what_is_no_message_is_refused(phone: Device, body: Any, status: int) -> None:
    answer = phone.post(body=body)
    assert answer.status_code == status, answer.content
    if status == 200:
        assert {one["outcome"] for one in answer.json()["answers"]} == {"refused"}
    else:
        assert answer.json()["refused"]
    assert not Reading.objects.exists()


def test_only_json_and_only_post(phone: Device) -> None:
    assert phone.post(body="a=b", content_type="application/x-www-form-urlencoded").status_code == 415
    address = reverse("surveys:dock_send", args=[phone.visit.key])
    assert phone.client.get(address).status_code == 405
    assert phone.client.get(reverse("surveys:dock_state", args=["nothing"])).status_code == 404


@pytest.mark.parametrize(
    "change",
    [
        {"text": "1\u202e2"},
        {"text": "\x00"},
        {"text": "\ud800"},
        {"text": 12150},
        {"text": "9" * 500},
        {"unit": "parsec"},
        {"instrument": "T-99"},
        {"instrument": "\x00"},
        {"take": 0},
        {"take": True},
        {"take": 1e400},
        {"take": "1"},
        {"row": "../../etc/passwd"},
        {"row": "luff_between_bands-main-one-more"},
        {"row": "luff_between_bands-mizzen-one"},
        {"row": "spinnaker_halyard_above_band-main-h00000000"},
        {"remark": "x" * 300},
        {"remark": ["x"]},
        {"token": "short"},
        {"token": "x" * 65},
        {"kind": "__class__"},
    ],
)
def test_hostile_entries_are_refused(phone: Device, visit: Visit, change: dict[str, Any]) -> None:
    answer = phone.post({**phone.entry("12150"), **change})
    assert answer.status_code == 200
    assert answer.json()["answers"][0]["outcome"] == "refused"
    assert not visit.readings.exists()
    assert not DeviceEntry.objects.exists()


def test_the_page_and_its_worker(phone: Device, visit: Visit) -> None:
    page = phone.client.get(reverse("surveys:dock", args=[visit.key]))
    assert page.status_code == 200
    for name in ("state", "send", "photo"):
        assert f'data-{name}-url="{reverse(f"surveys:dock_{name}", args=[visit.key])}"' in page.content.decode()
    worker = Client().get(reverse("surveys:worker"))
    assert worker.headers["Content-Type"].startswith("text/javascript")
    assert worker.headers["Cache-Control"] == "no-cache"
    assert "office/office.css" in worker.content.decode()


def test_undo_by_the_readings_page(stage: Stage, phone: Device, visit: Visit) -> None:
    phone.one(text="12150")
    page = phone.client.get(reverse("surveys:readings", args=[visit.key])).content.decode()
    assert "takes back Luff between the bands, take 1: 12150 mm" in page
    token = visit.readings.get().token
    address = reverse("surveys:undo", args=[visit.key])
    assert phone.client.post(address, {"reading": token}).status_code == 302
    assert current_readings(visit) == []
    assert phone.client.post(address, {"reading": token}).status_code == 302, "the button pressed twice"
    assert visit.readings.count() == 2
    assert "takes back" not in phone.client.get(reverse("surveys:readings", args=[visit.key])).content.decode()


def test_undoing_leaves_a_register_that_fits(phone: Device, visit: Visit) -> None:
    first, _ = phone.one(text="12150")
    phone.one(text="12151", kind="amend", replaces=first["token"])
    phone.one(kind="undo", replaces=phone.state()["undo"]["token"])
    phone.one(text="4120", row=FOOT)
    phone.one(kind="undo", replaces=phone.state()["undo"]["token"])
    Device(phone.stage, visit).one(text="12510")
    phone.one(kind="settle", replaces=phone.state()["conflicts"][0]["token"], choose="mine")
    assert list(verification.check_all()) == []
