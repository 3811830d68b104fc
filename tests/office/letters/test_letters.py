"""Letters: written with what they tell, sent once, tried again, sealed while they wait."""

from __future__ import annotations

import datetime as dt
import smtplib

import pytest
from django.core import mail
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from office.audit.refusals import WrongState
from office.letters import actions, sealing
from office.letters.models import Letter, LetterState
from office.people.models import Invitation

pytestmark = pytest.mark.django_db


def write(text: str = "https://office.example/people/join/secret/") -> Letter:
    return actions.write(to="nora@quay.example", subject="A link", text=text, about="invitation")


@pytest.fixture
def refused(monkeypatch):
    """A mail server that takes nothing."""

    def fails(*_: object) -> int:
        raise smtplib.SMTPServerDisconnected("nora@quay.example")

    with monkeypatch.context() as patch:
        patch.setattr(actions, "send_mail", fails)
        yield


def test_sent_once_whoever_tries(monkeypatch):
    letter = write()
    assert actions.send(letter)
    assert actions.send(letter)  # it is on its way already
    Letter.objects.update(due_at=timezone.now())
    assert actions.send_due() == 0
    assert [one.to for one in mail.outbox] == [["nora@quay.example"]]
    assert letter.sealed == ""  # neither address nor link stay


def test_what_waits_is_sealed():
    letter = write()
    assert "nora" not in letter.sealed
    assert "secret" not in letter.sealed
    assert sealing.opened(letter.sealed)[0] == "nora@quay.example"


def test_another_secret_key_opens_nothing(settings):
    letter = write()
    settings.SECRET_KEY = "another"
    assert not actions.send(letter)
    assert (letter.trouble, mail.outbox) == ("CannotOpen", [])


def test_nothing_goes_out_for_what_was_undone():
    with transaction.atomic():
        write()
        transaction.set_rollback(True)
    assert not Letter.objects.exists()


def test_tried_again_with_growing_pauses_and_then_not(refused):
    letter = write()
    pauses = []
    while actions.send(letter) is False and letter.state == LetterState.WAITING:
        pauses.append(round((letter.due_at - timezone.now()).total_seconds() / 60))
        assert actions.send_due() == 0  # its time has not come
        letter.refresh_from_db()
    assert pauses == [1, 5, 15, 60, 240]
    assert (letter.state, letter.tries, letter.trouble) == (LetterState.FAILED, 6, "SMTPServerDisconnected")


def test_a_worker_sends_what_waits(monkeypatch):
    letters = [write(), write()]
    assert actions.send_due() == 0  # whoever wrote them comes first
    Letter.objects.update(due_at=timezone.now())
    assert actions.send_due() == len(letters) == len(mail.outbox)


def test_killed_while_it_was_with_the_mail_server(monkeypatch):
    """Nobody knows whether it went: it is not sent twice, and somebody is told."""
    letter = write()

    def killed(*_: object) -> int:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(actions, "send_mail", killed)
        with pytest.raises(KeyboardInterrupt):
            actions.send(letter)
    assert not actions.send(letter)
    Letter.objects.update(claimed_at=timezone.now() - dt.timedelta(hours=1), due_at=timezone.now())
    assert actions.send_due() == 0
    letter.refresh_from_db()
    assert (letter.state, mail.outbox) == (LetterState.UNSURE, [])


def test_an_administrator_sees_and_sends_again(client, cast, refused):
    letter = write()
    actions.send(letter)
    Letter.objects.update(state=LetterState.FAILED, ended_at=timezone.now())
    client.force_login(cast.administrator)
    page = client.get(reverse("work:list")).content.decode()
    assert "SMTPServerDisconnected" in page
    assert "nora" not in page
    again = reverse("work:letter_again", args=[letter.key])
    assert "did not take it" in client.post(again, follow=True).content.decode()
    assert client.post(again).status_code == 409  # it waits
    client.force_login(cast.certifier)
    assert "Letters not sent" not in client.get(reverse("work:list")).content.decode()
    assert client.post(again).status_code == 403


def test_sent_again_by_hand():
    letter = write()
    Letter.objects.update(state=LetterState.UNSURE, ended_at=timezone.now(), tries=1)
    actions.try_again(letter)
    assert actions.send(letter)
    with pytest.raises(WrongState):
        actions.try_again(letter)
    assert len(mail.outbox) == 1


def test_an_invitation_and_its_letter_stand_or_fall_together(client, cast, monkeypatch):
    def no_room(**_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(sealing, "sealed", no_room)
    client.force_login(cast.administrator)
    client.raise_request_exception = False
    typed = {"name": "Nora", "email": "nora@quay.example", "roles": ["owner"]}
    assert client.post(reverse("people:invite"), typed).status_code == 503
    assert not Invitation.objects.exists()


def test_old_rows_go():
    write()
    Letter.objects.update(written_at=timezone.now() - dt.timedelta(days=15))
    actions.forget_old()
    assert not Letter.objects.exists()
