"""System checks of the trail: the triggers stand, and SQLite's writers queue at BEGIN."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections

from office.audit import triggers


def triggers_stand(databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Asked for with `check --database default`: a later rebuild of a table drops its triggers silently on SQLite."""
    return [
        Error(sentence, hint="`manage.py migrate --skip-checks` makes them anew.", id="audit.E001")
        for alias in databases or []
        for sentence in triggers.missing(connections[alias])
    ]


def writers_queue(**kwargs: Any) -> list[CheckMessage]:
    """Two writers that read the chain's head before either locks would both hang their row on it."""
    settings = connections["default"].settings_dict
    if connections["default"].vendor != "sqlite" or settings["OPTIONS"].get("transaction_mode") == "IMMEDIATE":
        return []
    return [Error("SQLite needs transaction_mode IMMEDIATE, or the trail's chain can fork.", id="audit.E002")]


def register_all() -> None:
    register(triggers_stand, Tags.database)
    register(writers_queue)
