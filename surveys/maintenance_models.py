"""What was done to the office's instruments besides calibrating them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

LONGEST_FIRMWARE = 60


class Maintenance(models.Model):
    """One entry of an instrument's log: cleaned, repaired, given new firmware. Append-only."""

    instrument = models.ForeignKey("surveys.Instrument", on_delete=models.PROTECT, related_name="maintenance")
    done_on = models.DateField()
    what = models.TextField()
    done_by = models.CharField(max_length=120)  # a workshop, or a person whether or not the office knows them
    firmware = models.CharField(max_length=LONGEST_FIRMWARE, blank=True)  # what it runs since, where that changed
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="maintenance_recorded"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-done_on", "-pk"]
        verbose_name_plural = "maintenance"

    def __str__(self) -> str:
        return f"{self.instrument} on {self.done_on}"
