"""What the office does by itself once a day, whatever the number of workers and however often they start.

Each storey registers its own in the module `long_work` that holds the kind. Workers ask every few seconds; the day is
part of what is asked for, and the database takes it once. A machine that slept over the hour does it when it wakes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.utils import timezone

from office.work.actions import ask_for_work
from office.work.models import Work

DAILY: dict[str, Callable[[], dt.time | None]] = {}  # kind of work -> its hour, None: not at all


def daily(kind: str, hour: Callable[[], dt.time | None]) -> None:
    """Registers the kind of work `kind` for every day at `hour()`, in the office's time zone."""
    DAILY[kind] = hour


def ask_for_what_is_due(now: dt.datetime | None = None) -> list[Work]:
    """Queues what the day's hour has come for and nobody has queued yet."""
    local = timezone.localtime(now)
    asked = []
    for kind, hour in DAILY.items():
        at, once = hour(), once_a_day(kind, local.date())
        if at is not None and local.time() >= at and not Work.objects.filter(once=once).exists():
            asked.append(ask_for_work(by=None, kind=kind, once=once))
    return asked


def once_a_day(kind: str, day: dt.date) -> str:
    return f"{kind} {day.isoformat()}"


def latest(kind: str) -> Work | None:
    """The last piece of a daily kind, in whatever state."""
    return Work.objects.filter(kind=kind, once__isnull=False).order_by("-asked_at", "-pk").first()
