"""Whether the office is well: little to whoever asks, everything to an administrator, and never a secret."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import OperationalError, connection, transaction
from django.utils import timezone

from office.audit import trail, triggers
from office.backups import making
from office.policy.actions import change_policy
from office.upkeep import health
from office.work import workers
from office.work.actions import ask_for_work
from office.work.models import Work, Worker, WorkState

pytestmark = pytest.mark.django_db


@pytest.fixture
def well(monkeypatch):
    """An office with nothing to complain of."""
    monkeypatch.setattr(health.Storage, "_well_until", 0.0)
    workers.give_sign("machine:1")
    with transaction.atomic():
        trail.record(by=None, verb=making.VERB, subject=making.SUBJECT)


def asked(client, person=None, address="/health/") -> tuple[int, dict[str, Any]]:
    if person:
        client.force_login(person)
    answer = client.get(address, {"format": "json"})
    return answer.status_code, json.loads(answer.content)


def complaints(client, cast) -> dict[str, str]:
    _, said = asked(client, cast.administrator)
    return {row["what"]: row["said"] for row in said["checks"] if not row["well"]}


def test_all_is_well(client, cast, well):
    answer = client.get("/health/")
    assert (answer.status_code, answer.content) == (200, b"The office is well.\n")
    assert "no-store" in answer.headers["Cache-Control"]
    assert client.head("/health/").status_code == 200
    assert complaints(client, cast) == {}
    assert default_storage.listdir("health")[1] == []


def test_who_may_not_know_hears_one_word(client, cast):
    for person in (None, cast.certifier, cast.stranger):
        assert asked(client, person) == (503, {"office": "not well"})
    client.logout()
    assert client.get("/health/").content == b"The office is not well.\n"


def test_an_administrator_sees_what_is_wrong(client, cast):
    client.force_login(cast.administrator)
    answer = client.get("/health/")
    assert answer.status_code == 503
    page = answer.content.decode()
    assert "No worker runs." in page
    assert "No backup has been made yet." in page


def test_a_silent_worker(client, cast, well):
    Worker.objects.update(beat_at=timezone.now() - dt.timedelta(minutes=5))
    assert list(complaints(client, cast)) == ["Long work"]
    workers.give_sign("machine:1")
    assert complaints(client, cast) == {}


def test_a_new_office_has_time_until_its_first_backup(client, cast, monkeypatch):
    """Two days from the trail's first row; then, or where a backup was tried and failed, it is not well without one."""
    monkeypatch.setattr(health.Storage, "_well_until", 0.0)
    workers.give_sign("machine:1")
    change_policy(by=cast.administrator, reason="The office opens.", office_name="Skerrin Rigs")
    assert client.get("/health/").status_code == 200
    assert complaints(client, cast) == {}
    assert "No backup has been made yet." in client.get("/health/").content.decode()
    ask_for_work(by=None, kind="backup", once="backup 2026-01-01")
    Work.objects.update(state=WorkState.FAILED, said=["No room."])
    assert list(complaints(client, cast)) == ["Backups"]
    Work.objects.all().delete()
    later = timezone.now() + dt.timedelta(days=2, minutes=1)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    Worker.objects.update(beat_at=later)
    assert complaints(client, cast) == {"Backups": "No backup has been made yet."}


def test_a_demonstration_begins_when_it_is_loaded(client, cast, monkeypatch):
    """Its trail begins years back; its database was made a moment ago."""
    workers.give_sign("machine:1")
    with monkeypatch.context() as then:
        then.setattr("django.utils.timezone.now", lambda: dt.datetime(2022, 5, 1, 9, tzinfo=dt.UTC))
        change_policy(by=cast.administrator, reason="It opens.", office_name="Skerrin Rigs")
    assert list(complaints(client, cast)) == ["Backups"]
    change_policy(by=cast.administrator, reason="Nobody's office.", is_demo=True)
    assert complaints(client, cast) == {}


def test_an_old_backup_and_a_failed_one(client, cast, well, monkeypatch):
    later = timezone.now() + dt.timedelta(days=3)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    Worker.objects.update(beat_at=later)
    assert list(complaints(client, cast)) == ["Backups"]
    monkeypatch.undo()
    ask_for_work(by=None, kind="backup", once="backup 2026-01-01")
    Work.objects.update(state=WorkState.FAILED, said=["No room in /secret/place."])
    assert complaints(client, cast)["Backups"].startswith("The daily backup failed.")
    assert "/secret/place" not in client.get("/health/").content.decode()
    assert "No room in /secret/place." in client.get("/").content.decode()  # the first page says it


def test_a_full_disk(client, cast, well, monkeypatch):
    monkeypatch.setattr(health, "LEAST_FREE", 1 << 60)
    said = complaints(client, cast)
    assert list(said) == ["Disk"]
    assert str(settings.DATA_DIR) not in said["Disk"]


def test_a_storage_that_takes_nothing(client, cast, well, monkeypatch):
    def read_only(*_: object) -> str:
        raise OSError(30, "Read-only file system: /srv/photos")

    monkeypatch.setattr(default_storage, "save", read_only)
    assert complaints(client, cast) == {"Storage of photographs": "It does not take files (OSError)."}


def test_a_trail_whose_head_was_altered(client, cast, well):
    with triggers.set_aside(connection), connection.cursor() as cursor:
        cursor.execute("UPDATE audit_entry SET reason = 'another' WHERE number = (SELECT max(number) FROM audit_entry)")
    assert client.get("/health/serving/").status_code == 503
    assert "verify_register" in complaints(client, cast)["Database and trail"]


def test_a_balancer_looks_only_at_what_pages_need(client, cast):
    assert client.get("/health/serving/").content == b"The office is well.\n"


def test_a_database_that_is_away_is_a_word_not_a_fault(client, monkeypatch):
    def away(*_: object) -> str:
        raise OperationalError("could not connect to host db.secret")

    monkeypatch.setattr(health.Database, "look", away)
    answer = client.get("/health/serving/")
    assert (answer.status_code, answer.content) == (503, b"The office is not well.\n")


def test_it_is_cheap(client, well, django_assert_max_num_queries):
    client.get("/health/")
    with django_assert_max_num_queries(5):
        client.get("/health/")
