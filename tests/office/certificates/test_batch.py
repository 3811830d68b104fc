"""How many boats stand over some days: the same words as `standing`, and what happens between the days."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from office.certificates.batch import over_days
from office.certificates.models import Ending, Suspension
from office.certificates.standing import Standing, standing
from tests.office.certificates.conftest import make_boat

pytestmark = pytest.mark.django_db

FIRST, LAST = dt.date(2026, 6, 1), dt.date(2026, 6, 3)
DAY = dt.timedelta(days=1)


def over(boat):
    return over_days([boat.pk], FIRST, LAST)[boat.pk]


def until(row, last_day, **fields):
    return row(valid_until=last_day, in_force_before=last_day + DAY, **fields)


def ended(row, ending, before, **fields):
    return row(in_force_before=before, ending=ending, ended_on=before, **fields)


def test_no_certificate():
    assert over(make_boat()).status == "none"


def test_in_force_on_every_day(row):
    certificate = until(row, LAST)
    found = over(certificate.boat)
    assert (found.status, found.paper.number, found.ends_on) == ("in_force", certificate.number, None)
    assert found.paper.last_day == LAST


@pytest.mark.parametrize("last_day", [FIRST, LAST - DAY])
def test_runs_out_during_the_days(row, last_day):
    found = over(until(row, last_day).boat)
    assert (found.status, found.ends_on, found.then) == ("ends_during", last_day, "expired")


def test_runs_out_before(row):
    certificate = until(row, FIRST - DAY)
    assert over(certificate.boat).status == "expired"
    assert over(certificate.boat).paper.number == certificate.number


def test_withdrawn_before_and_during(row):
    assert over(ended(row, Ending.WITHDRAWN, FIRST).boat).status == "withdrawn"
    during = over(ended(row, Ending.WITHDRAWN, LAST).boat)
    assert (during.status, during.ends_on, during.then) == ("ends_during", LAST - DAY, "withdrawn")
    assert over(ended(row, Ending.WITHDRAWN, LAST + DAY).boat).status == "in_force"


def test_withdrawn_before_it_ever_began(row):
    begins = dt.date(2026, 5, 4)
    assert over(ended(row, Ending.WITHDRAWN, begins).boat).status == "withdrawn"


def test_replaced_without_a_gap_is_in_force_throughout(row):
    former = ended(row, Ending.REPLACED, FIRST + DAY)
    row(boat=former.boat, valid_from=FIRST + DAY, replaces=former)
    found = over(former.boat)
    assert (found.status, found.paper.number) == ("in_force", former.number)


def test_replaced_by_one_that_runs_out(row):
    former = ended(row, Ending.REPLACED, FIRST + DAY)
    until(row, LAST - DAY, boat=former.boat, valid_from=FIRST + DAY, replaces=former)
    found = over(former.boat)
    assert (found.status, found.ends_on, found.then) == ("ends_during", LAST - DAY, "expired")


def test_begins_during_the_days(row):
    coming = row(valid_from=LAST)
    found = over(coming.boat)
    assert (found.status, found.paper.number, found.begins_on) == ("none", coming.number, LAST)


def test_the_last_one_before_decides_and_the_next_is_told(row):
    former = until(row, FIRST - DAY)
    row(boat=former.boat, valid_from=LAST)
    found = over(former.boat)
    assert (found.status, found.paper.number, found.begins_on) == ("expired", former.number, LAST)


def test_a_certificate_after_the_days(row):
    found = over(row(valid_from=LAST + DAY).boat)
    assert (found.status, found.begins_on) == ("none", None)


@pytest.mark.parametrize("on", [dt.date(2026, 5, 3), FIRST, LAST, dt.date(2027, 1, 1)])
def test_the_same_word_as_the_public_page(row, on):
    for certificate in (row(), until(row, FIRST), ended(row, Ending.WITHDRAWN, LAST), row(valid_from=LAST)):
        found = over_days([certificate.boat_id], on, on)[certificate.boat_id]
        word = standing(certificate, on)
        assert found.status == ("none" if word == Standing.NOT_YET else word)


def suspend(certificate, since, lifted=None):
    Suspension.objects.create(
        certificate=certificate, since=since, lifted_from=lifted, reason="the mast was damaged",
        suspended_at=certificate.issued_at, suspended_by=certificate.issued_by,
    )  # fmt: skip


def test_suspended_before_and_over_the_event(row):
    certificate = row()
    suspend(certificate, FIRST - DAY)
    found = over(certificate.boat)
    assert (found.status, found.paper.number, found.begins_on) == ("suspended", certificate.number, None)


def test_suspended_and_in_force_again_during_the_days(row):
    certificate = row()
    suspend(certificate, FIRST - DAY, LAST)
    assert (over(certificate.boat).status, over(certificate.boat).begins_on) == ("suspended", LAST)


def test_suspended_during_the_days(row):
    certificate = row()
    suspend(certificate, LAST)
    found = over(certificate.boat)
    assert (found.status, found.ends_on, found.then) == ("ends_during", LAST - DAY, "suspended")


@pytest.mark.parametrize(("since", "lifted"), [(FIRST - 9 * DAY, FIRST), (LAST + DAY, None)])
def test_suspensions_outside_the_days_do_not_count(row, since, lifted):
    certificate = row()
    suspend(certificate, since, lifted)
    assert over(certificate.boat).status == "in_force"
    for on in (since, FIRST, LAST):
        assert over_days([certificate.boat_id], on, on)[certificate.boat_id].status == standing(certificate, on)


def test_the_days_the_wrong_way_round():
    with pytest.raises(ValueError, match="before the first"):
        over_days([], LAST, FIRST)


def test_two_statements_for_any_number_of_boats(row):
    boats = [until(row, LAST).boat_id for _ in range(12)]
    with CaptureQueriesContext(connection) as queries:
        assert {one.status for one in over_days(boats, FIRST, LAST).values()} == {"in_force"}
    assert len(queries) <= 2
    assert over_days([], FIRST, LAST) == {}
