"""Complaints, and work that the office itself found not to conform (ISO/IEC 17025:2017 7.9 and 7.10; from memory)."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from boats.models import Boat
from office.certificates.models import Certificate
from office.keys import new_key
from surveys.models import Instrument, Visit

PERSON = settings.AUTH_USER_MODEL


class Kind(models.TextChoices):
    COMPLAINT = "complaint", "Complaint"
    NONCONFORMING = "nonconforming", "Non-conforming work"


class State(models.TextChoices):
    RECEIVED = "received", "Received"
    ACKNOWLEDGED = "acknowledged", "Acknowledged"
    LOOKED_INTO = "looked_into", "Being looked into"
    DECIDED = "decided", "Decided"
    CLOSED = "closed", "Closed"


class Outcome(models.TextChoices):
    """The first four answer a complaint, the last two say what becomes of the office's own work."""

    JUSTIFIED = "justified", "Justified"
    PARTLY = "partly", "Justified in part"
    NOT_JUSTIFIED = "not_justified", "Not justified"
    NOT_OURS = "not_ours", "Not about the office's work"
    ACCEPTABLE = "acceptable", "The work is acceptable as it is"
    NOT_ACCEPTABLE = "not_acceptable", "The work is not acceptable"


OUTCOMES = {
    Kind.COMPLAINT: (Outcome.JUSTIFIED, Outcome.PARTLY, Outcome.NOT_JUSTIFIED, Outcome.NOT_OURS),
    Kind.NONCONFORMING: (Outcome.ACCEPTABLE, Outcome.NOT_ACCEPTABLE),
}


class Complaint(models.Model):
    """One matter from its receipt to its end. What was said, by whom and when stays as it was entered."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    kind = models.CharField(max_length=13, choices=Kind, default=Kind.COMPLAINT)
    state = models.CharField(max_length=12, choices=State, default=State.RECEIVED)
    edition = models.PositiveIntegerField(default=1)  # counts changes; a form made from an older one is stale
    received_on = models.DateField()
    text = models.TextField()
    recorded_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="complaints_recorded")
    recorded_at = models.DateTimeField(default=timezone.now)
    # From whom: a person the office knows, or a name and how they are reached, which can be taken away later.
    complainant = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="complaints_made")
    complainant_name = models.CharField(max_length=120, blank=True)
    complainant_contact = models.CharField(max_length=200, blank=True)
    # What it is about.
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, null=True, related_name="complaints")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, related_name="complaints")
    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, null=True, related_name="complaints")
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="complaints")
    concerned = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="complaints_about")

    acknowledged_on = models.DateField(null=True)
    investigator = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="complaints_looked_into")
    told_on = models.DateField(null=True)  # when the complainant was told what came of it
    told_how = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["-received_on", "-pk"]
        indexes: ClassVar = [
            models.Index(fields=["received_on", "id"], name="complaints_by_day"),
            models.Index(
                fields=["received_on", "id"], condition=~models.Q(state="closed"), name="complaints_not_closed"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display().lower()} of {self.received_on}"


class Note(models.Model):
    """What was done or heard on the way. Append-only."""

    complaint = models.ForeignKey(Complaint, on_delete=models.PROTECT, related_name="notes")
    text = models.TextField()
    noted_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="complaint_notes")
    noted_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["complaint", "pk"]
        verbose_name = "complaint's note"

    def __str__(self) -> str:
        return f"note of {self.noted_at:%Y-%m-%d}"


class Decision(models.Model):
    """What was found, what it comes to, and what is done. Append-only; taken up again, it gets another one."""

    complaint = models.ForeignKey(Complaint, on_delete=models.PROTECT, related_name="decisions")
    findings = models.TextField()
    outcome = models.CharField(max_length=14, choices=Outcome)
    measures = models.TextField(blank=True)  # what is done, for this one and so that it does not come again
    decided_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="complaint_decisions")
    decided_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["complaint", "pk"]
        verbose_name = "complaint's decision"

    def __str__(self) -> str:
        return self.get_outcome_display()


class Consequence(models.Model):
    """A certificate that was suspended, withdrawn, replaced or amended because of it. Append-only."""

    complaint = models.ForeignKey(Complaint, on_delete=models.PROTECT, related_name="consequences")
    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="complaint_consequences")
    became = models.CharField(max_length=10)  # suspended | withdrawn | replaced | amended
    noted_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="complaint_consequences")
    noted_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["complaint", "pk"]
        verbose_name = "complaint's consequence"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["complaint", "certificate", "became"], name="complaints_each_consequence_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.certificate} {self.became}"
