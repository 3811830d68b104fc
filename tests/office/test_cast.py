"""The cast of the tests is what it says."""

from __future__ import annotations

import pytest
from django.db import transaction

from office.audit import trail
from office.people.models import Role
from office.policy.models import PolicyEdition
from tests.cast import PASSWORD, Cast


def test_everybody_has_their_role_and_the_password(cast: Cast):
    assert cast.measurer.holds(Role.MEASURER)
    assert not cast.measurer.holds(Role.REVIEWER)
    assert cast.stranger.roles == frozenset()
    assert all(person.check_password(PASSWORD) for person in cast.people().values())
    assert len(cast.people()) == 9


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", [1, 2])
def test_a_flushed_office_keeps_its_first_policy_and_its_triggers(turn: int):
    """Run twice: the second turn meets what the flush after the first one left."""
    assert PolicyEdition.objects.count() == 1
    assert trail.head() == (0, trail.GENESIS)
    with transaction.atomic():
        trail.record(by=None, verb="try", subject=trail.Subject("boat", "key"))
