"""Withdrawing: works, wrong role, stranger, wrong state, repeated click; and what it means for each day."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions, queries, rules
from office.certificates.models import Certificate, Ending
from office.certificates.standing import standing

pytestmark = pytest.mark.usefixtures("quick_papers")
REASON = "The mast was cut down by 120 mm."


def later(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def test_it_works(cast, issued):
    before = queries.certificate_on(issued.boat, later(0))
    assert before == issued
    done = actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=f"  {REASON} ")
    issued.refresh_from_db()
    assert done == issued
    assert (issued.ending, issued.in_force_before, issued.ended_on) == (Ending.WITHDRAWN, later(0), later(0))
    assert (issued.ended_by, issued.ending_reason) == (cast.certifier, REASON)
    assert standing(issued, later(0)) == "withdrawn"
    assert queries.certificate_on(issued.boat, later(0)) is None
    row = Entry.objects.order_by("-number").first()
    assert (row.verb, row.certificate, row.reason) == ("withdraw_certificate", issued.number, REASON)
    assert "withdrawn" in row.after


def test_from_a_later_day_it_stays_in_force_until_then(cast, accepted):
    certificate = actions.issue(by=cast.certifier, visit=accepted, valid_from=later(1))
    on = certificate.valid_until
    actions.withdraw(by=cast.certifier, certificate=certificate, on=on, reason=REASON)
    certificate.refresh_from_db()
    assert certificate.in_force_before == on
    assert standing(certificate, on) == "withdrawn"
    assert standing(certificate, on - dt.timedelta(days=1)) == "in_force" or on == certificate.valid_from


def test_one_that_has_not_begun_never_does(cast, accepted):
    certificate = actions.issue(by=cast.certifier, visit=accepted, valid_from=later(10))
    actions.withdraw(by=cast.certifier, certificate=certificate, on=later(0), reason=REASON)
    certificate.refresh_from_db()
    assert certificate.in_force_before == certificate.valid_from
    assert {str(standing(certificate, later(days))) for days in (-1, 0, 9, 10, 11)} == {"withdrawn"}


@pytest.mark.parametrize(
    "part",
    ["measurer", "second_measurer", "reviewer", "owner", "other_owner", "race_committee", "administrator", "stranger"],
)
def test_only_a_certifier(cast, issued, part: str):
    rows = Entry.objects.count()
    assert not rules.may_withdraw(cast.people()[part], issued)
    with pytest.raises(NotAllowed):
        actions.withdraw(by=cast.people()[part], certificate=issued, on=later(0), reason=REASON)
    issued.refresh_from_db()
    assert (issued.ending, Entry.objects.count()) == ("", rows)


def test_not_with_an_interest_in_the_boat(cast, issued):
    boat_actions.add_owner(by=cast.administrator, boat=issued.boat, person=cast.certifier, since=later(0))
    with pytest.raises(NotAllowed, match="interest"):
        actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=REASON)


def test_the_second_click(cast, issued):
    actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=REASON)
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match="withdrawn already"):
        actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=REASON)
    assert Entry.objects.count() == rows


@pytest.mark.parametrize("how", ["expired", "replaced"])
def test_only_what_is_in_force_or_to_come(cast, row, how: str):
    span = {"valid_from": later(-30), "valid_until": later(-10), "in_force_before": later(-9)}
    certificate = row(**span, ending="" if how == "expired" else "replaced")
    with pytest.raises(WrongState, match=f"{how} already"):
        actions.withdraw(by=cast.certifier, certificate=certificate, on=later(0), reason=REASON)
    assert not rules.can_withdraw(certificate, later(0))


@pytest.mark.parametrize(("days", "sentence"), [(-1, "at the earliest"), (400, "ends by itself")])
def test_the_day_has_its_bounds(cast, issued, days: int, sentence: str):
    with pytest.raises(WrongState, match=sentence):
        actions.withdraw(by=cast.certifier, certificate=issued, on=later(days), reason=REASON)


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_never_without_a_reason(cast, issued, reason: str):
    with pytest.raises(WrongState, match="reason"):
        actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=reason)
    assert Certificate.objects.get().ending == ""


def test_afterwards_the_visit_may_be_certified_again_by_name(cast, issued):
    actions.withdraw(by=cast.certifier, certificate=issued, on=later(0), reason=REASON)
    again = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="Withdrawn in error.")
    issued.refresh_from_db()
    assert again.replaces == issued
    assert issued.ending == Ending.WITHDRAWN
    assert queries.certificate_on(issued.boat, later(0)) == again
