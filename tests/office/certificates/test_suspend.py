"""Suspending and reinstating: works, wrong role, stranger, wrong state, repeated click; and what the pages say."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import DatabaseError, IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions, queries, rules, suspending
from office.certificates.models import Suspension
from office.certificates.standing import standing
from office.certificates.verification import suspensions

pytestmark = pytest.mark.usefixtures("quick_papers")
REASON = "The mast is damaged at the spreaders."
FOUND = "A rigger has straightened it; nothing measured is touched."
NOT_CERTIFIER = [
    "measurer", "second_measurer", "reviewer", "owner", "other_owner", "race_committee", "administrator", "stranger",
]  # fmt: skip


def later(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


@pytest.fixture
def suspended(cast, issued):
    suspending.suspend(by=cast.certifier, certificate=issued, since=later(0), reason=REASON)
    return queries.spanning(issued.boat, later(0))


def test_suspend_works(cast, issued):
    done = suspending.suspend(by=cast.certifier, certificate=issued, since=later(0), reason=f" {REASON} ")
    assert (done.since, done.lifted_from, done.reason, done.suspended_by) == (later(0), None, REASON, cast.certifier)
    assert standing(issued, later(0)) == "suspended"
    assert standing(issued, later(-1)) == "not_yet"
    assert queries.certificate_on(issued.boat, later(0)) is None
    assert queries.spanning(issued.boat, later(0)) == issued
    row = Entry.objects.order_by("-number").first()
    assert (row.verb, row.certificate, row.reason) == ("suspend_certificate", issued.number, REASON)
    assert list(suspensions.check_all()) == []


def test_reinstate_works(cast, suspended):
    done = suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(2), reason=FOUND)
    assert (done.lifted_from, done.lift_reason, done.lifted_by) == (later(2), FOUND, cast.certifier)
    again = queries.spanning(suspended.boat, later(0))
    assert again is not None
    assert [standing(again, later(days)) for days in (0, 1, 2)] == ["suspended", "suspended", "in_force"]
    assert queries.certificate_on(suspended.boat, later(2)) == suspended
    row = Entry.objects.order_by("-number").first()
    assert (row.verb, row.certificate, row.reason) == ("reinstate_certificate", suspended.number, FOUND)
    assert list(suspensions.check_all()) == []
    with pytest.raises(WrongState, match="suspended already until"):
        suspending.suspend(by=cast.certifier, certificate=suspended, since=later(1), reason=REASON)
    second = suspending.suspend(by=cast.certifier, certificate=suspended, since=later(2), reason=REASON)
    assert second.since == later(2)


@pytest.mark.parametrize("part", NOT_CERTIFIER)
def test_only_a_certifier(cast, suspended, part: str):
    rows, person = Entry.objects.count(), cast.people()[part]
    assert not rules.may_suspend(person, suspended)
    assert not rules.may_reinstate(person, suspended)
    with pytest.raises(NotAllowed):
        suspending.suspend(by=person, certificate=suspended, since=later(0), reason=REASON)
    with pytest.raises(NotAllowed):
        suspending.reinstate(by=person, certificate=suspended, on=later(0), reason=FOUND)
    assert Entry.objects.count() == rows


def test_not_with_an_interest_in_the_boat(cast, suspended):
    boat_actions.add_owner(by=cast.administrator, boat=suspended.boat, person=cast.certifier, since=later(0))
    with pytest.raises(NotAllowed, match="interest"):
        suspending.suspend(by=cast.certifier, certificate=suspended, since=later(0), reason=REASON)
    with pytest.raises(NotAllowed, match="interest"):
        suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(0), reason=FOUND)


def test_the_second_click(cast, suspended):
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match="suspended already"):
        suspending.suspend(by=cast.certifier, certificate=suspended, since=later(0), reason=REASON)
    assert Entry.objects.count() == rows
    suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(0), reason=FOUND)
    with pytest.raises(WrongState, match="not suspended"):
        suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(0), reason=FOUND)
    assert Entry.objects.count() == rows + 1


def test_not_what_has_ended(cast, suspended):
    actions.withdraw(by=cast.certifier, certificate=suspended, on=later(0), reason="Sold for scrap.")
    with pytest.raises(WrongState, match="withdrawn already; it cannot be suspended"):
        suspending.suspend(by=cast.certifier, certificate=suspended, since=later(0), reason=REASON)
    with pytest.raises(WrongState, match="withdrawn already; it cannot be reinstated"):
        suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(0), reason=FOUND)


@pytest.mark.parametrize(("days", "sentence"), [(-1, "at the earliest"), (400, "ends by itself")])
def test_the_days_have_their_bounds(cast, issued, days: int, sentence: str):
    with pytest.raises(WrongState, match=sentence):
        suspending.suspend(by=cast.certifier, certificate=issued, since=later(days), reason=REASON)
    suspending.suspend(by=cast.certifier, certificate=issued, since=later(0), reason=REASON)
    with pytest.raises(WrongState, match=sentence):
        suspending.reinstate(by=cast.certifier, certificate=issued, on=later(days), reason=FOUND)


def test_never_without_a_reason(cast, suspended):
    with pytest.raises(WrongState, match="reason"):
        suspending.suspend(by=cast.certifier, certificate=suspended, since=later(0), reason=" ")
    with pytest.raises(WrongState, match="reason"):
        suspending.reinstate(by=cast.certifier, certificate=suspended, on=later(0), reason="\n")


def test_one_that_is_to_begin_is_suspended_from_its_first_day(cast, accepted):
    ahead = actions.issue(by=cast.certifier, visit=accepted, valid_from=later(5))
    done = suspending.suspend(by=cast.certifier, certificate=ahead, since=later(0), reason=REASON)
    assert done.since == later(5)
    assert [standing(ahead, later(days)) for days in (0, 5)] == ["not_yet", "suspended"]


def test_a_suspended_one_is_replaced_like_any_other(cast, suspended):
    again = actions.issue(
        by=cast.certifier, visit=suspended.visit, replacing=suspended.number, reason="Measured anew after the repair."
    )
    suspended.refresh_from_db()
    assert again.replaces == suspended
    assert standing(suspended, later(0)) == "replaced"
    assert standing(again, later(0)) == "in_force"


def test_the_database_holds_it(cast, suspended):
    one = suspended.suspensions.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        Suspension.objects.create(
            certificate=suspended, since=later(3), reason="x", suspended_at=timezone.now(), suspended_by=cast.certifier
        )
    with pytest.raises(DatabaseError), transaction.atomic():
        Suspension.objects.filter(pk=one.pk).update(since=later(9))
    with pytest.raises(DatabaseError), transaction.atomic():
        Suspension.objects.all()._raw_delete("default")


def test_the_register_is_held_against_the_trail(cast, suspended):
    Suspension.objects.update(lifted_from=later(1))
    sentences = [one.sentence for one in suspensions.check_all()]
    assert any("the trail does not tell so" in one for one in sentences)
    assert any("reason or the person is missing" in one for one in sentences)


def test_pages(client, cast, issued):
    client.force_login(cast.certifier)
    suspend, reinstate = (reverse(f"certificates:{name}", args=[issued.number]) for name in ("suspend", "reinstate"))
    page = reverse("certificates:certificate", args=[issued.number])
    assert suspend in client.get(page).content.decode()
    empty = client.post(suspend, {"since": later(0).isoformat(), "reason": ""})
    assert (empty.status_code, Suspension.objects.count()) == (422, 0)
    assert client.get(suspend).status_code == 200
    assert client.post(suspend, {"since": later(0).isoformat(), "reason": REASON}).headers["Location"] == page
    again = client.post(suspend, {"since": later(0).isoformat(), "reason": REASON})
    assert (again.status_code, Suspension.objects.count()) == (422, 1)
    shown = client.get(page).content.decode()
    assert "Suspended" in shown
    assert REASON in shown
    assert reinstate in shown
    client.logout()
    for address in (
        reverse("racing:certificate", args=[issued.number]),
        f"{reverse('racing:check')}?q={issued.boat.sail_number}",
    ):
        public = client.get(address).content.decode()
        assert "Suspended" in public
        assert REASON not in public
    client.force_login(cast.owner)
    boat = client.get(reverse("desk:boat", args=[issued.boat.key])).content.decode()
    assert "Suspended" in boat
    listed = client.get(reverse("certificates:list"), {"standing": "suspended"}).content.decode()
    assert issued.number in listed
    client.force_login(cast.certifier)
    assert REASON in client.get(reinstate).content.decode()
    assert client.post(reinstate, {"on": later(0).isoformat(), "reason": FOUND}).status_code == 302
    assert FOUND in client.get(page).content.decode()
