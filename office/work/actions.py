"""Long work asked for, tried again by hand, and taken up again where a worker was killed."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from office.audit.refusals import WrongState
from office.people.models import Person
from office.work import kinds
from office.work.doing import put_in_queue
from office.work.models import Work, WorkFile, WorkState

SILENT = dt.timedelta(seconds=60)  # without a sign of life for so long, a worker is taken for dead
KEPT = dt.timedelta(days=14)  # files that came of work, and rows of the library's queue about what has ended


def ask_for_work(*, by: Person | None, kind: str, title: str = "", once: str | None = None, **arguments: Any) -> Work:
    """Put a piece of work into the queue; it and its place there are stored together. Raises WrongState.

    `once`: what was asked for under the same word is returned instead of asked for again.
    """
    known = kinds.kind_of(kind)
    try:
        with transaction.atomic():
            if once and (former := Work.objects.filter(once=once).first()):
                return former
            work = Work.objects.create(
                kind=kind, title=title or known.title, arguments=arguments, asked_by=by, once=once
            )
            put_in_queue(work)
    except IntegrityError:
        if once and (former := Work.objects.filter(once=once).first()):
            return former  # somebody asked in the same moment
        raise
    return work


def try_again(*, work: Work) -> Work:
    """Failed work queued anew, with as many tries as at first; what was done before is done no more. WrongState."""
    with transaction.atomic():
        failed = Work.objects.filter(pk=work.pk, state=WorkState.FAILED)
        if not failed.update(state=WorkState.WAITING, tries=0, ended_at=None):
            raise WrongState("Only work that has failed is tried again.")
        put_in_queue(work)
    return work


def take_up_again() -> list[Work]:
    """Work whose worker has given no sign of life is queued once more; after so many tries it has failed.

    So is what waits without a place in the queue: its worker was killed between taking the place and beginning.
    """
    taken = []
    dead = timezone.now() - SILENT
    for work in Work.objects.filter(state=WorkState.RUNNING, beat_at__lt=dead):
        with transaction.atomic():
            mine = Work.objects.filter(pk=work.pk, state=WorkState.RUNNING, tries=work.tries, beat_at__lt=dead)
            if work.tries >= kinds.most_tries(work.kind):
                said = [*work.said, f"Its worker ended {work.tries} times before the work did; it is not tried again."]
                mine.update(state=WorkState.FAILED, ended_at=timezone.now(), said=said)
            elif mine.update(state=WorkState.WAITING):
                put_in_queue(work)
                taken.append(work)
    return taken + _without_a_place(dead)


def _without_a_place(dead: dt.datetime) -> list[Work]:
    taken = []
    waiting = Work.objects.filter(state=WorkState.WAITING, queued_as__isnull=False)
    begun = DBTaskResult.objects.filter(pk__in=waiting.values("queued_as")).exclude(status="READY")
    lost = begun.filter(Q(started_at__lt=dead) | Q(finished_at__lt=dead)).values_list("pk", flat=True)
    for place in list(lost):
        with transaction.atomic():
            work = Work.objects.select_for_update().filter(state=WorkState.WAITING, queued_as=place).first()
            if work is not None:
                put_in_queue(work)
                taken.append(work)
    return taken


def under_way(*, by: Person, kind: str, **arguments: Any) -> Work | None:
    """The same piece, asked for by the same person and not ended: a second click is shown it."""
    states = [WorkState.WAITING, WorkState.RUNNING]
    return Work.objects.filter(kind=kind, asked_by=by, state__in=states, arguments=arguments).first()


def tidy_up() -> None:
    """What came of work goes after two weeks, and the library's rows about what ended; the office's own word stays."""
    long_ago = timezone.now() - KEPT
    DBTaskResult.objects.finished().filter(finished_at__lt=long_ago).delete()
    WorkFile.objects.filter(made_at__lt=long_ago).delete()
