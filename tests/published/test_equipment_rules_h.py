"""Equipment Rules of Sailing, H.1.1 (read in a secondary copy): who may not carry out certification control.

Not an official measurer who owns, designed or built the part, or has an interest in it, unless the authority allows it
for in-house certification. A supplier of the part is an interested party; here that is recorded as another interest.
"""

from __future__ import annotations

import datetime as dt

import pytest

from boats import actions as boat_actions
from surveys import actions, rules
from tests.cast import Cast, cast
from tests.surveys.makers import Stage, record_kit, register_boat

__all__ = ["cast"]
pytestmark = pytest.mark.django_db

SINCE = dt.date(2022, 1, 1)


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.mark.parametrize("interest", ["owner", "designer", "builder", "other"])
def test_an_interested_party_may_not_measure_unless_it_is_allowed(stage: Stage, interest: str) -> None:
    cast = stage.cast
    visit = stage.visit("planned")
    assert rules.has_no_interest(cast.measurer, visit) is True
    if interest == "owner":
        boat_actions.add_owner(by=cast.administrator, boat=stage.boat, person=cast.measurer, since=SINCE)
    else:
        boat_actions.declare_interest(
            by=cast.administrator, boat=stage.boat, person=cast.measurer, kind=interest, since=SINCE,
            remark="supplied the mast" if interest == "other" else "",
        )  # fmt: skip
    assert rules.has_no_interest(cast.measurer, visit) is False
    actions.grant_exception(
        by=cast.administrator, visit=visit, person=cast.measurer, reason="In-house certification, allowed in writing."
    )
    assert rules.has_no_interest(cast.measurer, visit) is True


def test_somebody_without_an_interest_may(stage: Stage) -> None:
    assert rules.has_no_interest(stage.cast.second_measurer, stage.visit("planned")) is True
