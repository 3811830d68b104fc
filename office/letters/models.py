"""Letters on their way: written in the transaction of what they tell, sent afterwards, once."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from office.keys import new_key


class LetterState(models.TextChoices):
    WAITING = "waiting", "Waits to be sent"
    SENDING = "sending", "Being sent"
    SENT = "sent", "Sent"
    FAILED = "failed", "Could not be sent"
    UNSURE = "unsure", "May have been sent"  # whoever sent it was killed over it


class Letter(models.Model):
    """One letter to one address. Address and text lie sealed, and are gone once it is sent."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    about = models.CharField(max_length=60)  # "invitation", "reminder": no name, no address
    sealed = models.TextField()  # office.letters.sealing
    state = models.CharField(max_length=8, choices=LetterState, default=LetterState.WAITING)
    written_at = models.DateTimeField(default=timezone.now)
    due_at = models.DateTimeField(default=timezone.now)
    claimed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    trouble = models.CharField(max_length=60, blank=True)  # the kind of the last error: its text may hold the address

    class Meta:
        ordering: ClassVar = ["-written_at", "-pk"]
        indexes: ClassVar = [models.Index(fields=["state", "due_at"], name="letters_due")]

    def __str__(self) -> str:
        return f"{self.about} of {self.written_at:%Y-%m-%d %H:%M}"
