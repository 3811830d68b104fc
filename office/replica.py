"""Public pages may read from a streaming replica of the database; everything else stays with the database itself.

A replica is a moment behind: a public page may know a withdrawal a second later than the office's own pages.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from functools import wraps
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS
from django.http import HttpRequest, HttpResponseBase

REPLICA = "replica"
_reading = ContextVar("reading_from_replica", default=False)


def from_replica(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """View decorator: what this page reads comes from the replica, where there is one."""

    @wraps(view)
    def reading(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        before = _reading.set(True)
        try:
            return view(request, *args, **kwargs)
        finally:
            _reading.reset(before)

    return reading


def alias() -> str:
    """Where a public page reads that asks the database itself."""
    return REPLICA if REPLICA in settings.DATABASES else DEFAULT_DB_ALIAS


class PublicReads:
    """Database router (Django's "Multiple databases"): says a word about reads within `from_replica` alone."""

    def db_for_read(self, model: type[Any], **hints: Any) -> str | None:
        return REPLICA if _reading.get() and REPLICA in settings.DATABASES else None

    def allow_relation(self, one: Any, other: Any, **hints: Any) -> bool:
        return True  # both hold the same rows

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool | None:
        return False if db == REPLICA else None
