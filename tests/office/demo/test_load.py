"""The demo office: everything invented, everything real, and the same every time."""

from __future__ import annotations

import datetime as dt
import random
import secrets
from collections import Counter
from unittest.mock import patch

import pytest
from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from office.audit import trail
from office.audit.models import Entry
from office.certificates import paper, pdf
from office.certificates.models import Certificate
from office.certificates.standing import Standing, standing
from office.certificates.verification.register import check_all
from office.demo import load as demo_office
from office.demo.clock import SEED
from office.demo.designs import DESIGNS, build_fleet
from office.demo.load import load
from office.demo.people import DOMAIN, PASSWORD, SIGN_INS, owner_name
from office.demo.presses import side_by_side
from office.demo.script import LATEST
from office.people.models import Person
from surveys.models import Visit, VisitState
from tests.office.certificates import samples

TODAY = dt.date(2026, 3, 14)
LEAP_DAY = dt.date(2024, 2, 29)

pytestmark = [pytest.mark.usefixtures("no_keys"), pytest.mark.any_database]


@pytest.fixture
def quick_papers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Papers of a few bytes, for tests that ask about anything but papers."""
    monkeypatch.setattr(
        pdf, "render_all", lambda document, *_: {size: f"{size} {document['number']}".encode() for size in paper.SIZES}
    )


def test_the_fleet_is_of_six_designs_and_nobodys_name_comes_twice() -> None:
    fleet = build_fleet(SEED)
    assert len(fleet) >= 60
    assert {boat.plan.name for boat in fleet} == {plan.name for plan in DESIGNS}
    assert {boat.plan.rig_type for boat in fleet} == {"sloop", "cutter", "ketch", "yawl"}
    for one in ("name", "sail_number", "hin"):
        assert len({getattr(boat, one) for boat in fleet}) == len(fleet), one
    assert len({owner_name(number) for number in range(1, 61)}) == 60


def test_every_design_and_every_state_is_on_the_desk() -> None:
    assert {one.end for one in LATEST} | {"accepted"} == {*VisitState.values, "certified"}


def _number_anew() -> None:
    """As in a fresh database: PostgreSQL gives no number back when a transaction is rolled back."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), apps.get_models()):
            cursor.execute(statement)


def head_of(today: dt.date) -> str:
    """The trail's last hash of a small office; everything in it fits."""
    dice = random.Random(7)  # the keys of a real demo office are drawn by the machine's
    with transaction.atomic(), patch.object(secrets, "token_bytes", dice.randbytes):
        _number_anew()
        load(boats=2, today=today)
        assert list(check_all()) == []
        head = trail.head()
        transaction.set_rollback(True)
    return head[1]


def test_the_same_day_makes_the_same_office_papers_and_all() -> None:
    """The hash covers every change and every paper: were a salt or the clock's time in any, it would differ."""
    assert head_of(TODAY) == head_of(TODAY)


def test_two_presses_print_what_one_prints() -> None:
    document = samples.document()
    one = pdf.render_all(document)
    with side_by_side():
        assert pdf.render_all(document) == one
    assert pdf.render_all.__module__ == pdf.__name__


def test_no_password_enters_the_trail(quick_papers: None) -> None:
    load(boats=1, today=TODAY)
    secrets = {person.password for person in Person.objects.all()}
    rows = list(Entry.objects.values_list("before", "after", "reason", "subject_label"))
    told = " ".join(str(value) for row in rows for value in row)
    assert not [secret for secret in secrets if secret and secret in told]
    assert PASSWORD not in told


@pytest.mark.parametrize("today", [LEAP_DAY, dt.date(2025, 1, 1), dt.date(2025, 12, 31)])
def test_any_day_will_do(quick_papers: None, today: dt.date) -> None:
    load(boats=5, today=today)
    assert Visit.objects.filter(state=VisitState.SIGNED).count() == 4
    latest = max(Entry.objects.values_list("at", flat=True))
    assert latest < f"{today}T24", "the demo must not reach into the future"


@pytest.fixture
def whole(quick_papers: None) -> None:
    load(today=TODAY)


def test_the_whole_office(whole: None) -> None:
    """All of it, but for the papers: those of a few boats are rendered above."""
    states = Counter(Visit.objects.values_list("state", flat=True))
    assert set(states) == set(VisitState.values)
    assert sum(states.values()) >= 150
    years = {day.year for day in Visit.objects.exclude(date=None).values_list("date", flat=True)}
    assert len(years) >= 4
    stands = Counter(standing(one, TODAY) for one in Certificate.objects.all())
    assert set(stands) == set(Standing)
    assert len(set(Visit.objects.exclude(measurer=None).values_list("measurer", flat=True))) == 4
    check_the_desk()
    check_the_register()


def check_the_register() -> None:
    """Its own examination finds nothing but the papers that the test has put in place of real ones."""
    found = [one.sentence for one in check_all()]
    unreal = ("is no certificate any more", "It bears no signature.")
    assert [one for one in found if not any(word in one for word in unreal)] == []


def check_the_desk() -> None:
    """Each role that can sign in has something to do."""
    pages = {
        "measurer": "home",
        "reviewer": "desk:queue",
        "certifier": "home",
        "owner1": "home",
        "race": "racing:check",
    }
    emails = {email for _, email, _ in SIGN_INS}
    for mark, name in pages.items():
        assert f"{mark}@{DOMAIN}" in emails
        client = Client()
        assert client.login(username=f"{mark}@{DOMAIN}", password=PASSWORD)
        assert client.get(reverse(name)).status_code == 200
    mine = Visit.objects.filter(measurer__email=f"measurer@{DOMAIN}").values_list("state", flat=True)
    assert {VisitState.PLANNED, VisitState.DRAFT, VisitState.RETURNED, VisitState.ACCEPTED} <= set(mine)
    owned = Certificate.objects.filter(boat__ownerships__person__email=f"owner1@{DOMAIN}")
    assert {standing(one, TODAY) for one in owned} >= {Standing.IN_FORCE, Standing.EXPIRED}
    assert Visit.objects.filter(state=VisitState.ACCEPTED, certificates=None).count() >= 2


def test_it_marks_itself_as_a_demo() -> None:
    assert demo_office.POLICY["is_demo"] is True
