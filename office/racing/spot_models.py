"""A spot check: a few readings at an event, held against the certificate in force. Readings are rows that only grow."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from boats.models import Boat
from office.certificates.models import Certificate
from office.keys import new_key

PERSON = settings.AUTH_USER_MODEL


class SpotCheck(models.Model):
    """`items`: the dimensions to check, [slug, mast]. `outcome`: what was found, frozen when it is finished."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    event = models.ForeignKey("racing.Event", on_delete=models.PROTECT, related_name="spot_checks")
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="spot_checks")
    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="spot_checks")
    day = models.DateField()
    place = models.CharField(max_length=120, blank=True)
    air_temperature_c = models.FloatField(null=True, blank=True)
    items = models.JSONField()
    begun_at = models.DateTimeField(default=timezone.now)
    begun_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    finished_at = models.DateTimeField(null=True, blank=True)
    finished_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    remark = models.TextField(blank=True)
    outcome = models.JSONField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-begun_at", "-pk"]

    def __str__(self) -> str:
        return f"spot check of {self.boat} on {self.day.isoformat()}"


class SpotInstrument(models.Model):
    """An inspector's own piece, described; one of the office's kit is known by its identifier and needs no row."""

    spot_check = models.ForeignKey(SpotCheck, on_delete=models.PROTECT, related_name="instruments")
    identifier = models.CharField(max_length=20)
    kind = models.CharField(max_length=12)
    accuracy_class = models.CharField(max_length=3, blank=True)
    limit_of_error = models.FloatField(null=True, blank=True)  # mm, or kg for a scale
    nominal_length_mm = models.FloatField(null=True, blank=True)
    described_at = models.DateTimeField(default=timezone.now)
    described_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["identifier"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["spot_check", "identifier"], name="racing_spot_instrument_once")
        ]

    def __str__(self) -> str:
        return self.identifier


class SpotReading(models.Model):
    """One take, or what replaces it; without a value it is taken away. The one that none replaces stands."""

    spot_check = models.ForeignKey(SpotCheck, on_delete=models.PROTECT, related_name="readings")
    token = models.CharField(max_length=64, unique=True)  # made on the device, or here
    slug = models.CharField(max_length=60)
    mast = models.CharField(max_length=10)
    position = models.CharField(max_length=40, blank=True)
    take = models.PositiveSmallIntegerField()
    value = models.FloatField(null=True)  # mm or kg
    written = models.CharField(max_length=40, blank=True)
    unit_written = models.CharField(max_length=12, blank=True)
    instrument = models.CharField(max_length=20, blank=True)
    remark = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    recorded_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["spot_check", "slug", "mast", "position", "take"],
                condition=models.Q(replaces__isnull=True),
                name="racing_spot_take_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.slug} {self.mast} {self.position} {self.take}".strip()
