"""Long work: what a worker does beside the pages, how far it is, and how it ended."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from office.keys import new_key


class WorkState(models.TextChoices):
    WAITING = "waiting", "Waiting for a worker"
    RUNNING = "running", "Under way"
    DONE = "done", "Done"
    FAILED = "failed", "Failed"


class Work(models.Model):
    """One piece of long work. The row is the office's own word on it; the queue's rows come and go."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    kind = models.CharField(max_length=40)  # office.work.kinds
    title = models.CharField(max_length=200)
    arguments = models.JSONField(default=dict)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="work_asked_for"
    )  # null: the office's own machine
    asked_at = models.DateTimeField(default=timezone.now)
    state = models.CharField(max_length=8, choices=WorkState, default=WorkState.WAITING)
    tries = models.PositiveSmallIntegerField(default=0)
    began_at = models.DateTimeField(null=True)
    beat_at = models.DateTimeField(null=True)  # a sign of life of the worker that does it
    ended_at = models.DateTimeField(null=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    said = models.JSONField(default=list)  # sentences, oldest first
    leads_to = models.CharField(max_length=300, blank=True)  # the page that shows what came of it
    once = models.CharField(max_length=80, null=True, unique=True)  # noqa: DJ001  ("backup 2026-07-01": asked for once)
    queued_as = models.UUIDField(null=True)  # its latest place in the library's queue
    not_before = models.DateTimeField(null=True)  # it failed for a passing reason and is tried again then

    class Meta:
        ordering: ClassVar = ["-asked_at", "-pk"]
        verbose_name_plural = "work"
        indexes: ClassVar = [models.Index(fields=["state", "beat_at"], name="work_by_state")]

    def __str__(self) -> str:
        return self.title

    @property
    def ended(self) -> bool:
        return self.state in {WorkState.DONE, WorkState.FAILED}

    @property
    def is_put_off(self) -> bool:
        return self.state == WorkState.WAITING and self.not_before is not None and self.not_before > timezone.now()


class WorkFile(models.Model):
    """A file that came of a piece of work, kept for a while for who asked for it."""

    work = models.OneToOneField(Work, on_delete=models.CASCADE, related_name="file")
    name = models.CharField(max_length=120)
    content_type = models.CharField(max_length=60)
    content = models.BinaryField()
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return self.name


class Worker(models.Model):
    """A process that does long work, with its latest sign of life."""

    name = models.CharField(max_length=120, unique=True)  # machine and process
    since = models.DateTimeField(default=timezone.now)
    beat_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-beat_at"]

    def __str__(self) -> str:
        return self.name
