"""Who has to do with a boat: owners, people with another interest in her, skippers, and who is invited."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from office.keys import new_key


class Ownership(models.Model):
    boat = models.ForeignKey("boats.Boat", on_delete=models.PROTECT, related_name="ownerships")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="ownerships")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)  # last day

    class Meta:
        ordering: ClassVar = ["-since", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["boat", "person"], condition=models.Q(until__isnull=True), name="boats_owner_named_once"
            ),
            models.CheckConstraint(
                condition=models.Q(until__isnull=True) | models.Q(until__gte=models.F("since")),
                name="boats_ownership_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} of {self.boat}"


class InterestKind(models.TextChoices):
    DESIGNER = "designer", "Designer"
    BUILDER = "builder", "Builder"
    CREW = "crew", "Paid crew"
    OTHER = "other", "Other interest"


class Interest(models.Model):
    """An interest in a boat other than ownership, declared or found."""

    boat = models.ForeignKey("boats.Boat", on_delete=models.PROTECT, related_name="interests")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="interests")
    kind = models.CharField(max_length=10, choices=InterestKind)
    remark = models.CharField(max_length=200, blank=True)
    since = models.DateField()
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-since", "pk"]

    def __str__(self) -> str:
        return f"{self.person}: {self.get_kind_display()} of {self.boat}"


class Access(models.Model):
    """Somebody who sees a boat's pages without owning her: her skipper, by an owner's word."""

    boat = models.ForeignKey("boats.Boat", on_delete=models.PROTECT, related_name="accesses")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="accesses")
    given_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="accesses_given")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)  # last day

    class Meta:
        ordering: ClassVar = ["-since", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["boat", "person"], condition=models.Q(until__isnull=True), name="boats_access_given_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, skipper of {self.boat}"


class BoatPart(models.TextChoices):
    """What somebody is invited to be to a boat."""

    CO_OWNER = "co_owner", "Co-owner"
    SKIPPER = "skipper", "Skipper"
    NEW_OWNER = "new_owner", "New owner"


class BoatInvitation(models.Model):
    """A one-time link by which an owner lets somebody in. Only the SHA-256 of its token is kept."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    token_sha256 = models.CharField(max_length=64, unique=True)
    boat = models.ForeignKey("boats.Boat", on_delete=models.PROTECT, related_name="invitations")
    part = models.CharField(max_length=10, choices=BoatPart)
    email = models.EmailField(max_length=200)
    name = models.CharField(max_length=120)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="boat_invitations_sent"
    )
    invited_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="boat_invitations"
    )

    class Meta:
        ordering: ClassVar = ["-invited_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.get_part_display().lower()} of {self.boat}"
