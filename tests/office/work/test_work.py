"""Long work: asked for, done once, taken up again, and told of on its page."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
from django.db import OperationalError, connection, transaction
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from office import environment
from office.audit.refusals import WrongState
from office.management.commands import worker
from office.work import actions, doing, kinds
from office.work.models import Work, WorkState
from office.work.progress import MOST_SENTENCES, Lost, Progress

pytestmark = pytest.mark.django_db


@pytest.fixture
def calls(monkeypatch) -> list[dict[str, object]]:
    """A kind of work for tests that keeps what it was called with."""
    seen: list[dict[str, object]] = []

    def count(progress: Progress, *, to: int, stumble_at: int = -1) -> None:
        seen.append({"to": to})
        for number in range(to):
            if number == stumble_at:
                raise ZeroDivisionError
            progress.step(number + 1, to)
        progress.say("Counted.")
        progress.leads_to("/boats/")

    monkeypatch.setitem(kinds.KINDS, "count", kinds.Kind("Counting", count, ("administrator",)))
    return seen


def test_asked_for_queued_and_done(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=3)
    assert work.state == WorkState.WAITING
    assert DBTaskResult.objects.filter(status="READY").count() == 1
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.done, work.total, work.tries) == (WorkState.DONE, 3, 3, 1)
    assert work.said == ["Counted."]
    assert work.leads_to == "/boats/"
    assert work.began_at is not None
    assert work.ended_at is not None
    assert work.began_at <= work.ended_at


def test_it_is_done_once(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    doing.do(work.key)
    doing.do(work.key)
    assert len(calls) == 1


def test_nothing_is_queued_when_the_change_that_asked_is_undone(cast, calls):
    with transaction.atomic():
        actions.ask_for_work(by=cast.administrator, kind="count", to=1)
        transaction.set_rollback(True)
    assert not Work.objects.exists()
    assert not DBTaskResult.objects.exists()


def test_an_unknown_kind_is_refused(cast):
    with pytest.raises(WrongState, match="knows no long work called “dream”"):
        actions.ask_for_work(by=cast.administrator, kind="dream")


def test_an_error_is_said_on_the_page_and_described_in_the_log(cast, calls, caplog):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=4, stumble_at=2)
    doing.do(work.key)
    work.refresh_from_db()
    assert work.state == WorkState.FAILED
    assert "ended with an error" in work.said[-1]
    assert "ZeroDivisionError" in caplog.text


def test_a_dead_workers_work_is_taken_up_again_three_times_at_most(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    for tries in (1, 2, 3):
        assert doing._claim(work.key) is not None  # a worker begins, and is killed
        assert actions.take_up_again() == []  # it may still live
        Work.objects.update(beat_at=timezone.now() - actions.SILENT - dt.timedelta(seconds=1))
        taken = actions.take_up_again()
        work.refresh_from_db()
        assert (len(taken), work.tries) == ((1, tries) if tries < 3 else (0, 3))
    assert work.state == WorkState.FAILED
    assert "3 times" in work.said[-1]
    assert DBTaskResult.objects.count() == 3


def test_a_worker_taken_for_dead_stops_when_it_wakes(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    first = doing._claim(work.key)
    assert first is not None
    Work.objects.update(beat_at=timezone.now() - actions.SILENT * 2)
    actions.take_up_again()
    second = doing._claim(work.key)
    assert second is not None
    with pytest.raises(Lost):
        Progress(first).write()
    Progress(second).write()


def test_only_so_many_sentences_are_kept(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    claimed = doing._claim(work.key)
    assert claimed is not None
    progress = Progress(claimed)
    for number in range(MOST_SENTENCES + 7):
        progress.say(f"sentence {number}")
    progress.write()
    work.refresh_from_db()
    assert work.said[-1] == "… and 7 more."
    assert len(work.said) == MOST_SENTENCES + 1


def test_progress_is_written_only_now_and_then(cast, calls, django_assert_num_queries):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    claimed = doing._claim(work.key)
    assert claimed is not None
    times = iter([0.0, 0.0, *[0.01 * step for step in range(60)]])
    progress = Progress(claimed, clock=lambda: next(times))
    with django_assert_num_queries(2):  # the first, and the last
        for step in range(30):
            progress.step(step + 1, 30)


def test_pages(client, cast, calls):
    client.force_login(cast.administrator)
    assert "Counting" in client.get(reverse("work:list")).content.decode()
    answer = client.post(reverse("work:ask"), {"kind": "count"})
    work = Work.objects.get()
    assert answer.url == reverse("work:work", args=[work.key])
    assert client.post(reverse("work:ask"), {"kind": "count"}).url == answer.url  # a repeated click
    page = client.get(answer.url).content.decode()
    assert "Waiting for a worker" in page
    assert 'hx-trigger="every 1s"' in page
    Work.objects.update(state="done", said=["Counted <b>."], ended_at=timezone.now())
    fragment = client.get(answer.url, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in fragment
    assert "hx-trigger" not in fragment
    assert "Counted &lt;b&gt;." in fragment


def test_only_who_may_asks_and_looks(client, cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    client.force_login(cast.reviewer)
    assert client.get(reverse("work:work", args=[work.key])).status_code == 403
    assert client.post(reverse("work:ask"), {"kind": "count"}).status_code == 403
    assert client.post(reverse("work:ask"), {"kind": "dream"}).status_code == 409


def test_recompute_as_long_work(cast):
    work = actions.ask_for_work(by=cast.certifier, kind="recompute")
    doing.do(work.key)
    work.refresh_from_db()
    assert work.state == WorkState.DONE
    assert work.said[-1] == "Every figure is what was signed and certified."


def test_the_fleet_as_long_work(cast):
    work = actions.ask_for_work(by=cast.reviewer, kind="fleet")
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.leads_to) == (WorkState.DONE, reverse("desk:fleet"))
    assert work.said[-1] == "0 biases of measurers stand out of the noise; 0 changes of rigs."


def test_failed_work_is_tried_again_by_hand(client, cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    client.force_login(cast.administrator)
    address = reverse("work:again", args=[work.key])
    assert client.post(address).status_code == 409  # it waits anyway
    Work.objects.update(state=WorkState.FAILED, ended_at=timezone.now(), tries=3)
    assert "Try again" in client.get(reverse("work:work", args=[work.key])).content.decode()
    client.post(address)
    doing.do(work.key)
    work.refresh_from_db()
    assert (work.state, work.tries, len(calls)) == (WorkState.DONE, 1, 1)


@pytest.mark.django_db(transaction=True)
def test_two_workers_do_not_do_the_same(cast, calls):
    work = actions.ask_for_work(by=cast.administrator, kind="count", to=1)
    start = threading.Barrier(2)

    def worker() -> None:
        start.wait()
        doing.do(work.key)
        connection.close()

    threads = [threading.Thread(target=worker) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(calls) == 1


def test_a_database_that_is_away_for_a_while_ends_no_worker(monkeypatch):
    asked: list[str] = []

    def library(name: str, **options: object) -> None:
        asked.append(name)
        if len(asked) < 3:
            raise OperationalError("database is locked")

    monkeypatch.setattr(worker, "call_command", library)
    monkeypatch.setattr(worker, "ASK_AGAIN", 0.0)
    monkeypatch.setattr(environment, "stop_like_ctrl_c", lambda: None)
    worker.work_off(once=False)
    assert asked == ["db_worker"] * 3
    asked.clear()
    with pytest.raises(OperationalError):
        worker.work_off(once=True)
