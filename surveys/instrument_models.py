"""The office's instruments, their calibrations, and what else was done to them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from office.keys import new_key

PERSON = settings.AUTH_USER_MODEL
LONGEST_FIRMWARE = 60


class Instrument(models.Model):
    """One piece of the office's kit."""

    identifier = models.CharField(max_length=20, unique=True)  # the office's own mark, as in T-07
    kind = models.CharField(max_length=12)  # computations.inputs.INSTRUMENT_KINDS
    maker = models.CharField(max_length=80, blank=True)
    serial_number = models.CharField(max_length=60, blank=True)
    firmware = models.CharField(max_length=LONGEST_FIRMWARE, blank=True)  # or software version, where it has one
    accuracy_class = models.CharField(max_length=3, blank=True)  # I | II | III (OIML R 35-1)
    limit_of_error = models.FloatField(null=True, blank=True)  # mm, or kg for a scale
    nominal_length_mm = models.FloatField(null=True, blank=True)
    reference_temperature_c = models.FloatField(default=20.0)
    expansion_per_k = models.FloatField(default=11.5e-6)
    keeper = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="instruments_kept")
    out_of_use_since = models.DateField(null=True, blank=True)
    out_of_use_reason = models.TextField(blank=True)
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        ordering: ClassVar = ["identifier"]

    def __str__(self) -> str:
        return self.identifier


class Calibration(models.Model):
    """One calibration record. A new one follows; old results keep the one of their day. Never altered."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    due_on = models.DateField()
    error = models.FloatField(default=0.0)  # true minus indicated at nominal length, mm; kg for a scale
    expanded_uncertainty = models.FloatField(null=True, blank=True)  # U at nominal length
    coverage_factor = models.FloatField(default=2.0)  # its k
    laboratory = models.CharField(max_length=120, blank=True)
    reference = models.CharField(max_length=80, blank=True)  # number of the calibration certificate
    accreditation = models.CharField(max_length=60, blank=True)  # the laboratory's own number
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-calibrated_on", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["instrument", "calibrated_on"], name="surveys_one_calibration_a_day"),
            models.CheckConstraint(
                condition=models.Q(due_on__gt=models.F("calibrated_on")), name="surveys_due_after_calibration"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument} on {self.calibrated_on}"


class Maintenance(models.Model):
    """One entry of an instrument's log: cleaned, repaired, given new firmware. Append-only."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="maintenance")
    done_on = models.DateField()
    what = models.TextField()
    done_by = models.CharField(max_length=120)  # a workshop, or a person whether or not the office knows them
    firmware = models.CharField(max_length=LONGEST_FIRMWARE, blank=True)  # what it runs since, where that changed
    recorded_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="maintenance_recorded")
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-done_on", "-pk"]
        verbose_name_plural = "maintenance"

    def __str__(self) -> str:
        return f"{self.instrument} on {self.done_on}"
