"""System checks: settings of the upkeep that cannot be read are said before anything starts."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, register

from office.storage.address import address_of
from office.work.hours import hour_of


def hours_can_be_read(**kwargs: Any) -> list[CheckMessage]:
    found: list[CheckMessage] = []
    for name, text in (("OFFICE_BACKUP_AT", settings.BACKUP_AT), ("OFFICE_REMINDERS_AT", settings.REMINDERS_AT)):
        try:
            hour_of(text)
        except ValueError as error:
            found.append(Error(f"{name}: {error}", id="upkeep.E001"))
    return found


def storage_can_be_read(**kwargs: Any) -> list[CheckMessage]:
    try:
        address_of(settings.PHOTO_STORAGE)
    except ValueError as error:
        return [Error(f"OFFICE_PHOTO_STORAGE: {error}", id="upkeep.E002")]
    return []


def register_all() -> None:
    register(storage_can_be_read)
    register(hours_can_be_read)
