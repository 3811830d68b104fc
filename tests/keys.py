"""The office's keys in tests: made once for the whole run, so that a certificate can be issued in any of them.

These have no rows in the trail, which begins empty in every test. A test that verifies the register, or asks about
the keys themselves, takes `own_keys` or `no_keys`.
"""

from __future__ import annotations

import pytest
from django.db import connection

from office.audit import triggers
from office.audit.models import Entry
from office.certificates.models import OfficeKey, Seal
from office.certificates.seal import actions


def put_in_place() -> None:
    """Root, paper key and statement key, as an office has had them for long; without their rows of the trail."""
    actions.make_keys(by=None)
    _forget(Entry)


def take_away() -> None:
    _forget(OfficeKey)


def _forget(model: type[Entry | OfficeKey]) -> None:
    if model is OfficeKey and Seal.objects.exists():
        raise RuntimeError("certificates are sealed with these keys already")
    with triggers.set_aside(connection):
        model._base_manager.all()._raw_delete(connection.alias)
        connection.check_constraints()  # PostgreSQL alters no table for which a deferred check still waits


@pytest.fixture
def no_keys(db: None) -> None:
    """An office that has never made its keys."""
    take_away()


@pytest.fixture
def own_keys(db: None) -> None:
    """An office that made its keys as an office does, with rows in the trail."""
    take_away()
    actions.make_keys(by=None, reason="The office opens.")
