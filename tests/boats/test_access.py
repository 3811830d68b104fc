"""Whom an owner lets in: links that work once, run out and are for one address; what co-owner and skipper may do."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from boats import actions, rules
from boats.actions import access as access_actions
from boats.models import Access, BoatInvitation, Ownership
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.letters.models import Letter
from office.people.models import Person, Role
from tests.cast import cast, make_person
from tests.surveys.makers import register_boat

__all__ = ["cast"]
PASSWORD = "a harbour full of masts"


@pytest.fixture
def hers(cast):
    return register_boat(cast)


@pytest.fixture
def skipper(cast):
    return make_person("Skip Berg")


def let_in(cast, boat, person: Person, part: str = "skipper") -> tuple[BoatInvitation, str]:
    return actions.invite_to_boat(by=cast.owner, boat=boat, part=part, email=person.email, name=person.name)


def test_a_skipper_sees_and_does_not_declare(cast, hers, skipper):
    _, token = let_in(cast, hers, skipper)
    assert not rules.may_see(skipper, hers)
    actions.accept_boat_invitation(token=token, person=skipper)
    assert rules.may_see(skipper, hers)
    assert not rules.owns(skipper, hers)
    assert rules.interest_of(skipper, hers, timezone.localdate()) == "skipper"
    assert Role.OWNER in Person.objects.get(pk=skipper.pk).roles
    row = Entry.objects.order_by("-number").first()
    assert (row.verb, row.boat, row.actor) == ("accept_boat_invitation", hers.key, skipper.key)


def test_a_co_owner_owns(cast, hers, skipper):
    _, token = let_in(cast, hers, skipper, "co_owner")
    actions.accept_boat_invitation(token=token, person=skipper)
    assert rules.owns(skipper, hers)
    assert Ownership.objects.filter(boat=hers, until__isnull=True).count() == 2


def test_the_token_is_long_and_kept_as_a_hash(cast, hers, skipper):
    made, token = let_in(cast, hers, skipper)
    assert access_actions.TOKEN_BYTES * 8 >= 128
    assert len(token) >= 43
    assert token not in str(vars(made))
    assert not Entry.objects.filter(after__contains=token).exists()
    assert not Entry.objects.filter(after__contains=skipper.email).exists()


def test_it_works_once(cast, hers, skipper):
    _, token = let_in(cast, hers, skipper)
    actions.accept_boat_invitation(token=token, person=skipper)
    with pytest.raises(WrongState, match="works once"):
        actions.accept_boat_invitation(token=token, person=skipper)
    assert Access.objects.count() == 1


def test_it_runs_out_is_cancelled_and_is_for_one_address(cast, hers, skipper):
    made, token = let_in(cast, hers, skipper)
    with pytest.raises(NotAllowed, match="sign in with that address"):
        actions.accept_boat_invitation(token=token, person=cast.stranger)
    with pytest.raises(WrongState, match="still open"):
        let_in(cast, hers, skipper, "co_owner")
    BoatInvitation.objects.filter(pk=made.pk).update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    with pytest.raises(WrongState, match="run out"):
        actions.accept_boat_invitation(token=token, person=skipper)
    second, token = let_in(cast, hers, skipper)
    actions.cancel_boat_invitation(by=cast.owner, invitation=second)
    with pytest.raises(WrongState, match="cancelled"):
        actions.accept_boat_invitation(token=token, person=skipper)
    with pytest.raises(WrongState, match="cancelled"):
        actions.cancel_boat_invitation(by=cast.owner, invitation=second)
    with pytest.raises(NotAllowed, match="not one of the office's"):
        actions.find_boat_invitation("nothing")
    assert not Access.objects.exists()


def test_a_link_of_somebody_who_no_longer_owns_her(cast, hers, skipper):
    _, token = let_in(cast, hers, skipper)
    Ownership.objects.update(until=timezone.localdate() - dt.timedelta(days=1))
    with pytest.raises(WrongState, match="no longer owns"):
        actions.accept_boat_invitation(token=token, person=skipper)


@pytest.mark.parametrize("part", ["measurer", "reviewer", "certifier", "other_owner", "administrator", "stranger"])
def test_only_an_owner_lets_in(cast, hers, skipper, part: str):
    with pytest.raises(NotAllowed):
        actions.invite_to_boat(by=cast.people()[part], boat=hers, part="skipper", email="x@quay.example", name="X")
    made, _ = let_in(cast, hers, skipper)
    with pytest.raises(NotAllowed):
        actions.cancel_boat_invitation(by=cast.people()[part], invitation=made)


def test_no_other_part_and_not_without_end(cast, hers):
    with pytest.raises(Refusal, match="co-owner or a skipper"):
        actions.invite_to_boat(by=cast.owner, boat=hers, part="new_owner", email="x@quay.example", name="X")
    for number in range(access_actions.MOST_OPEN):
        actions.invite_to_boat(by=cast.owner, boat=hers, part="skipper", email=f"s{number}@quay.example", name="X")
    with pytest.raises(WrongState, match="still open"):
        actions.invite_to_boat(by=cast.owner, boat=hers, part="skipper", email="more@quay.example", name="X")


def test_ended_at_once(cast, hers, skipper):
    _, token = let_in(cast, hers, skipper)
    actions.accept_boat_invitation(token=token, person=skipper)
    held = Access.objects.get()
    with pytest.raises(NotAllowed):
        actions.end_access(by=skipper, access=held, reason="x")
    actions.end_access(by=cast.owner, access=held, reason="The season is over.")
    assert not rules.may_see(skipper, hers)
    with pytest.raises(WrongState, match="already ended"):
        actions.end_access(by=cast.owner, access=held, reason="x")


def test_pages(client, cast, hers, skipper):
    client.force_login(cast.owner)
    page = reverse("boats:access", args=[hers.key])
    assert client.post(page, {"part": "skipper", "name": "Skip", "email": "none"}).status_code == 422
    shown = client.post(page, {"part": "skipper", "name": "Skip Berg", "email": skipper.email})
    assert "no-store" in shown.headers["Cache-Control"]
    link = next(line for line in mail.outbox[0].body.splitlines() if "/join/" in line)
    assert link in shown.content.decode()
    assert skipper.email in client.get(page).content.decode()
    other = client.get(link).content.decode()
    assert "another address" in other
    client.logout()
    assert "Sign in" in client.get(link).content.decode()
    client.force_login(skipper)
    assert "Accept" in client.get(link).content.decode()
    boat = reverse("desk:boat", args=[hers.key])
    assert client.post(link).headers["Location"] == boat
    text = client.get(boat).content.decode()
    assert reverse("certificates:declare", args=[hers.key]) not in text
    assert page not in text
    assert client.get(reverse("certificates:declare", args=[hers.key])).status_code == 403
    assert hers.name in client.get(reverse("home")).content.decode()
    assert hers.name in client.get(reverse("boats:list")).content.decode()
    client.force_login(cast.owner)
    end = reverse("boats:end_access", args=[hers.key, skipper.key])
    assert end in client.get(page).content.decode()
    assert client.post(end, {"reason": ""}).status_code == 422
    assert client.post(end, {"reason": "The season is over."}).headers["Location"] == page
    client.force_login(skipper)
    assert client.get(boat).status_code == 403


def test_a_letter_that_could_not_be_sent(client, cast, hers, monkeypatch):
    def fails(*args: object, **kwargs: object) -> int:
        raise OSError("no route")

    monkeypatch.setattr("office.letters.actions.send_mail", fails)
    client.force_login(cast.owner)
    page = reverse("boats:access", args=[hers.key])
    shown = client.post(page, {"part": "co_owner", "name": "Nora", "email": "nora@quay.example"}).content.decode()
    assert "could not be sent" in shown
    assert Letter.objects.get().state == "waiting"  # a worker tries again


def test_somebody_new_joins_by_the_link(client, cast, hers):
    _, token = actions.invite_to_boat(
        by=cast.owner, boat=hers, part="co_owner", email="nora@quay.example", name="Nora Quist"
    )
    page = reverse("boats:join", args=[token])
    assert "Nora Quist" in client.get(page).content.decode()
    typed = {"name": "Nora Quist", "new_password": PASSWORD, "again": "another"}
    assert client.post(page, typed).status_code == 422
    assert client.post(page, {**typed, "again": PASSWORD}).status_code == 302
    nora = Person.objects.get(email="nora@quay.example")
    assert rules.owns(nora, hers)
    assert nora.check_password(PASSWORD)
    assert nora.roles == {Role.OWNER}
