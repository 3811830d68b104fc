"""Access keys: made by administrators, shown once, kept as a hash, running out, revoked; and the count of a minute."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.interface import keys, limits
from office.interface.models import AccessKey, Minute
from tests.cast import cast

__all__ = ["cast"]


def in_days(days: int) -> dt.date:
    return timezone.localdate() + dt.timedelta(days=days)


def make(cast, **fields):
    given = {"name": "Entries", "holder": cast.race_committee, "scopes": ["validity"], "expires_on": in_days(30)}
    return keys.make(by=cast.administrator, **{**given, **fields})


def test_kept_as_a_hash_and_found_by_its_secret(cast):
    made, token = make(cast)
    assert keys.TOKEN_BYTES * 8 >= 128
    assert token not in str(vars(made))
    assert not Entry.objects.filter(after__contains=token).exists()
    assert keys.find(token) == made
    assert keys.find(token[:-1]) is None
    assert AccessKey.objects.get().last_used_on == timezone.localdate()


def test_it_ends(cast):
    made, token = make(cast, expires_on=in_days(0))
    assert keys.find(token)
    AccessKey.objects.update(expires_on=in_days(-1))
    assert keys.find(token) is None
    AccessKey.objects.update(expires_on=in_days(9))
    keys.revoke(by=cast.administrator, access_key=made, reason="Lost.")
    assert keys.find(token) is None
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match="already"):
        keys.revoke(by=cast.administrator, access_key=made, reason="Lost.")
    assert Entry.objects.count() == rows
    _, other = make(cast)
    cast.race_committee.is_active = False
    cast.race_committee.save()
    assert keys.find(other) is None


@pytest.mark.parametrize(
    "wrong", [{"scopes": []}, {"name": " "}, {"expires_on": in_days(-1)}, {"expires_on": in_days(800)}]
)
def test_never_without_end_name_or_purpose(cast, wrong):
    with pytest.raises(Refusal):
        make(cast, **wrong)
    assert not AccessKey.objects.exists()


@pytest.mark.parametrize("part", ["measurer", "reviewer", "certifier", "owner", "race_committee", "stranger"])
def test_only_an_administrator(cast, part: str):
    made, _ = make(cast)
    by = cast.people()[part]
    with pytest.raises(NotAllowed):
        keys.make(by=by, name="x", holder=by, scopes=["validity"], expires_on=in_days(1))
    with pytest.raises(NotAllowed):
        keys.revoke(by=by, access_key=made, reason="x")


def test_pages(client, cast):
    client.force_login(cast.administrator)
    page = reverse("access_keys:make")
    typed = {"name": "Entries", "holder": cast.owner.key, "scopes": ["events"], "expires_on": in_days(9).isoformat()}
    assert client.post(page, {**typed, "scopes": []}).status_code == 422
    shown = client.post(page, typed)
    made = AccessKey.objects.get()
    assert "no-store" in shown.headers["Cache-Control"]
    text = shown.content.decode()
    token = (
        text.partition('value="')[2].partition('"')[0]
        if 'id="token"' not in text
        else (text.partition('id="token"')[2].partition('value="')[2].partition('"')[0])
    )
    assert keys.find(token) == made
    listed = client.get(reverse("access_keys:list")).content.decode()
    assert "Entries" in listed
    assert token not in listed
    revoke = reverse("access_keys:revoke", args=[made.key])
    assert client.post(revoke, {"reason": ""}).status_code == 422
    assert client.post(revoke, {"reason": "Lost."}).status_code == 302
    assert client.post(revoke, {"reason": "Lost."}).status_code == 422


@pytest.fixture(autouse=True)
def _nothing_taken():
    limits.taken.forget()


def test_processes_together_never_grant_more(db):
    """Each takes ten at once of a limit of 120: what one does not need the others lack, and none is granted twice."""
    processes, granted = [limits.Taken() for _ in range(3)], 0

    def ask(process: limits.Taken) -> bool:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(limits, "taken", process)
            try:
                limits.count("everywhere", limits.WITH_A_KEY)
            except limits.TooMany:
                return False
            return True

    for turn in range(200):
        granted += ask(processes[turn % 2])
    assert granted == limits.WITH_A_KEY
    assert not ask(processes[2])
    assert Minute.objects.get().count <= limits.WITH_A_KEY + 3 * limits.AT_ONCE


def test_ten_requests_cost_one_write(db, django_assert_num_queries):
    limits.count("often", limits.WITH_A_KEY)
    with django_assert_num_queries(0):
        for _ in range(9):
            limits.count("often", limits.WITH_A_KEY)
    assert Minute.objects.get().count == 10
    limits.count("often", limits.WITH_A_KEY)
    assert Minute.objects.get().count == 20


def test_counted_by_the_minute(db):
    for _ in range(3):
        limits.count("somebody", 3)
    with pytest.raises(limits.TooMany) as error:
        limits.count("somebody", 3)
    assert 0 < error.value.wait <= 60
    limits.count("another", 3)
    limits.taken.forget()
    Minute.objects.update(minute=timezone.now() - dt.timedelta(hours=2))
    limits.count("somebody", 3)
    assert Minute.objects.count() == 1  # the old ones are forgotten
