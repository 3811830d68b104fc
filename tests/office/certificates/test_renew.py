"""Renewing without a new visit: one and many; works, wrong role, stranger, wrong state, repeated click."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from boats.models import Declaration
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions, queries, renewing, snapshot, suspending
from office.certificates.models import Certificate, Renewal, RenewalItem
from office.policy.actions import change_policy
from office.work import doing, workers
from office.work.models import Work

pytestmark = pytest.mark.usefixtures("quick_papers")


@pytest.fixture
def generous(cast):
    """The samples were measured years ago; this policy renews for ten."""
    change_policy(by=cast.administrator, reason="For the tests.", renewal_months=120)


def refusal_of(certificate: Certificate) -> str:
    return renewing.why_not(renewing.weigh([certificate])[0], timezone.localdate())


def test_one(cast, issued, generous):
    made = renewing.renew(by=cast.certifier, certificate=issued)
    issued.refresh_from_db()
    assert (made.visit, made.replaces, made.valid_from) == (issued.visit, issued, issued.in_force_before)
    assert issued.ending == ""
    assert issued.visit.date.isoformat() in snapshot.read(made)["replaces"]["reason"]
    chains = [[one.number for one in queries.chain_of(each)] for each in (issued, made)]
    assert chains == [[issued.number, made.number]] * 2
    assert queries.certificate_on(issued.boat, made.valid_from) == made


@pytest.fixture
def expired(cast, stage, issued, generous, monkeypatch) -> tuple[Certificate, dt.date]:
    """The certificate some days after its last one, and that day."""
    today = issued.valid_until + dt.timedelta(days=20)
    monkeypatch.setattr(timezone, "localdate", lambda *_: today)
    return issued, today


def test_one_that_has_ended_begins_today(client, cast, expired):
    """Not back in time: the days between stay without a certificate, and the new one says so."""
    former, today = expired
    made = renewing.renew(by=cast.certifier, certificate=former)
    assert (made.replaces, made.valid_from, made.visit) == (former, today, former.visit)
    between = former.in_force_before
    assert queries.certificate_on(former.boat, between) is None
    assert f"{former.number} ended on {former.valid_until.isoformat()}; on the days since" in made.issue_reason
    former.refresh_from_db()
    assert (former.ending, former.in_force_before) == ("", between)
    with pytest.raises(WrongState, match="followed already"):
        renewing.renew(by=cast.certifier, certificate=former)


def test_what_has_ended_is_offered_unticked(client, cast, expired):
    former, today = expired
    client.force_login(cast.certifier)
    listed = client.get(reverse("certificates:renew")).content.decode()
    box = re.search(rf'<input type="checkbox" name="number" value="{former.number}"([^>]*)>', listed)
    assert box
    assert box[1].strip() == ""
    assert re.search(rf"from <time[^>]*>{today.isoformat()}<", listed)
    narrow = {"until": today.isoformat(), "since": today.isoformat()}
    assert former.number not in client.get(reverse("certificates:renew"), narrow).content.decode()
    renewing.renew(by=cast.certifier, certificate=former)
    assert list(renewing.ended_since(former.valid_until, today)) == []


def test_what_has_ended_is_measured_anew_where_the_policy_says_so(cast, expired):
    former, today = expired
    change_policy(by=cast.administrator, reason="For the tests.", renewal_months=12)
    assert "a new visit is due" in renewing.why_not(renewing.weigh([former])[0], today)


def test_what_was_suspended_when_it_ended_is_not(cast, issued, generous, monkeypatch):
    suspending.suspend(by=cast.certifier, certificate=issued, since=timezone.localdate(), reason="A damaged mast.")
    later = issued.valid_until + dt.timedelta(days=3)
    monkeypatch.setattr(timezone, "localdate", lambda *_: later)
    former = Certificate.objects.get(pk=issued.pk)
    assert "was when it ended" in renewing.why_not(renewing.weigh([former])[0], later)


def test_the_second_click(cast, issued, generous):
    made = renewing.renew(by=cast.certifier, certificate=issued)
    with pytest.raises(WrongState, match=f"followed already, by {made.number}"):
        renewing.renew(by=cast.certifier, certificate=issued)
    assert Certificate.objects.count() == 2


@pytest.mark.parametrize("part", ["measurer", "reviewer", "owner", "race_committee", "administrator", "stranger"])
def test_only_a_certifier(cast, issued, generous, part: str):
    person = cast.people()[part]
    assert not renewing.may_renew(person)
    with pytest.raises(NotAllowed):
        renewing.renew(by=person, certificate=issued)
    with pytest.raises(NotAllowed):
        renewing.begin(by=person, key="k", numbers=[issued.number])
    assert (Certificate.objects.count(), Renewal.objects.count()) == (1, 0)


def test_not_too_long_after_measuring(cast, issued):
    assert "a new visit is due" in refusal_of(issued)
    change_policy(by=cast.administrator, reason="Never.", renewal_months=0)
    assert "renews nothing" in refusal_of(issued)


def test_what_else_stands_against_it(cast, stage, issued, generous):
    assert refusal_of(issued) == ""
    boat_actions.describe_rig(
        by=cast.administrator, boat=issued.boat, since=timezone.localdate(), number=1, reason="A new mast.",
        rig_type="sloop", masts=[{"name": "main", "material": "carbon", "upper_band": True}],
    )  # fmt: skip
    assert "described anew" in refusal_of(issued)
    Declaration.objects.create(
        boat=issued.boat, kind="mast_damaged", happened_on=timezone.localdate(), declared_by=cast.owner,
        consequence="note",
    )  # fmt: skip
    assert "has declared: mast damaged" in refusal_of(issued)
    suspending.suspend(by=cast.certifier, certificate=issued, since=timezone.localdate(), reason="x")
    assert "is suspended; only one in force or expired" in refusal_of(Certificate.objects.get(pk=issued.pk))


def test_not_past_a_later_visit(stage, issued, generous):
    stage.visit("accepted")
    assert "certify that visit instead" in refusal_of(issued)


def test_many_in_one_go(client, cast, issued, row, generous):
    """Each by itself: one is refused with its sentence, the other is issued; asked again, nothing is done twice."""
    other = row(valid_from=issued.valid_from, valid_until=issued.valid_until, in_force_before=issued.in_force_before)
    client.force_login(cast.certifier)
    page = reverse("certificates:renew") + f"?until={issued.valid_until.isoformat()}"
    shown = client.get(page).content.decode()
    assert issued.number in shown
    assert other.number in shown
    key = re.findall(r'name="key" value="([^"]+)"', shown)[0]
    empty = client.post(page, {"key": key})
    assert (empty.status_code, Renewal.objects.count()) == (422, 0)
    typed = {"key": key, "number": [issued.number, other.number]}
    progress = client.post(page, typed).headers["Location"]
    assert client.post(page, typed).headers["Location"] == progress
    assert (Renewal.objects.count(), RenewalItem.objects.count()) == (1, 2)
    assert "2 waiting" in client.get(progress).content.decode()
    part = client.post(progress, headers={"HX-Request": "true"}).content.decode()
    assert "1 issued, 1 refused, 0 waiting" in part
    assert "<html" not in part
    rows = Entry.objects.count()
    assert client.post(progress).status_code == 302
    assert client.post(page, typed).status_code == 302
    assert (Certificate.objects.count(), Entry.objects.count()) == (3, rows)
    refused = RenewalItem.objects.get(certificate=other)
    assert "measured again" in refused.refusal
    assert refused.refusal in client.get(progress).content.decode()


def test_an_item_is_taken_by_one_request_only(cast, issued, generous):
    renewal = renewing.begin(by=cast.certifier, key="k", numbers=[issued.number])
    RenewalItem.objects.update(claimed_at=timezone.now())
    assert renewing.go_on(by=cast.certifier, renewal=renewal) == 0
    RenewalItem.objects.update(claimed_at=timezone.now() - renewing.ABANDONED - dt.timedelta(seconds=1))
    assert renewing.go_on(by=cast.certifier, renewal=renewal) == 1
    assert RenewalItem.objects.get().made.replaces == issued


def test_a_worker_does_it_or_the_page(client, cast, issued, generous):
    renewal = renewing.begin(by=cast.certifier, key="a-renewal", numbers=[issued.number])
    client.force_login(cast.certifier)
    address = reverse("certificates:renewal", args=[renewal.key])
    assert "No worker runs" in client.get(address).content.decode()
    workers.give_sign("machine:1")
    page = client.get(address).content.decode()
    assert "A worker does it" in page
    assert "hx-post" not in page
    work = Work.objects.get(kind="renew")
    doing.do(work.key)
    work.refresh_from_db()
    assert work.said == ["1 issued, 0 refused; the page of the renewal says why."]
    assert RenewalItem.objects.get().made.replaces == issued


def test_several_workers_share_a_long_one(cast, issued, row, generous, monkeypatch):
    """One piece of work for each worker that lives, as long as there is enough for it; none is done twice."""
    other = row(valid_from=issued.valid_from, valid_until=issued.valid_until, in_force_before=issued.in_force_before)
    both = [issued.number, other.number]
    monkeypatch.setattr(workers, "alive", lambda: 3)
    renewing.begin(by=cast.certifier, key="short", numbers=both)
    assert not Work.objects.filter(kind="renew_beside").exists()
    monkeypatch.setattr(renewing, "WORTH_ANOTHER", 1)
    renewal = renewing.begin(by=cast.certifier, key="long", numbers=both)
    assert renewing.begin(by=cast.certifier, key="long", numbers=both) == renewal
    beside, main = Work.objects.get(kind="renew_beside"), Work.objects.get(kind="renew", arguments={"renewal": "long"})
    for work in (beside, main):
        doing.do(work.key)
        work.refresh_from_db()
    assert (beside.state, beside.said) == ("done", ["2 of them done here."])
    assert (main.state, main.said) == ("done", ["1 issued, 1 refused; the page of the renewal says why."])


def test_the_last_one_is_waited_for_where_another_worker_is_at_it(cast, issued, generous, monkeypatch):
    renewal = renewing.begin(by=cast.certifier, key="a-renewal", numbers=[issued.number])
    RenewalItem.objects.update(claimed_at=timezone.now())
    slept: list[float] = []

    def meanwhile(seconds: float) -> None:
        slept.append(seconds)
        if len(slept) == 2:
            RenewalItem.objects.update(claimed_at=None)
            renewing.go_on(by=cast.certifier, renewal=renewal)

    monkeypatch.setattr("office.certificates.long_work.time.sleep", meanwhile)
    work = Work.objects.get(kind="renew")
    doing.do(work.key)
    work.refresh_from_db()
    assert (len(slept), work.state) == (2, "done")


def test_one_left_half_done_is_tried_later(cast, issued, generous):
    renewing.begin(by=cast.certifier, key="a-renewal", numbers=[issued.number])
    RenewalItem.objects.update(claimed_at=timezone.now() - renewing.A_MOMENT)
    work = Work.objects.get(kind="renew")
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.is_put_off) == ("waiting", True)


def test_a_certifier_no_more(cast, issued, generous):
    renewing.begin(by=cast.certifier, key="a-renewal", numbers=[issued.number])
    cast.certifier.role_holdings.update(ended_at=timezone.now())
    work = Work.objects.get(kind="renew")
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, RenewalItem.objects.get().made) == ("failed", None)


def test_chains_on_the_pages(client, cast, issued):
    second = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="A misprint.")
    third = actions.issue(by=cast.certifier, visit=issued.visit, replacing=second.number, reason="Another.")
    client.force_login(cast.certifier)
    for name in ("certificates:certificate", "racing:certificate"):
        for one in (issued, second, third):
            text = client.get(reverse(name, args=[one.number])).content.decode()
            assert all(number in text for number in (issued.number, second.number, third.number)), (name, one)
