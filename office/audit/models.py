"""The trail: one row per change, chained by hash, never altered.

No foreign keys: rows hold keys and labels, so that they stand whatever becomes of the things they speak of.
"""

from __future__ import annotations

from typing import ClassVar, NoReturn

from django.db import models


class TrailRefusal(Exception):
    """Raised when something tries to alter or remove a row of the trail."""


class Entry(models.Model):
    """Who did what to which thing, when and why. Written by `trail.record` only."""

    number = models.BigAutoField(primary_key=True)
    at = models.CharField(max_length=32)  # UTC, ISO 8601 with microseconds and Z: the text that was hashed
    actor = models.CharField(max_length=32, blank=True)  # a person's key; empty: the office's own machine
    role = models.CharField(max_length=120, blank=True)
    verb = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=64)
    subject_label = models.CharField(max_length=200, blank=True)
    boat = models.CharField(max_length=64, blank=True)
    visit = models.CharField(max_length=64, blank=True)
    certificate = models.CharField(max_length=64, blank=True)
    before = models.TextField(blank=True)  # canonical JSON (RFC 8785) or empty
    after = models.TextField(blank=True)
    reason = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)  # no index: rows are found by number, and each index costs every write

    class Meta:
        ordering: ClassVar = ["number"]
        verbose_name_plural = "entries"
        indexes: ClassVar = [
            models.Index(fields=["boat", "number"], name="trail_by_boat"),
            models.Index(fields=["visit", "number"], name="trail_by_visit"),
            models.Index(fields=["certificate", "number"], name="trail_by_certificate"),
            models.Index(fields=["actor", "number"], name="trail_by_actor"),
            models.Index(fields=["subject", "number"], name="trail_by_subject"),
            models.Index(fields=["verb", "number"], name="trail_by_verb"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.at} {self.verb} {self.subject_label}"

    def save(self, *args: object, **kwargs: object) -> NoReturn:
        raise TrailRefusal("The trail is written by office.audit.trail.record only.")

    def delete(self, *args: object, **kwargs: object) -> NoReturn:
        raise TrailRefusal("A row of the trail is never removed.")
