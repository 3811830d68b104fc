"""Two people, or two clicks, at the same moment: one is told no, nothing is half done, and nobody waits for ever."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections, transaction
from django.utils import timezone

from boats import actions as boat_actions
from boats.models import Rig
from office.audit import trail
from office.audit.refusals import Refusal
from office.certificates.verification import visits as visit_checks
from surveys import actions
from surveys.models import Reading, SignOff, Visit
from tests.cast import PASSWORD, Cast
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


def at_once(*deeds: Callable[[], object]) -> list[str]:
    """What became of each: nothing, or the refusal's sentence. Anything but a refusal is raised."""
    together = threading.Barrier(len(deeds))

    def run(deed: Callable[[], object]) -> str:
        try:
            together.wait(10)
            deed()
        except Refusal as refusal:
            return str(refusal)
        finally:
            connections.close_all()
        return ""

    with ThreadPoolExecutor(len(deeds)) as pool:
        return list(pool.map(run, deeds))


def test_accepted_and_returned_at_once_is_one_of_both(stage: Stage) -> None:
    cast, visit = stage.cast, stage.visit("under_review")
    one, other = Visit.objects.get(pk=visit.pk), Visit.objects.get(pk=visit.pk)
    said = at_once(
        lambda: actions.accept_visit(by=cast.reviewer, visit=one, edition=visit.edition, reason=""),
        lambda: actions.return_visit(by=cast.reviewer, visit=other, reason="The luff."),
    )
    assert sorted(map(bool, said)) == [False, True]
    accepted = not said[0]
    assert Visit.objects.get(pk=visit.pk).state == ("accepted" if accepted else "returned")
    assert SignOff.objects.filter(visit=visit, meaning="accepted").count() == accepted
    assert not trail.verify()


def test_signed_and_amended_at_once_is_signed_as_it_stands(stage: Stage) -> None:
    cast, visit = stage.cast, stage.visit("draft")
    stage.fill(visit)
    reading = Reading.objects.get(visit=visit, slug="foot_distance", take=1)
    mine = Visit.objects.get(pk=visit.pk)
    said = at_once(
        lambda: actions.sign_visit(by=cast.measurer, visit=mine, edition=visit.edition, password=PASSWORD),
        lambda: actions.amend_reading(by=cast.measurer, reading=reading, text="4129", unit="mm", instrument=None),
    )
    assert sorted(map(bool, said)) == [False, True]
    assert not list(visit_checks.check_all())


@pytest.mark.parametrize("held", ["boat", "visit", "instrument"])
def test_no_two_writers_wait_for_each_other(stage: Stage, held: str) -> None:
    """One holds the trail and then refers to a row; the other holds that row and then waits for the trail."""
    cast, visit, tape = stage.cast, stage.visit("draft"), stage.kit["T-03"]
    by, today = cast.administrator, timezone.localdate()
    deeds: dict[str, Callable[[], object]] = {
        "boat": lambda: boat_actions.declare_interest(
            by=by, boat=stage.boat, person=cast.stranger, kind="crew", since=today
        ),
        "visit": lambda: actions.call_off_visit(by=by, visit=Visit.objects.get(pk=visit.pk), reason="Fog."),
        "instrument": lambda: actions.take_out_of_use(by=by, instrument=tape, since=today, reason="Its hook is bent."),
    }
    holding = threading.Event()

    def refers() -> None:
        with transaction.atomic():
            trail.hold()
            holding.set()
            threading.Event().wait(0.5)  # the other has its row by then, and waits
            row = {"visit": visit, "slug": "foot_distance", "value": 4123.0, "written": "4123", "instrument": tape}
            Reading.objects.create(**row, recorded_by=cast.measurer)
            Rig.objects.create(boat=stage.boat, number=9, rig_type="sloop", since=today, until=today)

    def waits() -> None:
        holding.wait(10)
        deeds[held]()

    assert at_once(refers, waits) == ["", ""]
