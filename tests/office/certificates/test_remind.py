"""Reminders: once for each certificate, owner and stage; one address a letter; what fails is tried again."""

from __future__ import annotations

import datetime as dt
import io
import smtplib

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import reminding, renewing
from office.certificates.models import Reminder
from office.letters.models import Letter as OutgoingLetter
from office.policy.actions import change_policy

pytestmark = pytest.mark.usefixtures("quick_papers")


def before_end(certificate, days: int) -> dt.date:
    last: dt.date = certificate.valid_until
    return last - dt.timedelta(days=days)


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("send_reminders", *arguments, stdout=out)
    return out.getvalue()


def test_each_stage_once(cast, issued):
    first, last = before_end(issued, 30), before_end(issued, 14)
    assert "1 sent, 0 were sent before" in run("--on", first.isoformat())
    assert "0 sent, 1 were sent before" in run("--on", first.isoformat())
    assert "1 sent, 0 were sent before" in run("--on", last.isoformat())
    assert [one.to for one in mail.outbox] == [[cast.owner.email]] * 2
    assert issued.number in mail.outbox[0].subject
    assert issued.valid_until.isoformat() in mail.outbox[0].body
    assert set(Reminder.objects.values_list("stage", flat=True)) == {60, 14}
    rows = Entry.objects.filter(verb="send_reminder", certificate=issued.number)
    assert rows.count() == 2
    assert not rows.filter(after__contains="@").exists()


def test_a_dry_run_sends_nothing_and_names_no_address(cast, issued):
    said = run("--on", before_end(issued, 3).isoformat(), "--dry-run")
    assert issued.number in said
    assert "@" not in said
    assert (len(mail.outbox), Reminder.objects.count()) == (0, 0)


def test_not_too_early_and_not_once_another_follows(cast, issued):
    assert reminding.letters(before_end(issued, 61)) == [] or before_end(issued, 61) < issued.valid_from
    change_policy(by=cast.administrator, reason="x", renewal_months=120)
    assert len(reminding.letters(before_end(issued, 5))) == 1
    renewing.renew(by=cast.certifier, certificate=issued)
    assert reminding.letters(before_end(issued, 5)) == []
    change_policy(by=cast.administrator, reason="x", reminder_days="")
    assert reminding.letters(before_end(issued, 5)) == []


def test_two_owners_two_letters(cast, issued):
    boat_actions.add_owner(by=cast.administrator, boat=issued.boat, person=cast.other_owner, since=timezone.localdate())
    run("--on", before_end(issued, 5).isoformat())
    assert sorted(one.to for one in mail.outbox) == sorted([[cast.owner.email], [cast.other_owner.email]])
    assert not any(cast.owner.email in one.body or one.cc or one.bcc for one in mail.outbox)


def test_a_failing_mail_server_is_said_and_tried_again(cast, issued, monkeypatch):
    def fails(*args: object, **kwargs: object) -> int:
        raise smtplib.SMTPRecipientsRefused({cast.owner.email: (550, b"no")})

    day = before_end(issued, 5).isoformat()
    with monkeypatch.context() as patch:
        patch.setattr("office.letters.actions.send_mail", fails)
        with pytest.raises(CommandError, match="1 could not be sent yet") as failed:
            run("--on", day)
    assert "@" not in str(failed.value)
    assert "0 sent, 1 were sent before" in run("--on", day)  # it waits for its time
    assert mail.outbox == []
    OutgoingLetter.objects.update(due_at=timezone.now())
    assert "1 that waited are sent" in run("--on", day)
    assert [one.to for one in mail.outbox] == [[cast.owner.email]]
    assert "sent before" in run("--on", day)
    assert (len(mail.outbox), Reminder.objects.count()) == (1, 1)


def test_from_the_list(client, cast, issued):
    client.force_login(cast.reviewer)
    page = reverse("certificates:remind") + f"?until={issued.valid_until.isoformat()}"
    shown = client.get(page).content.decode()
    assert cast.owner.name in shown
    assert cast.owner.email not in shown
    assert client.post(page).status_code == 422
    for sent in (1, 1):
        answer = client.post(page, {"number": [issued.number]}, follow=True)
        assert len(mail.outbox) == sent
    assert "sent already at this stage: 1" in answer.content.decode()
    assert "told" in client.get(page).content.decode()


@pytest.mark.parametrize("part", ["measurer", "owner", "race_committee", "stranger"])
def test_only_the_office(cast, issued, part: str):
    with pytest.raises(NotAllowed):
        reminding.send_ticked(by=cast.people()[part], numbers=[issued.number])
    with pytest.raises(WrongState, match="Tick"):
        reminding.send_ticked(by=cast.administrator, numbers=[])
    assert mail.outbox == []
