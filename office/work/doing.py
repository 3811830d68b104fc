"""Doing a piece of long work: claimed by one worker, with signs of life, ended with a word on how."""

from __future__ import annotations

import datetime as dt
import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction
from django.utils import timezone
from django_tasks import task

from office.audit.refusals import Refusal
from office.work import kinds
from office.work.models import Work, WorkState
from office.work.progress import Lost, Progress, TryAgain

log = logging.getLogger(__name__)

BEAT = 10.0  # seconds between two signs of life
# How long after the first failed try, the second and so on the next one comes (judgement, no source).
PAUSES = [dt.timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 240)]


@task()
def do_work(key: str) -> None:
    """Do the piece of work with this key: what the library's queue holds."""
    do(key)


def put_in_queue(work: Work, *, after: dt.timedelta | None = None) -> None:
    """A place in the library's queue for work that waits. Call it in the transaction of the change."""
    not_before = timezone.now() + after if after else None
    placed = do_work.using(run_after=not_before).enqueue(work.key)
    Work.objects.filter(pk=work.pk).update(queued_as=placed.id, not_before=not_before)


def do(key: str) -> None:
    """Do the piece of work `key`, unless somebody does it already. What fails is said on its page, not raised."""
    work = _claim(key)
    if work is None:
        return
    progress = Progress(work)
    try:
        with _signs_of_life(work):
            kinds.run(work.kind, progress, work.arguments)
    except Lost as lost:
        log.warning("%s", lost)
    except TryAgain as trouble:
        _put_off(progress, trouble)
    except Refusal as refusal:
        progress.say(str(refusal))
        _end(progress, WorkState.FAILED)
    except Exception:
        log.exception("long work %s (%s) failed", work.key, work.kind)
        progress.say("It ended with an error that the server's log describes. What was done before it stands.")
        _end(progress, WorkState.FAILED)
    else:
        _end(progress, WorkState.DONE)


def _claim(key: str) -> Work | None:
    now = timezone.now()
    with transaction.atomic():
        work = Work.objects.filter(key=key, state=WorkState.WAITING).first()
        if work is None:
            return None
        work.state, work.tries, work.beat_at = WorkState.RUNNING, work.tries + 1, now
        work.began_at = work.began_at or now
        claimed = Work.objects.filter(pk=work.pk, state=WorkState.WAITING).update(
            state=work.state, tries=work.tries, beat_at=now, began_at=work.began_at
        )
    return work if claimed else None


def _put_off(progress: Progress, trouble: TryAgain) -> None:
    work = progress.work
    if work.tries >= kinds.most_tries(work.kind):
        progress.say(f"{trouble} It was tried {work.tries} times; it is not tried again by itself.")
        _end(progress, WorkState.FAILED)
        return
    progress.say(str(trouble))
    try:
        progress.write()
    except Lost as lost:
        log.warning("%s", lost)
        return
    with transaction.atomic():
        mine = Work.objects.filter(pk=work.pk, state=WorkState.RUNNING, tries=work.tries)
        if mine.update(state=WorkState.WAITING):
            put_in_queue(work, after=trouble.after or PAUSES[min(work.tries, len(PAUSES)) - 1])


def _end(progress: Progress, state: WorkState) -> None:
    try:
        progress.write()
    except Lost as lost:
        log.warning("%s", lost)
        return
    Work.objects.filter(pk=progress.work.pk, state=WorkState.RUNNING, tries=progress.work.tries).update(
        state=state, ended_at=timezone.now()
    )


@contextmanager
def _signs_of_life(work: Work) -> Iterator[None]:
    """Another thread says every few seconds that this worker lives, whatever the work itself is busy with."""
    ended = threading.Event()

    def beat() -> None:
        while not ended.wait(BEAT):
            Work.objects.filter(pk=work.pk, tries=work.tries).update(beat_at=timezone.now())
        connection.close()  # this thread's own

    thread = threading.Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
