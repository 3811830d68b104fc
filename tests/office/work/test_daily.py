"""What is done once a day: by whom and how often it is asked makes no difference."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
from django.core.management import call_command
from django.db import connection
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from office.backups import archive, making
from office.management.commands import worker
from office.upkeep import backups, checks
from office.work import actions, daily, doing, kinds, workers
from office.work.hours import hour_of
from office.work.models import Work, WorkState
from office.work.progress import TryAgain

pytestmark = pytest.mark.django_db


@pytest.fixture
def at_three(monkeypatch) -> list[int]:
    done: list[int] = []
    monkeypatch.setitem(kinds.KINDS, "sweep", kinds.Kind("Sweeping", lambda progress: done.append(1)))
    monkeypatch.setattr(daily, "DAILY", {"sweep": lambda: dt.time(3)})
    return done


def on(day: int, hour: int) -> dt.datetime:
    return dt.datetime(2026, 7, day, hour, 0, tzinfo=dt.UTC)


def test_once_a_day_when_its_hour_has_come(at_three):
    assert daily.ask_for_what_is_due(on(1, 2)) == []
    assert len(daily.ask_for_what_is_due(on(1, 4))) == 1
    assert daily.ask_for_what_is_due(on(1, 23)) == []
    assert len(daily.ask_for_what_is_due(on(2, 9))) == 1  # the machine slept over the hour
    assert Work.objects.filter(kind="sweep").count() == 2


def test_the_day_is_the_offices(at_three, settings):
    settings.TIME_ZONE = "Pacific/Auckland"
    with timezone.override("Pacific/Auckland"):
        assert len(daily.ask_for_what_is_due(on(1, 16))) == 1  # four in the morning of the second, over there
    assert Work.objects.get().once == "sweep 2026-07-02"


@pytest.mark.django_db(transaction=True)
def test_several_workers_ask_for_it_once(at_three):
    start = threading.Barrier(4)

    def ask() -> None:
        start.wait()
        daily.ask_for_what_is_due(on(1, 4))
        connection.close()

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert Work.objects.filter(kind="sweep").count() == 1


@pytest.fixture
def office(settings, tmp_path, cast):
    """An office that makes backups at three."""
    settings.DATA_DIR, settings.BACKUP_DIR = tmp_path / "data", tmp_path / "backups"
    settings.DATA_DIR.mkdir()
    settings.BACKUP_RECIPIENT, settings.BACKUP_AT = archive.new_identity()[1], "03:00"
    return tmp_path


def test_off_without_a_key(settings, tmp_path):
    settings.DATA_DIR, settings.BACKUP_RECIPIENT, settings.BACKUP_AT = tmp_path, "", "03:00"
    assert backups.hour() is None
    making.recipient_file().write_text(archive.new_identity()[1])
    assert backups.hour() == dt.time(3)
    settings.BACKUP_AT = "off"
    assert backups.hour() is None


def test_the_daily_backup_is_made_and_not_twice(office):
    work = daily.ask_for_what_is_due(timezone.now().replace(hour=23))[0]
    doing.do(work.key)
    Work.objects.update(state=WorkState.WAITING)  # as after a worker that was killed before it could say that it ended
    doing.do(work.key)
    work.refresh_from_db()
    assert work.state == WorkState.DONE
    assert work.said[-1] == "It has been made already."
    assert len(list((office / "backups").glob("*.age"))) == 1


def test_a_backup_that_fails_is_tried_again_and_shown(office, monkeypatch):
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    work = actions.ask_for_work(by=None, kind="backup", once="backup 2026-07-01")
    with monkeypatch.context() as patch:
        patch.setattr(making, "make", full)
        doing.do(work.key)
        work.refresh_from_db()
        assert work.is_put_off
        assert backups.state().failed == work
        assert "No space left" in backups.state().trouble
        Work.objects.update(tries=kinds.most_tries("backup") - 1)
        doing.do(work.key)
    work.refresh_from_db()
    assert work.state == WorkState.FAILED
    assert backups.state().failed == work
    assert "No space left" in backups.state().trouble
    actions.try_again(work=work)
    doing.do(work.key)
    assert backups.state().failed is None
    assert backups.state().at is not None


def test_what_a_killed_backup_left_behind_goes(office):
    directory = office / "backups"
    (directory / ".copying-dead").mkdir(parents=True)
    (directory / "2026.backup.age.part").write_bytes(b"half")
    with making._alone_in(directory):
        assert list(directory.iterdir()) == []
        with pytest.raises(making.Busy), making._alone_in(directory):
            pass


def test_put_off_with_growing_pauses(monkeypatch, cast):
    def stumble(progress: object) -> None:
        raise TryAgain("The disk is full.")

    monkeypatch.setitem(kinds.KINDS, "stumble", kinds.Kind("Stumbling", stumble, (), 3))
    work = actions.ask_for_work(by=cast.administrator, kind="stumble")
    pauses = []
    for _ in range(2):
        doing.do(work.key)
        work.refresh_from_db()
        assert work.not_before is not None
        pauses.append(round((work.not_before - timezone.now()).total_seconds() / 60))
    assert pauses == [1, 5]
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.tries) == (WorkState.FAILED, 3)


def test_a_worker_killed_between_taking_and_beginning(cast):
    """The queue's row is taken, the work has not begun: it would wait for ever."""
    work = actions.ask_for_work(by=cast.administrator, kind="recompute")
    work.refresh_from_db()
    first = work.queued_as
    DBTaskResult.objects.get().claim("dead")
    assert actions.take_up_again() == []
    DBTaskResult.objects.update(started_at=timezone.now() - actions.SILENT * 2)
    assert actions.take_up_again() == [work]
    work.refresh_from_db()
    assert work.queued_as != first
    assert actions.take_up_again() == []


def test_workers_give_signs_and_take_their_names_off():
    assert not workers.any_alive()
    workers.give_sign("a:1")
    workers.give_sign("a:1")
    assert workers.any_alive()
    workers.take_off("a:1")
    assert workers.last_sign() is None


def test_a_worker_says_that_it_is_there_and_that_it_goes(at_three, monkeypatch):
    there = []
    monkeypatch.setattr(worker, "call_command", lambda *_, **__: there.append(workers.any_alive()))
    call_command("worker", "--once")
    assert there == [True]
    assert workers.last_sign() is None
    assert Work.objects.filter(kind="sweep").count() == int(timezone.localtime().hour >= 3)


@pytest.mark.parametrize(("text", "hour"), [("03:30", dt.time(3, 30)), ("off", None), ("", None), ("0", None)])
def test_hours(text, hour):
    assert hour_of(text) == hour


def test_an_hour_that_is_none_is_said_at_the_start(settings):
    settings.BACKUP_AT = "25:00"
    assert [one.msg for one in checks.hours_can_be_read()] == [
        "OFFICE_BACKUP_AT: “25:00” is no hour; expected one like 03:00, or off."
    ]
