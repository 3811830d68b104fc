"""A worker that is killed in the middle of a renewal: whoever takes it up brings it to one outcome."""

from __future__ import annotations

import os
import random
import signal
import time

import pytest
from django.db import connections
from django.utils import timezone

from office.certificates import actions, renewing
from office.certificates.models import Certificate, RenewalItem
from office.policy.actions import change_policy
from office.work import doing
from office.work.actions import SILENT, take_up_again
from office.work.models import Work, WorkState
from tests.surveys.makers import Stage, record_kit, register_boat

SIZE = 3


@pytest.fixture
def renewal(transactional_db, cast, quick_papers):
    change_policy(by=cast.administrator, reason="For the tests.", renewal_months=120)
    kit, numbers = record_kit(cast), []
    for number in range(SIZE):
        boat = register_boat(cast, name=f"Boat {number}", sail_number=f"QVL {number + 1}")
        visit = Stage(cast, boat, kit).visit("accepted")
        numbers.append(actions.issue(by=cast.certifier, visit=visit).number)
    return renewing.begin(by=cast.certifier, key="a-renewal", numbers=numbers)


def another_worker(key: str) -> int:
    """A process that begins the work; its number."""
    connections.close_all()  # none may be shared
    child = os.fork()
    if child == 0:
        try:
            doing.do(key)
        finally:
            os._exit(0)
    return child


def wait_for(number: int) -> None:
    deadline = time.monotonic() + 60
    while RenewalItem.objects.filter(done_at__isnull=False).count() < number:
        assert time.monotonic() < deadline
        time.sleep(0.005)


def test_killed_twice_and_taken_up_again(renewal):
    work, dice = Work.objects.get(kind="renew"), random.Random(7)
    for done in (0, 1):
        child = another_worker(work.key)
        wait_for(done)
        time.sleep(dice.uniform(0.0, 0.1))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        an_hour_passes()
        take_up_again()
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.done, work.total) == (WorkState.DONE, SIZE, SIZE)
    assert work.said[-1].startswith(f"{SIZE} issued, 0 refused")
    assert work.leads_to.endswith(f"/{renewal.key}/")
    assert Certificate.objects.count() == 2 * SIZE
    assert all(item.made.replaces_id == item.certificate_id for item in renewal.items.select_related("made"))


def an_hour_passes() -> None:
    """For whoever asks when somebody was last heard of."""
    RenewalItem.objects.filter(claimed_at__isnull=False).update(claimed_at=timezone.now() - renewing.ABANDONED * 2)
    Work.objects.filter(state=WorkState.RUNNING).update(beat_at=timezone.now() - SILENT * 2)
