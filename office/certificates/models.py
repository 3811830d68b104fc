"""Certificates: frozen snapshots with their documents. What they state is never edited; only how they end is added."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models

from boats.models import Boat
from surveys.models import Visit

PERSON = settings.AUTH_USER_MODEL


class Ending(models.TextChoices):
    NONE = "", "Runs to its last day"
    REPLACED = "replaced", "Replaced"
    WITHDRAWN = "withdrawn", "Withdrawn"


class Certificate(models.Model):
    """What the office vouches for. In force on the days d with valid_from <= d < in_force_before.

    `in_force_before` starts as the day after `valid_until` and is only ever brought forward: by a replacement to
    the successor's first day, by a withdrawal to its day. At most one certificate of a boat is in force on any
    day: an exclusion constraint on PostgreSQL, triggers on SQLite.
    """

    number = models.CharField(max_length=20, unique=True)
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="certificates")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="certificates")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="successor")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="certificates_issued")
    issue_reason = models.TextField(blank=True)
    valid_from = models.DateField()
    valid_until = models.DateField()  # last day, as printed
    snapshot = models.TextField()  # RFC 8785 canonical JSON: everything the certificate states
    snapshot_sha256 = models.CharField(max_length=64)
    trail_head = models.CharField(max_length=64)  # the trail's head hash at issue, printed on the certificate

    in_force_before = models.DateField()
    ending = models.CharField(max_length=10, choices=Ending, default=Ending.NONE, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="certificates_ended")
    ending_reason = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["-issued_at", "-pk"]
        indexes: ClassVar = [models.Index(fields=["boat", "valid_from"], name="certificates_by_boat")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gte=models.F("valid_from")), name="certificates_from_before_until"
            ),
            models.CheckConstraint(
                condition=models.Q(in_force_before__gte=models.F("valid_from")), name="certificates_in_force_span"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class Suspension(models.Model):
    """Days on which a certificate is not in force although it has not ended: since <= d < lifted_from.

    Open while `lifted_from` is empty; at most one of a certificate is. What is written first is never altered, how
    it was lifted is added.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="suspensions")
    since = models.DateField()  # first day not in force
    reason = models.TextField()
    suspended_at = models.DateTimeField()
    suspended_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="suspensions_made")

    lifted_from = models.DateField(null=True, blank=True)  # first day in force again
    lift_reason = models.TextField(blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="suspensions_lifted"
    )

    class Meta:
        ordering: ClassVar = ["since", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["certificate"],
                condition=models.Q(lifted_from__isnull=True),
                name="certificates_one_open_suspension",
            ),
            models.CheckConstraint(
                condition=models.Q(lifted_from__isnull=True) | models.Q(lifted_from__gte=models.F("since")),
                name="certificates_suspension_span",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate} suspended from {self.since.isoformat()}"


class Document(models.Model):
    """One rendered PDF of a certificate. Rendered once, from the snapshot only; bytes and hash are never altered."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="documents")
    paper = models.CharField(max_length=10)  # A4 | Letter
    pdf = models.BinaryField()
    pdf_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["certificate", "paper"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["certificate", "paper"], name="certificates_one_document_per_paper")
        ]

    def __str__(self) -> str:
        return f"{self.certificate} on {self.paper}"
