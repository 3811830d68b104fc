"""Access keys of organisers' systems, and the count of what each asks in a minute."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from office.keys import new_key

PERSON = settings.AUTH_USER_MODEL


class Scope(models.TextChoices):
    """What a key opens."""

    VALIDITY = "validity", "How boats' certificates stand"
    CERTIFICATES = "certificates", "What certificates state"
    EVENTS = "events", "Results of the entry lists of its holder's events"


class AccessKey(models.Model):
    """A secret that another system sends with each request. Only its SHA-256 is kept."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    token_sha256 = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=120)  # the system that uses it
    holder = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="access_keys")  # who answers for it
    scopes = models.JSONField(default=list)
    made_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="access_keys_made")
    made_at = models.DateTimeField(default=timezone.now)
    expires_on = models.DateField()  # last day
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="access_keys_revoked"
    )
    revocation = models.TextField(blank=True)
    last_used_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-made_at", "-pk"]

    def __str__(self) -> str:
        return self.name

    @property
    def scope_labels(self) -> list[str]:
        return [str(scope.label) for scope in Scope if scope in self.scopes]

    @property
    def state(self) -> str:
        if self.revoked_at is not None:
            return "withdrawn"
        return "expired" if self.expires_on < timezone.localdate() else "in_force"


class Minute(models.Model):
    """How often one asked within one minute: in the database, so that every process counts the same."""

    asker = models.CharField(max_length=80)  # a key, or an address where no key is needed
    minute = models.DateTimeField()
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["asker", "minute"], name="interface_one_count_a_minute")
        ]

    def __str__(self) -> str:
        return f"{self.asker}: {self.count} in {self.minute:%H:%M}"
