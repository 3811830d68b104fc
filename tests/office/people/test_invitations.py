"""One-time links: made by administrators, kept as a hash, used once, within seven days."""

from __future__ import annotations

import datetime as dt
import hashlib
import json

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from office.audit import trail
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.actions import invitations, roles
from office.people.models import Invitation, Person, Role
from tests.cast import Cast

NEW = "a fresh long password"


@pytest.fixture
def made(cast: Cast) -> tuple[Invitation, str]:
    return invitations.invite(
        by=cast.administrator, email="Nora.Berg@office.example", name="Nora Berg", roles=["reviewer", "measurer"]
    )


def last() -> Entry:
    entry = Entry.objects.last()
    assert entry is not None
    return entry


def everything_in_the_trail() -> str:
    return json.dumps(list(Entry.objects.values()))


def test_an_invitation_is_accepted(made: tuple[Invitation, str]):
    invitation, token = made
    person = invitations.accept_invitation(token=token, name="Nora Berg", password=NEW)
    assert person.check_password(NEW)
    assert person.roles == {"reviewer", "measurer"}
    assert person.email == "nora.berg@office.example"
    invitation.refresh_from_db()
    assert invitation.person == person
    assert invitation.used_at is not None
    assert last().verb == "accept_invitation"
    assert last().actor == person.key


def test_only_the_hash_of_the_token_is_kept(made: tuple[Invitation, str]):
    invitation, token = made
    assert invitation.token_sha256 == hashlib.sha256(token.encode()).hexdigest()
    assert token not in json.dumps(list(Invitation.objects.values()), default=str)
    assert token not in everything_in_the_trail()
    assert invitations.TOKEN_BYTES * 8 >= 128
    assert len(token) >= invitations.TOKEN_BYTES * 8 / 6


def test_no_name_and_no_address_enters_the_trail(made: tuple[Invitation, str], cast: Cast):
    invitations.accept_invitation(token=made[1], name="Nora Berg", password=NEW)
    told = everything_in_the_trail()
    for text in ("Nora", "Berg", "office.example", cast.administrator.name):
        assert text not in told
    assert cast.administrator.key in told


def test_a_link_works_once(made: tuple[Invitation, str]):
    invitations.accept_invitation(token=made[1], name="Nora Berg", password=NEW)
    with pytest.raises(WrongState, match="has been used"):
        invitations.accept_invitation(token=made[1], name="Nora Berg", password="another one entirely")
    assert Person.objects.get(email="nora.berg@office.example").check_password(NEW)


def test_a_link_runs_out_after_seven_days(made: tuple[Invitation, str]):
    invitation, token = made
    assert invitation.expires_at - invitation.invited_at <= dt.timedelta(days=7, seconds=5)
    Invitation.objects.filter(pk=invitation.pk).update(expires_at=timezone.now())
    with pytest.raises(WrongState, match="run out"):
        invitations.accept_invitation(token=token, name="Nora Berg", password=NEW)
    assert not Person.objects.filter(email="nora.berg@office.example").exists()


def test_a_cancelled_link_does_not_work(made: tuple[Invitation, str], cast: Cast):
    invitations.cancel_invitation(by=cast.administrator, invitation=made[0], reason="wrong address")
    assert (last().verb, last().reason) == ("cancel_invitation", "wrong address")
    with pytest.raises(WrongState, match="cancelled"):
        invitations.accept_invitation(token=made[1], name="Nora Berg", password=NEW)
    with pytest.raises(WrongState):
        invitations.cancel_invitation(by=cast.administrator, invitation=made[0], reason="again")


def test_an_unknown_token_says_little(cast: Cast):
    with pytest.raises(NotAllowed, match="not one of the office's"):
        invitations.accept_invitation(token="x" * 43, name="Nora", password=NEW)


def test_only_administrators_invite(cast: Cast):
    for part, person in cast.people().items():
        if part != "administrator":
            with pytest.raises(NotAllowed):
                invitations.invite(by=person, email="x@office.example", name="X", roles=["owner"])
            with pytest.raises(NotAllowed):
                invitations.send_new_link(by=person, person=cast.owner, reason="forgot")
    assert not Invitation.objects.exists()
    assert trail.head()[0] == 0


def test_a_second_click_makes_no_second_invitation(made: tuple[Invitation, str], cast: Cast):
    with pytest.raises(WrongState, match="still open"):
        invitations.invite(by=cast.administrator, email="nora.berg@OFFICE.example", name="N", roles=["owner"])
    assert Invitation.objects.count() == 1


def test_nobody_is_invited_twice(cast: Cast):
    with pytest.raises(WrongState, match="already among the people"):
        invitations.invite(by=cast.administrator, email=cast.owner.email.upper(), name="O", roles=["owner"])


def test_an_invitation_names_a_role(cast: Cast):
    with pytest.raises(Refusal, match="at least one role"):
        invitations.invite(by=cast.administrator, email="x@office.example", name="X", roles=[])
    with pytest.raises(ValueError, match="captain"):
        invitations.invite(by=cast.administrator, email="x@office.example", name="X", roles=["captain"])


def test_a_new_link_sets_a_new_password_and_keeps_the_roles(cast: Cast):
    _, first = invitations.send_new_link(by=cast.administrator, person=cast.owner, reason="forgot it")
    _, second = invitations.send_new_link(by=cast.administrator, person=cast.owner, reason="lost the link")
    with pytest.raises(WrongState, match="cancelled"):
        invitations.accept_invitation(token=first, name="", password=NEW)
    person = invitations.accept_invitation(token=second, name="ignored", password=NEW)
    assert person == cast.owner
    assert person.name == cast.owner.name
    assert person.roles == {"owner"}
    assert person.check_password(NEW)


def test_a_disabled_persons_link_is_dead_even_after_they_are_enabled_again(cast: Cast):
    _, token = invitations.send_new_link(by=cast.administrator, person=cast.owner, reason="forgot it")
    roles.disable(by=cast.administrator, person=cast.owner, reason="left")
    roles.enable(by=cast.administrator, person=cast.owner, reason="is back")
    with pytest.raises(WrongState, match="cancelled"):
        invitations.accept_invitation(token=token, name="", password=NEW)


class TestFirstAdministrator:
    @pytest.mark.django_db
    def test_the_command_prints_a_link_that_works(self, capsys: pytest.CaptureFixture[str], client: Client):
        call_command("first_administrator", "first@office.example", "Ada Stein")
        link = capsys.readouterr().out.split()[-1]
        path = link.removeprefix("http://127.0.0.1:8000")
        answer = client.post(path, {"name": "Ada Stein", "new_password": NEW, "again": NEW})
        assert answer.status_code == 302
        assert Person.objects.get().holds(Role.ADMINISTRATOR)
        assert last().verb == "accept_invitation"

    @pytest.mark.django_db
    def test_asked_again_the_former_link_ends(self):
        _, first = invitations.invite_first_administrator(email="first@office.example", name="Ada")
        invitations.invite_first_administrator(email="first@office.example", name="Ada")
        with pytest.raises(WrongState, match="cancelled"):
            invitations.find_invitation(first)

    def test_an_office_with_an_administrator_has_no_use_for_it(self, cast: Cast):
        with pytest.raises(CommandError, match="has an administrator"):
            call_command("first_administrator", "second@office.example", "Eve")

    @pytest.mark.django_db
    def test_a_mistyped_address_is_said(self):
        with pytest.raises(CommandError, match="e-mail address"):
            call_command("first_administrator", "no address", "Eve")


class TestPages:
    @pytest.fixture
    def administrator(self, cast: Cast, client: Client) -> Client:
        client.force_login(cast.administrator)
        return client

    def invite(self, client: Client) -> str:
        answer = client.post(
            reverse("people:invite"), {"name": "Nora Berg", "email": "nora@office.example", "roles": ["reviewer"]}
        )
        assert answer.status_code == 200
        assert "no-store" in answer.headers["Cache-Control"]
        return str(answer.context["link"])

    def test_the_link_is_shown_once_and_sent(self, administrator: Client):
        link = self.invite(administrator)
        assert mail.outbox[0].to == ["nora@office.example"]
        assert link in mail.outbox[0].body
        token = link.rstrip("/").rsplit("/", 1)[-1]
        assert token not in administrator.get(reverse("people:list")).content.decode()

    def test_accepting_signs_in_under_a_new_session(self, administrator: Client):
        link = self.invite(administrator)
        newcomer = Client()
        assert b"nora@office.example" in newcomer.get(link).content
        before = newcomer.session.session_key
        answer = newcomer.post(link, {"name": "Nora Berg", "new_password": NEW, "again": NEW})
        assert answer.headers["Location"] == reverse("home")
        assert newcomer.session.session_key != before
        assert newcomer.get(reverse("people:account")).status_code == 200
        assert newcomer.get(link).status_code == 409

    def test_passwords_are_held_to_the_rules(self, administrator: Client):
        link = self.invite(administrator)
        for password, again, sentence in (
            (NEW, NEW + "x", "two passwords differ"),
            ("short", "short", "too short"),
            ("password123", "password123", "too common"),
            ("nora@office.example", "nora@office.example", "too similar"),
        ):
            answer = Client().post(link, {"name": "Nora", "new_password": password, "again": again})
            assert answer.status_code == 422
            assert sentence in answer.content.decode()
        assert not Person.objects.filter(email="nora@office.example").exists()

    def test_mail_that_cannot_be_sent_is_said_and_the_link_still_shown(
        self, administrator: Client, monkeypatch: pytest.MonkeyPatch
    ):
        def broken(*args: object) -> None:
            raise ConnectionRefusedError

        monkeypatch.setattr("office.letters.actions.send_mail", broken)
        answer = administrator.post(
            reverse("people:invite"), {"name": "Nora", "email": "nora@office.example", "roles": ["owner"]}
        )
        assert b"could not be sent" in answer.content
        assert answer.context["link"] in answer.content.decode()

    @pytest.mark.parametrize("token", ["x", "x" * 43, "a b", "é" * 20])
    def test_mistyped_links_get_a_page(self, client: Client, db: None, token: str):
        answer = client.get(f"/people/join/{token}/")
        assert answer.status_code == 403
        assert "not one of the office" in answer.content.decode()

    def test_the_invitation_form_keeps_what_was_typed(self, administrator: Client, cast: Cast):
        answer = administrator.post(
            reverse("people:invite"), {"name": "Again", "email": cast.owner.email, "roles": ["owner"]}
        )
        assert answer.status_code == 422
        assert b"already among the people" in answer.content
        assert b'value="Again"' in answer.content
