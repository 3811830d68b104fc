"""Which workers live: each gives a sign every few seconds, and takes its name off when it ends."""

from __future__ import annotations

import datetime as dt
import os
import socket

from django.utils import timezone

from office.work.actions import SILENT
from office.work.models import Worker

KEPT = dt.timedelta(days=7)  # the row of a worker that was killed


def own_name() -> str:
    return f"{socket.gethostname()[:100]}:{os.getpid()}"


def give_sign(name: str) -> None:
    now = timezone.now()
    if not Worker.objects.filter(name=name).update(beat_at=now):
        Worker.objects.filter(beat_at__lt=now - KEPT).delete()
        Worker.objects.get_or_create(name=name)


def take_off(name: str) -> None:
    Worker.objects.filter(name=name).delete()


def last_sign() -> dt.datetime | None:
    """When any worker last gave one; None where none ever did, or each ended as it should."""
    return Worker.objects.order_by("-beat_at").values_list("beat_at", flat=True).first()


def alive() -> int:
    return Worker.objects.filter(beat_at__gte=timezone.now() - SILENT).count()


def any_alive() -> bool:
    return alive() > 0
