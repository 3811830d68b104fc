"""How much one may ask in a minute, counted in the database: several processes and servers count together.

A process takes some requests of an asker's minute at once and grants them without asking again, so that not each costs
a write. All together never grant more than the limit; of a limit of 120 each further process may let 9 go unused.
"""

from __future__ import annotations

import datetime as dt
import threading

from django.db import connection, transaction
from django.utils import timezone

from office.interface.models import Minute

WITH_A_KEY = 120  # requests a minute (common practice, no source)
WITHOUT = 30
AT_ONCE = 10  # requests a process takes at most; of a small limit a twelfth, so that little of it can lie idle
PARTS = 12
FORGOTTEN = dt.timedelta(hours=1)
_TAKE = """
INSERT INTO interface_minute (asker, minute, count) VALUES (%s, %s, %s)
ON CONFLICT (asker, minute) DO UPDATE SET count = interface_minute.count + excluded.count RETURNING count
"""


class TooMany(Exception):
    """The limit is reached; `wait` in whole seconds until the next minute."""

    def __init__(self, wait: int) -> None:
        super().__init__(f"wait {wait} s")
        self.wait = wait


class Taken:
    """What this process has taken of the present minute and not granted yet, by asker; below nought: all is gone."""

    def __init__(self) -> None:
        self._minute: dt.datetime | None = None
        self._left: dict[tuple[str, int], int] = {}
        self._lock = threading.Lock()

    def grant(self, asker: tuple[str, int], minute: dt.datetime) -> bool | None:
        """Whether one of those taken is this asker's; None where some have to be taken first."""
        with self._lock:
            if minute != self._minute:
                self._minute, self._left = minute, {}
            left = self._left.get(asker, 0)
            if left == 0:
                return None
            self._left[asker] = left - 1 if left > 0 else left
            return left > 0

    def add(self, asker: tuple[str, int], minute: dt.datetime, count: int) -> None:
        """Below nought: none may be had any more in this minute."""
        with self._lock:
            if minute == self._minute:
                self._left[asker] = count if count < 0 else max(self._left.get(asker, 0), 0) + count

    def forget(self) -> None:
        with self._lock:
            self._left.clear()


taken = Taken()


def count(asker: str, most: int) -> None:
    """Counts one request. Raises TooMany."""
    now = timezone.now()
    minute, known = now.replace(second=0, microsecond=0), (asker, most)
    is_granted = taken.grant(known, minute)
    if is_granted is None:
        at_once = max(1, min(AT_ONCE, most // PARTS))
        used = _take(asker, minute, at_once)
        granted = min(at_once, most - (used - at_once))
        is_granted = granted > 0
        taken.add(known, minute, granted - 1 if is_granted else -1)
    if not is_granted:
        raise TooMany(60 - now.second)


def _take(asker: str, minute: dt.datetime, many: int) -> int:
    """How many have been taken of this minute, with these."""
    values = [asker, connection.ops.adapt_datetimefield_value(minute), many]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(_TAKE, values)
        ((used,),) = cursor.fetchall()
        if used == many:
            Minute.objects.filter(minute__lt=minute - FORGOTTEN).delete()
    return int(used)
