from __future__ import annotations

from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate

from office.audit import checks, triggers


class AuditConfig(AppConfig):
    name = "office.audit"
    label = "audit"
    verbose_name = "the trail"

    def ready(self) -> None:
        checks.register_all()
        post_migrate.connect(_triggers_anew, sender=self, dispatch_uid="audit.triggers")


def _triggers_anew(*, using: str, **kwargs: Any) -> None:
    """SQLite loses a table's triggers whenever a migration rebuilds it, without a word."""
    triggers.create_triggers(connections[using])
