"""What must be well for the office to work: each a check of a few milliseconds, its answer one sentence.

A check raises with what is wrong; nothing it says names a person, an address or a path.
"""

from __future__ import annotations

import abc
import dataclasses
import shutil
import time
from pathlib import Path
from typing import NamedTuple

from asgiref.sync import sync_to_async
from django.conf import settings
from django.db import Error as DatabaseError
from django.utils import timezone
from health_check.base import HealthCheck
from health_check.exceptions import HealthCheckException, ServiceUnavailable

from office.audit.chain import GENESIS, HASHED, hash_of
from office.audit.models import Entry
from office.storage.files import try_out
from office.upkeep import backups
from office.work import workers
from office.work.actions import SILENT

LEAST_FREE = 1 << 30  # bytes (judgement, no source): a database's log and a night's archive
NONE_YET = "No backup has been made yet."
STORAGE_EVERY = 60.0  # seconds between two trials of the storage, which may be far away and cost by request


class Answer(NamedTuple):
    what: str
    well: bool
    said: str


@dataclasses.dataclass
class Check(HealthCheck):
    """In the thread of the request, on its connection. `look` returns what is worth knowing or raises."""

    title = ""

    @abc.abstractmethod
    def look(self) -> str:
        """What is worth knowing, in one sentence. Raises ServiceUnavailable with what is wrong."""

    def answer(self) -> Answer:
        try:
            return Answer(self.title, True, self.look())
        except HealthCheckException as error:
            return Answer(self.title, False, str(error.message))
        except (DatabaseError, OSError) as error:
            return Answer(self.title, False, f"It does not answer ({type(error).__name__}).")

    async def run(self) -> None:
        """For the library's own means of asking."""
        answer = await sync_to_async(self.answer)()
        if not answer.well:
            raise ServiceUnavailable(answer.said)


@dataclasses.dataclass
class Database(Check):
    """That it answers, and that the trail's latest row is what was hashed."""

    title = "Database and trail"

    def look(self) -> str:
        row = Entry.objects.order_by("-number").values_list(*HASHED, "hash").first()
        if row is None:
            return "The trail is empty."
        if hash_of(row[:-1]) != row[-1]:
            raise ServiceUnavailable("The trail's latest row does not have its hash; run verify_register.")
        number = row[HASHED.index("number")]
        if number == 1 and row[HASHED.index("previous_hash")] != GENESIS:
            raise ServiceUnavailable("The trail does not begin at its beginning; run verify_register.")
        return f"Row {number} is the trail's latest."


@dataclasses.dataclass
class Storage(Check):
    """That a file can be written, read and removed where photographs are kept."""

    title = "Storage of photographs"
    _well_until = 0.0

    def look(self) -> str:
        if time.monotonic() < Storage._well_until:
            return "It takes files."
        try:
            try_out()
        except OSError as error:
            raise ServiceUnavailable(f"It does not take files ({type(error).__name__}).") from error
        Storage._well_until = time.monotonic() + STORAGE_EVERY
        return "It takes files."


@dataclasses.dataclass
class Queue(Check):
    """That a worker lives."""

    title = "Long work"

    def look(self) -> str:
        sign = workers.last_sign()
        if sign is None:
            raise ServiceUnavailable("No worker runs.")
        silent = timezone.now() - sign
        if silent > SILENT:
            raise ServiceUnavailable(f"No worker has given a sign of life for {int(silent.total_seconds())} seconds.")
        return f"A worker gave a sign of life {max(0, int(silent.total_seconds()))} seconds ago."


@dataclasses.dataclass
class Backup(Check):
    """That the last good backup is not too old, and the latest by the clock has not failed. A new office needs none."""

    title = "Backups"

    def look(self) -> str:
        state = backups.state()
        if state.at is None and not state.failed and backups.is_fresh():
            return f"{NONE_YET} The office is new."
        if state.at is None:
            raise ServiceUnavailable(f"{'The daily backup failed. ' if state.failed else ''}{NONE_YET}")
        made = f"The last good backup is of {state.at:%Y-%m-%d %H:%M} UTC."
        if state.late or state.failed:
            raise ServiceUnavailable(f"{'The daily backup failed. ' if state.failed else ''}{made}")
        return made


@dataclasses.dataclass
class Disk(Check):
    """That there is room where the office writes."""

    title = "Disk"

    def look(self) -> str:
        free = free_bytes()
        least = min(free.values())
        if least < LEAST_FREE:
            raise ServiceUnavailable(f"Only {least >> 20} MiB are free; the office wants {LEAST_FREE >> 20}.")
        return f"{least >> 30} GiB are free."


def free_bytes() -> dict[str, int]:
    """Free room under the office's directory and that of its backups, for whoever the office runs as."""
    return {
        name: shutil.disk_usage(_existing(Path(path))).free
        for name, path in (("data", settings.DATA_DIR), ("backups", settings.BACKUP_DIR))
    }


def _existing(path: Path) -> Path:
    """The directory itself, or the nearest one above it that is there."""
    return next(one for one in (path, *path.absolute().parents) if one.is_dir())


# What a page needs, so that a balancer takes a server out that lacks it; and all that somebody has to look after.
SERVING: tuple[type[Check], ...] = (Database,)
EVERYTHING: tuple[type[Check], ...] = (Database, Storage, Queue, Backup, Disk)
