"""Long work asked for, and taken up again where a worker was killed."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction
from django.utils import timezone

from office.people.models import Person
from office.work import kinds
from office.work.models import Work, WorkState
from office.work.tasks import do_work

SILENT = dt.timedelta(seconds=60)  # without a sign of life for so long, a worker is taken for dead
MOST_TRIES = 3


@transaction.atomic
def ask_for_work(*, by: Person | None, kind: str, title: str = "", **arguments: Any) -> Work:
    """Put a piece of work into the queue; it and its place there are stored together. Raises WrongState."""
    known = kinds.kind_of(kind)
    work = Work.objects.create(kind=kind, title=title or known.title, arguments=arguments, asked_by=by)
    do_work.enqueue(work.key)
    return work


def take_up_again() -> list[Work]:
    """Work whose worker has given no sign of life is queued once more; after three tries it has failed."""
    taken = []
    dead = timezone.now() - SILENT
    for work in Work.objects.filter(state=WorkState.RUNNING, beat_at__lt=dead):
        with transaction.atomic():
            mine = Work.objects.filter(pk=work.pk, state=WorkState.RUNNING, tries=work.tries, beat_at__lt=dead)
            if work.tries >= MOST_TRIES:
                said = [*work.said, f"Its worker ended {work.tries} times before the work did; it is not tried again."]
                mine.update(state=WorkState.FAILED, ended_at=timezone.now(), said=said)
            elif mine.update(state=WorkState.WAITING):
                do_work.enqueue(work.key)
                taken.append(work)
    return taken
