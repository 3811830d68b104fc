from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections
from django.db.models.signals import post_migrate

from office.certificates import constraints


class CertificatesConfig(AppConfig):
    name = "office.certificates"
    label = "certificates"
    verbose_name = "certificates"

    def ready(self) -> None:
        register(constraints_stand, Tags.database)
        post_migrate.connect(_constraints_anew, sender=self, dispatch_uid="certificates.constraints")


def constraints_stand(databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Asked for with `check --database default`: a later rebuild of the table drops its triggers on SQLite."""
    return [
        Error(sentence, hint="`manage.py migrate --skip-checks` makes it anew.", id="certificates.E001")
        for alias in databases or []
        for sentence in constraints.missing(connections[alias])
    ]


def _constraints_anew(*, using: str, **kwargs: Any) -> None:
    constraints.create(connections[using])
