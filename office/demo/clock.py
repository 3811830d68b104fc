"""The demo office's own time and its own dice, so that four seasons lie behind it and every start makes the same.

Only the demo turns the clock: the whole product asks `timezone.now()`, which asks the class put in place here.
"""

from __future__ import annotations

import base64
import datetime as dt
import random
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from unittest.mock import patch

from django.contrib.auth import base_user, hashers

SEED = 20260314


class Clock:
    """The moment the demo office is living through."""

    def __init__(self) -> None:
        self.moment = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)

    def turn_to(self, moment: dt.datetime) -> None:
        """Moves on; never back, since the trail is written in order."""
        self.moment = max(moment, self.moment + dt.timedelta(seconds=7))


@contextmanager
def in_its_own_time(seed: int = SEED) -> Iterator[Clock]:
    """Inside, now is what the clock says, and keys come from seeded dice: the demo is no secret."""
    clock, dice = Clock(), random.Random(seed)  # noqa: S311 - invented data, no secret

    class DemoTime(dt.datetime):
        @classmethod
        def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:  # type: ignore[override]
            return clock.moment.astimezone(tz) if tz else clock.moment.replace(tzinfo=None)

    def drawn(nbytes: int | None = None) -> str:
        return base64.urlsafe_b64encode(dice.randbytes(nbytes or 32)).rstrip(b"=").decode()

    # One password for all, told to everyone: it is hashed once and checked once, not for each of the demo's signatures.
    with (
        patch("django.utils.timezone.datetime", DemoTime),
        patch.object(secrets, "token_urlsafe", drawn),
        patch.object(base_user, "make_password", lru_cache(hashers.make_password)),
        patch.object(base_user, "check_password", _checked_once()),
    ):
        yield clock


def _checked_once() -> Callable[..., bool]:
    known = lru_cache(hashers.check_password)
    return lambda password, encoded, setter=None, preferred="default": known(password, encoded)
