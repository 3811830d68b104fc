"""The first page tells an administrator when everything was last backed up."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.backups import making

pytestmark = pytest.mark.django_db


def first_page(client, person) -> str:
    client.force_login(person)
    return str(client.get("/").content.decode())


def record_a_backup() -> None:
    with transaction.atomic():
        trail.record(by=None, verb=making.VERB, subject=making.SUBJECT, after={"archive": "x", "bytes": "1"})


def test_none_yet(client, cast):
    page = first_page(client, cast.administrator)
    assert "No backup has been made yet." in page
    assert "backup_key FILE" in page


def test_one_of_today(client, cast):
    record_a_backup()
    page = first_page(client, cast.administrator)
    assert "The last good backup was made" in page
    assert "two days old" not in page


def test_one_of_last_week(client, cast, monkeypatch):
    now = timezone.now()
    monkeypatch.setattr("django.utils.timezone.now", lambda: now - dt.timedelta(days=7))
    record_a_backup()
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    assert "The last good backup is more than two days old" in first_page(client, cast.administrator)


def test_others_are_not_troubled(client, cast):
    assert "backup" not in first_page(client, cast.reviewer).lower()
