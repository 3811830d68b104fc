"""Figures for a monitor: what the requests were like, and how the office stands.

The requests are counted by office.upkeep.counting. With several processes each counts into files
of its own under PROMETHEUS_MULTIPROC_DIR (`serve` sets and empties it), and whoever is asked adds them up. What the
office is like is asked of the database at that moment.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterator

from django.db import Error as DatabaseError
from django.db.models import Count, Min, Q
from django.utils import timezone
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector

from office.certificates.models import Certificate
from office.letters.queries import not_sent
from office.upkeep import backups, health
from office.work import workers
from office.work.models import Work, WorkState
from surveys.models import Visit, VisitState

CONTENT_TYPE = CONTENT_TYPE_LATEST
DIRECTORY = "PROMETHEUS_MULTIPROC_DIR"  # the library's own name

WAITING = (VisitState.SIGNED, VisitState.UNDER_REVIEW)


class Office:
    """The office's own figures, asked for when they are read."""

    def collect(self) -> Iterator[Metric]:
        for name, value in health.free_bytes().items():
            yield _gauge(f"office_free_bytes_{name}", f"Free room on the disk of the {name}.", value)
        try:
            figures = list(_of_the_database())
        except DatabaseError:
            figures = []
        yield _gauge("office_database_up", "1 where the database answers.", float(bool(figures)))
        yield from figures


def _of_the_database() -> Iterator[Metric]:
    now = timezone.now()
    waiting = Visit.objects.filter(state__in=WAITING).count()
    yield _gauge("office_visits_waiting", "Signed visits that wait for a reviewer, or are with one.", waiting)
    yield _gauge("office_certificates_issued", "Certificates in the register.", Certificate.objects.count())
    due = Q(state=WorkState.WAITING) & (Q(not_before=None) | Q(not_before__lte=now))
    queue = Work.objects.filter(state__in=[WorkState.WAITING, WorkState.RUNNING]).aggregate(
        waiting=Count("pk", filter=due), running=Count("pk", filter=Q(state=WorkState.RUNNING)),
        oldest=Min("asked_at", filter=due),
    )  # fmt: skip
    yield _gauge("office_work_waiting", "Pieces of long work that wait for a worker.", queue["waiting"])
    yield _gauge("office_work_running", "Pieces of long work under way.", queue["running"])
    yield _gauge("office_work_oldest_seconds", "How long the oldest of them has waited.", _age(queue["oldest"], now))
    failed = Work.objects.filter(state=WorkState.FAILED, ended_at__gte=now - dt.timedelta(days=1)).count()
    yield _gauge("office_work_failed_last_day", "Pieces of long work that failed within a day.", failed)
    unsent = not_sent().count()
    yield _gauge("office_letters_not_sent", "Letters that a mail server has not taken, or may not have.", unsent)
    sign = workers.last_sign()
    yield _gauge(
        "office_worker_last_sign_timestamp_seconds", "Any worker's sign of life.", sign.timestamp() if sign else 0.0
    )
    state = backups.state()
    at = state.at.timestamp() if state.at else 0.0
    yield _gauge("office_backup_last_good_timestamp_seconds", "When everything was last backed up whole.", at)
    yield _gauge("office_backup_failed", "1 where the latest daily backup failed.", float(state.failed is not None))


def _gauge(name: str, what: str, value: float) -> Metric:
    return GaugeMetricFamily(name, what, value=value)


def _age(since: dt.datetime | None, now: dt.datetime) -> float:
    """Seconds; 0 where there is nothing."""
    return max(0.0, (now - since).total_seconds()) if since else 0.0


def text() -> bytes:
    """Everything, as Prometheus reads it."""
    registry = REGISTRY
    if os.environ.get(DIRECTORY):
        registry = CollectorRegistry()
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    own = CollectorRegistry()
    own.register(Office())
    return bytes(generate_latest(registry) + generate_latest(own))
