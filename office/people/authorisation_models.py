"""Who is authorised for which method of measuring, from when until when (ISO/IEC 17025 6.2.5, 6.2.6; from memory)."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from computations.catalogue import METHODS
from office.keys import new_key

PERSON = settings.AUTH_USER_MODEL
REVIEW, SPOT_CHECK = "review", "spot_check"
# What is not measuring, and yet wants somebody who can: judging what others measured, and checking boats at an event.
KINDS_OF_WORK = {**METHODS, REVIEW: "Review of visits", SPOT_CHECK: "Spot checks at events"}


class Grounds(models.TextChoices):
    """On what an authorisation rests."""

    TRAINING = "training", "Training"
    WITNESSED = "witnessed", "A visit witnessed by the office"
    COMPARED = "compared", "Comparison with another measurer"
    EXPERIENCE = "experience", "Work of earlier years, looked through"


class Authorisation(models.Model):
    """One person for one method or kind of work. Kept for good: it runs out, or is withdrawn from a day on."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="authorisations")
    method = models.CharField(max_length=20)  # of KINDS_OF_WORK
    since = models.DateField()
    until = models.DateField(null=True, blank=True)  # the last day; none: until it is withdrawn
    grounds = models.CharField(max_length=12, choices=Grounds)
    evidence = models.TextField()  # which training, which visit, with whom compared and how far they agreed
    granted_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="authorisations_granted")
    granted_at = models.DateTimeField(default=timezone.now)
    withdrawn_from = models.DateField(null=True, blank=True)  # the first day without it
    withdrawn_by = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="authorisations_withdrawn"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawal_reason = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["method", "since", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(until__isnull=True) | models.Q(until__gte=models.F("since")),
                name="people_authorisation_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_from__isnull=True) | ~models.Q(withdrawal_reason=""),
                name="people_withdrawal_has_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"authorisation for {self.method_words.lower()}"

    @property
    def method_words(self) -> str:
        return KINDS_OF_WORK.get(self.method, self.method)
