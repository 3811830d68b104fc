"""What somebody with a sharp eye and bad intentions would try, across the office; each is refused or harmless."""

from __future__ import annotations

import datetime as dt
import io
import logging
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from computations.catalogue import READINGS
from office.audit import triggers
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf
from office.certificates.verification import certificates as certificate_checks
from office.certificates.verification import visits as visit_checks
from office.people.actions import invitations, roles
from office.people.logs import WithoutTokens
from office.people.models import Person, Role, RoleHolding
from office.policy.actions import change_policy
from office.wsgi import application
from surveys import actions
from surveys.logsheet.fields import MOST_POSITIONS
from surveys.models import Reading, SignOff, Visit
from surveys.values import Unreadable
from tests.cast import PASSWORD, Cast
from tests.surveys.makers import SHEET, VISIT_DAY, Stage, record_kit, register_boat

pytestmark = pytest.mark.any_database

SIGN_IN = reverse("people:sign_in")


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def quick_papers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))


def entering(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


# ---- Requests that are no text ----


def served(method: str, address: str, body: bytes, content_type: str) -> tuple[str, bytes]:
    """The status and the page as the server itself gets them, without the test client before it."""
    environ = RequestFactory().generic(method, address).environ
    environ |= {"wsgi.input": io.BytesIO(body), "CONTENT_LENGTH": str(len(body)), "CONTENT_TYPE": content_type}
    told: list[str] = []
    page = application(environ, lambda status, headers, _=None: told.append(status))  # type: ignore[arg-type]
    return told[0], b"".join(page)


@pytest.mark.parametrize("charset", ["hex", "rot13", "idna", "utf-7", "unicode_escape", "utf-16", "none-such"])
@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=x", "text/plain", "application/x-www-form-urlencoded"])
def test_other_encodings_are_refused(charset: str, kind: str) -> None:
    body = b'--x\r\nContent-Disposition: form-data; name="username"\r\n\r\n+2AA-\\ud800\r\n--x--\r\n'
    for method in ("POST", "GET"):
        for named in (f"charset={charset}", f'CharSet="{charset}"', f"charset*=utf-8''{charset}"):
            status, page = served(method, f"{SIGN_IN}?q=%2B2AA-", body, f"{kind}; {named}")
            assert status == "400 Bad Request"
            assert b"could not be read" in page


@pytest.mark.parametrize("charset", ["charset=utf-8", "charset=UTF-8", 'charset="utf-8"', "charset=utf8", ""])
def test_plain_utf_8_is_not(monkeypatch: pytest.MonkeyPatch, charset: str) -> None:
    def answers(_: Any, start_response: Any) -> list[bytes]:
        start_response("200 OK", [])
        return [b"the office"]

    monkeypatch.setattr("office.wsgi.django_application", answers)
    assert served("GET", SIGN_IN, b"", f"text/plain; {charset}") == ("200 OK", b"the office")


@pytest.mark.parametrize("codec", ["bogus''%41", "hex''%41", "unicode_escape''%5Cud800", "utf-7''%2B2AA-"])
def test_a_file_name_in_any_codec(stage: Stage, codec: str) -> None:
    """Either there is no file for want of its name, or the sheet is taken, under a name that can be kept."""
    visit = stage.visit("draft")
    head = f'Content-Disposition: form-data; name="file"; filename*={codec}.csv\r\nContent-Type: text/csv'
    body = f"--x\r\n{head}\r\n\r\n{SHEET.read_text()}\r\n--x--\r\n".encode()
    address, kind = reverse("surveys:upload", args=[visit.key]), "multipart/form-data; boundary=x"
    answer = entering(stage.cast.measurer).generic("POST", address, body, content_type=kind)
    assert answer.status_code in {302, 422}
    assert Reading.objects.filter(visit=visit).exists() == (answer.status_code == 302)


def test_a_nul_in_the_address_or_a_cookie_is_refused(cast: Cast) -> None:
    client = entering(cast.administrator)
    for address in ("/boats/%00/", "/visits/a%00b/", "/people/join/%00/", "/certificates/%00/", "/check/c/%00/"):
        assert client.get(address).status_code == 400, address
    # A cookie's value in quotation marks holds any byte, written in octal.
    assert Client().get(reverse("home"), headers={"cookie": 'sessionid="\\000aaaaaaaaaaaaaa"'}).status_code == 400


def test_a_nul_in_what_an_address_asks_finds_nothing(stage: Stage) -> None:
    visit = stage.visit("planned")
    client = entering(stage.cast.administrator)
    assert client.get(reverse("surveys:exception", args=[visit.key]), {"person": "\0"}).status_code == 200
    address = reverse("surveys:reading", args=[visit.key, "foot_distance", "main", 1])
    assert client.get(address, {"position": "\0"}).status_code == 404


# ---- What others may see and keep ----


def test_what_a_signed_in_person_sees_is_kept_by_no_cache(stage: Stage) -> None:
    client = entering(stage.cast.owner)
    for address in (reverse("home"), reverse("boats:list"), reverse("desk:boat", args=[stage.boat.key]), "/nowhere/"):
        assert client.get(address).headers["Cache-Control"] == "private, no-store", address
    assert entering(stage.cast.stranger).get(reverse("boats:list")).headers["Cache-Control"] == "private, no-store"
    assert "Cache-Control" not in Client().get(reverse("home")).headers


def test_the_log_holds_no_token_of_a_link(cast: Cast, caplog: pytest.LogCaptureFixture) -> None:
    """A mistyped form is logged with its address, and the link in it still opens the office."""
    _, token = invitations.invite(by=cast.administrator, email="new@office.example", name="New", roles=["owner"])
    caplog.handler.addFilter(without := WithoutTokens())
    try:
        answer = Client().post(reverse("people:accept_invitation", args=[token]), {"name": "New"})
        logging.getLogger("office").warning("at /people/join/%s/", token)
    finally:
        caplog.handler.removeFilter(without)
    assert answer.status_code == 422
    assert "/people/join/…/" in caplog.text
    assert token not in caplog.text


def test_who_no_longer_measures_no_longer_sees_their_visits(stage: Stage) -> None:
    cast, visit = stage.cast, stage.visit("signed")
    client = entering(cast.measurer)
    pages = [reverse(f"surveys:{name}", args=[visit.key]) for name in ("visit", "export", "budget")]
    assert {client.get(page).status_code for page in pages} == {200}
    roles.end_role(by=cast.administrator, person=cast.measurer, role=Role.MEASURER, reason="Left the office.")
    assert {client.get(page).status_code for page in pages} == {403}


# ---- Interests ----


def test_the_day_a_measurer_states_puts_no_interest_aside(stage: Stage) -> None:
    """The owner's first day is the office's record, the visit's day the measurer's own statement."""
    cast = stage.cast
    visit = stage.visit("draft")
    stage.fill(visit)
    boat_actions.add_owner(by=cast.administrator, boat=stage.boat, person=cast.measurer, since=timezone.localdate())
    assert visit.date == VISIT_DAY < timezone.localdate()
    with pytest.raises(NotAllowed, match="interest"):
        actions.sign_visit(by=cast.measurer, visit=visit, edition=visit.edition, password=PASSWORD)


def test_a_reviewer_who_bought_the_boat_since_does_not_accept_her(stage: Stage) -> None:
    cast = stage.cast
    visit = stage.visit("under_review")
    boat_actions.add_owner(by=cast.administrator, boat=stage.boat, person=cast.reviewer, since=timezone.localdate())
    with pytest.raises(NotAllowed, match="interest"):
        actions.accept_visit(by=cast.reviewer, visit=visit, edition=visit.edition, reason="")


def test_nobody_with_an_interest_grants_an_exception(stage: Stage) -> None:
    cast, visit = stage.cast, stage.visit("planned")
    boat_actions.declare_interest(
        by=cast.administrator, boat=stage.boat, person=cast.certifier, kind="crew", since=dt.date(2022, 1, 1)
    )
    with pytest.raises(NotAllowed, match="has an interest"):
        actions.grant_exception(by=cast.certifier, visit=visit, person=cast.second_measurer, reason="A friend.")
    actions.grant_exception(by=cast.reviewer, visit=visit, person=cast.certifier, reason="Nobody else is left.")
    assert visit.interest_exceptions.get().person == cast.certifier


def test_a_measurer_with_every_role_decides_nothing_about_their_own_visit(stage: Stage, quick_papers: None) -> None:
    cast, visit = stage.cast, stage.visit("signed")
    for role in (Role.REVIEWER, Role.CERTIFIER, Role.ADMINISTRATOR):
        RoleHolding.objects.create(person=cast.measurer, role=role)
    everything = Person.objects.get(pk=cast.measurer.pk)
    with pytest.raises(NotAllowed, match="measured this visit"):
        actions.begin_review(by=everything, visit=visit)
    actions.begin_review(by=cast.reviewer, visit=visit)
    with pytest.raises(NotAllowed, match="measured this visit"):
        actions.accept_visit(by=everything, visit=visit, edition=visit.edition, reason="")
    actions.accept_visit(by=cast.reviewer, visit=visit, edition=visit.edition, reason="")
    with pytest.raises(NotAllowed, match="measured this visit"):
        certificate_actions.issue(by=everything, visit=visit)


# ---- Texts ----

HIDDEN = ["\0", "a\x0bb", "\u202egnp", "\ufffe", "two\nlines"]


@pytest.mark.parametrize("text", HIDDEN)
def test_a_reading_takes_no_text_that_cannot_be_seen(stage: Stage, text: str) -> None:
    """A NUL is refused by one database; controls by a spreadsheet, at the next export; line ends by the log sheet."""
    visit = stage.visit("draft")
    client = entering(stage.cast.measurer)
    for row, place in (("foot_distance-main-one", "remark"), ("spinnaker_halyard_above_band-main-new", "position")):
        address = reverse("surveys:store_one", args=[visit.key, row])
        data = {"value": "4123", "unit": "mm", "instrument": "T-03", "take": "1", "position": "h", place: text}
        answer = client.post(address, {f"{row}-{name}": value for name, value in data.items()})
        assert answer.status_code == 422, row
        assert "control characters" in answer.content.decode()
    assert not Reading.objects.filter(visit=visit).exists()


@pytest.mark.parametrize("text", HIDDEN)
def test_conditions_and_plans_take_no_text_that_cannot_be_seen(stage: Stage, text: str) -> None:
    cast, visit, kit = stage.cast, stage.visit("draft"), stage.kit["T-03"]
    answer = {"mast": "main", "item": "mast_in_plane", "answer": "no", "remark": text}
    planned: dict[str, Any] = {"measurer": cast.measurer, "planned_on": VISIT_DAY}
    day: dict[str, Any] = {"calibrated_on": dt.date(2024, 1, 1), "due_on": dt.date(2025, 1, 1)}
    office: dict[str, Any] = {"by": cast.administrator}
    tries: list[Callable[[], object]] = [
        lambda: actions.set_conditions(by=cast.measurer, visit=visit, edition=visit.edition, place=text),
        lambda: actions.answer_preparation(by=cast.measurer, visit=visit, answers=[answer]),
        lambda: actions.plan_visit(**office, visit=stage.visit("planned"), harbour=text, **planned),
        lambda: actions.record_instrument(**office, identifier="T-99", kind="steel_tape", maker=text),
        lambda: actions.add_calibration(**office, instrument=kit, laboratory=text, **day),
    ]
    for attempt in tries:
        with pytest.raises(Unreadable), transaction.atomic():
            attempt()


def test_reasons_keep_their_lines(stage: Stage) -> None:
    visit = actions.call_off_visit(by=stage.cast.administrator, visit=stage.visit("draft"), reason="Fog.\r\nAnd rain.")
    assert visit.state == "called_off"
    with pytest.raises(Unreadable):
        actions.call_off_visit(by=stage.cast.administrator, visit=stage.visit("planned"), reason="Fog\x0bbank")


def test_a_choice_of_nothing_is_said(stage: Stage) -> None:
    visit = stage.visit("draft")
    stage.fill(visit)
    client = entering(stage.cast.measurer)
    address = reverse("surveys:reading", args=[visit.key, "foot_distance", "main", 1])
    assert client.post(address, {"text": "4124", "unit": "mm", "instrument": "\0"}).status_code == 422
    administrator = entering(stage.cast.administrator)
    assert administrator.post(reverse("instruments:record"), {"identifier": "T-9", "keeper": "\0"}).status_code == 422


def test_no_more_halyards_than_a_mast_has(stage: Stage) -> None:
    """Each page of a visit with a thousand of them would fail, the reviewers' queue among them, and for good."""
    visit = stage.visit("draft")
    given = {"slug": "spinnaker_halyard_above_band", "mast": "main", "text": "12238", "unit": "mm"}
    read = {"by": stage.cast.measurer, "visit": visit, "instrument": stage.kit["T-03"], **given}
    for number in range(MOST_POSITIONS):
        actions.record_reading(**read, position=f"h{number}", take=1)  # type: ignore[arg-type]
    with pytest.raises(Unreadable, match="at most"):
        actions.record_reading(**read, position="one more", take=1)  # type: ignore[arg-type]
    assert actions.record_reading(**read, position="h0", take=2).take == 2  # type: ignore[arg-type]


# ---- Days at the ends of the calendar ----


@pytest.mark.parametrize("day", ["9999-12-31", "9999-01-01", "0001-01-01"])
def test_a_certificate_from_the_end_of_the_calendar(stage: Stage, quick_papers: None, day: str) -> None:
    change_policy(by=stage.cast.administrator, reason="By months.", validity_rule="months", validity_months=12)
    visit = stage.visit("accepted")
    answer = entering(stage.cast.certifier).get(reverse("certificates:issue", args=[visit.key]), {"valid_from": day})
    assert answer.status_code == 200
    assert "A certificate begins" in answer.content.decode()
    with pytest.raises(WrongState, match="A certificate begins"):
        certificate_actions.issue(by=stage.cast.certifier, visit=visit, valid_from=dt.date.fromisoformat(day))


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Pago_Pago"])
def test_the_trail_of_all_days_anywhere_on_earth(cast: Cast, settings: Any, zone: str) -> None:
    settings.TIME_ZONE = zone
    for name in ("since", "until"):
        for day in ("0001-01-01", "0999-12-31", "9999-12-30", "9999-12-31"):
            answer = entering(cast.administrator).get(reverse("trail:list"), {name: day})
            assert answer.status_code == 200, (name, day)


@pytest.mark.parametrize("day", ["0001-01-01", "1899-12-31", "9999-12-31"])
def test_a_plan_stays_within_reach(stage: Stage, day: str) -> None:
    visit, by = stage.visit("asked_for"), stage.cast.administrator
    with pytest.raises(Unreadable, match="Day"):
        actions.plan_visit(
            by=by, visit=visit, measurer=stage.cast.measurer, planned_on=dt.date.fromisoformat(day), harbour="Haven"
        )


# ---- Behind the office's back ----


def behind_the_back(statement: str, *values: Any) -> None:
    with triggers.set_aside(connection), connection.cursor() as cursor:
        cursor.execute(statement, values)


def test_nothing_is_certified_that_was_altered_after_its_acceptance(stage: Stage, quick_papers: None) -> None:
    visit = stage.visit("accepted")
    behind_the_back(
        "UPDATE surveys_reading SET value = value + 40 WHERE visit_id = %s AND slug = 'foot_distance'", visit.pk
    )
    with pytest.raises(WrongState, match="not what was signed and accepted"):
        certificate_actions.issue(by=stage.cast.certifier, visit=visit)


def test_nothing_is_certified_that_only_looks_accepted(stage: Stage, quick_papers: None) -> None:
    visit = stage.visit("under_review")
    Visit.objects.filter(pk=visit.pk).update(state="accepted", accepted_at=timezone.now(), reviewer=stage.cast.reviewer)
    with pytest.raises(WrongState, match="not what was signed and accepted"):
        certificate_actions.issue(by=stage.cast.certifier, visit=visit)
    assert [one.sentence for one in visit_checks.check_all()] == [
        "The visit is accepted, but no reviewer's signature stands under its last round.",
        f"The visit is accepted, but row {Entry.objects.latest('number').number} of the trail left it under review.",
    ]


def test_an_acceptance_by_the_measurer_is_named(stage: Stage) -> None:
    visit = stage.visit("accepted")
    assert not list(visit_checks.check_all())
    accepted = SignOff.objects.get(visit=visit, meaning="accepted")
    behind_the_back("UPDATE surveys_signoff SET signed_by_id = %s WHERE id = %s", stage.cast.measurer.pk, accepted.pk)
    found = [one.sentence for one in visit_checks.check_all()]
    assert len(found) == 2
    assert "trail" in found[0], "the row is not the one whose digest the trail holds"
    assert "same person" in found[1]


def test_a_certificate_of_a_visit_taken_back_is_named(stage: Stage) -> None:
    visit = stage.visit("accepted")
    number = certificate_actions.issue(by=stage.cast.certifier, visit=visit).number
    assert not list(certificate_checks.check_all())
    Visit.objects.filter(pk=visit.pk).update(state="returned")
    assert [one.sentence for one in certificate_checks.check_all()] == [
        f"{number} rests on a visit that is not accepted but returned."
    ]


def test_every_reading_with_a_named_place_is_bounded() -> None:
    """A new one of this kind meets the bound of the halyards: it is asked by kind, not by name."""
    assert [slug for slug, kind in READINGS.items() if kind.named_position] == ["spinnaker_halyard_above_band"]
