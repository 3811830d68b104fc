"""Doing a piece of long work: claimed by one worker, with signs of life, ended with a word on how."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction
from django.utils import timezone

from office.audit.refusals import Refusal
from office.work import kinds
from office.work.models import Work, WorkState
from office.work.progress import Lost, Progress

log = logging.getLogger(__name__)

BEAT = 10.0  # seconds between two signs of life


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
