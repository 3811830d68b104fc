"""Moments as texts."""

from __future__ import annotations

import datetime as dt


def instant(moment: dt.datetime) -> str:
    """The form in which rows hold moments: UTC, to the microsecond, so that the order of texts is that of time."""
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
