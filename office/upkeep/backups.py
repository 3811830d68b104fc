"""How the office's backups stand: the last good one, and whether the latest by the clock failed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.conf import settings
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from office.audit.models import Entry
from office.backups import making
from office.policy import queries as policy_queries
from office.work import daily
from office.work.hours import hour_of
from office.work.models import Work, WorkState

EVERY = dt.timedelta(days=2)  # the office's own habit; common practice, no source


@dataclass(frozen=True, slots=True)
class Backups:
    """`at`: when everything was last backed up whole. `failed`: the latest by the clock, where it has failed since."""

    at: dt.datetime | None
    failed: Work | None
    hour: dt.time | None

    @property
    def late(self) -> bool:
        return self.at is None or timezone.now() - self.at > EVERY

    @property
    def trouble(self) -> str:
        """What the failed one said last."""
        return str(self.failed.said[-1]) if self.failed and self.failed.said else ""


def hour() -> dt.time | None:
    """The hour of the daily backup; None where it is off, or nobody has said yet for whom backups are made."""
    if not (settings.BACKUP_RECIPIENT or making.recipient_file().is_file()):
        return None
    return hour_of(settings.BACKUP_AT)


def is_fresh() -> bool:
    """Whether the office is younger than its last backup might be: there was no night yet that it has missed.

    It begins with the trail's first row. A demonstration writes itself a past: it begins when its database was made.
    """
    first = Entry.objects.order_by("number").values_list("at", flat=True).first()
    began = dt.datetime.fromisoformat(first) if first else None
    if began is None or policy_queries.current().is_demo:
        began = MigrationRecorder.Migration.objects.earliest("applied").applied
    return timezone.now() - began <= EVERY


def state() -> Backups:
    entry, latest = making.last_good(), daily.latest("backup")
    at = dt.datetime.fromisoformat(entry.at) if entry else None
    went_wrong = latest is not None and (latest.state == WorkState.FAILED or latest.is_put_off)
    since = latest is not None and (at is None or at < latest.asked_at)
    return Backups(at, latest if went_wrong and since else None, hour())
