"""How much one may ask in a minute, counted in the database: several processes and servers count together."""

from __future__ import annotations

import datetime as dt

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from office.interface.models import Minute

WITH_A_KEY = 120  # requests a minute (common practice, no source)
WITHOUT = 30
FORGOTTEN = dt.timedelta(hours=1)


class TooMany(Exception):
    """The limit is reached; `wait` in whole seconds until the next minute."""

    def __init__(self, wait: int) -> None:
        super().__init__(f"wait {wait} s")
        self.wait = wait


def count(asker: str, most: int) -> int:
    """Counts one request; returns how many are left in this minute. Raises TooMany."""
    now = timezone.now()
    minute = now.replace(second=0, microsecond=0)
    with transaction.atomic():
        if not _add(asker, minute):
            try:
                with transaction.atomic():
                    Minute.objects.create(asker=asker, minute=minute, count=1)
                Minute.objects.filter(minute__lt=minute - FORGOTTEN).delete()
            except IntegrityError:  # another process was first
                _add(asker, minute)
        used = Minute.objects.values_list("count", flat=True).get(asker=asker, minute=minute)
    if used > most:
        raise TooMany(60 - now.second)
    return most - used


def _add(asker: str, minute: dt.datetime) -> int:
    return Minute.objects.filter(asker=asker, minute=minute).update(count=F("count") + 1)
