"""People, the roles they hold and the links that invite them."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Value
from django.db.models.functions import Lower, StrIndex, Substr
from django.utils import timezone

from office.keys import new_key
from office.people.authorisation_models import Authorisation

__all__ = [
    "Authorisation",
    "Invitation",
    "Lengths",
    "Person",
    "PersonManager",
    "Role",
    "RoleHolding",
    "labels_of",
]


class Role(models.TextChoices):
    MEASURER = "measurer", "Measurer"
    REVIEWER = "reviewer", "Reviewer"
    CERTIFIER = "certifier", "Certifier"
    OWNER = "owner", "Owner"
    RACE_COMMITTEE = "race_committee", "Race committee"
    ADMINISTRATOR = "administrator", "Administrator"


def labels_of(roles: Collection[str]) -> list[str]:
    """The roles' plain names in the order of the list above."""
    return [str(role.label) for role in Role if role in roles]


class Lengths(models.TextChoices):
    """How a person wants lengths shown. What is typed, stored and certified is not touched by it."""

    MILLIMETRES = "mm", "Millimetres only"
    FEET = "feet", "Feet, inches and sixteenths beside the millimetres"


class PersonManager(BaseUserManager["Person"]):
    def create_user(self, email: str, name: str, password: str | None = None, **fields: Any) -> Person:
        person = self.model(email=self.normalize_email(email).lower(), name=name, **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def get_by_natural_key(self, username: str | None) -> Person:
        return self.get(email__iexact=(username or "").strip())


class Person(AbstractBaseUser):
    """Someone who signs in. The trail knows a person by `key`, so the name can go without touching a row."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    email = models.EmailField(max_length=200)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now)
    lengths = models.CharField(max_length=4, choices=Lengths, default=Lengths.MILLIMETRES)
    # The name without its first word, kept by the database: people are looked for by their family name.
    name_after_first = models.GeneratedField(
        expression=Lower(Substr("name", StrIndex("name", Value(" ")) + 1)),
        output_field=models.CharField(max_length=120),
        db_persist=True,
        db_index=True,
    )

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        ordering: ClassVar = ["name", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(Lower("email"), name="people_one_person_per_email")]
        indexes: ClassVar = [models.Index(Lower("name"), name="people_by_name")]

    def __str__(self) -> str:
        return self.name

    @property
    def roles(self) -> frozenset[str]:
        """The roles held today; read once per loaded person."""
        if not hasattr(self, "_roles"):
            self._roles = frozenset(row.role for row in self.role_holdings.all() if row.ended_at is None)
        return self._roles

    @property
    def role_labels(self) -> list[str]:
        return labels_of(self.roles)

    def holds(self, *roles: str) -> bool:
        return self.is_active and bool(self.roles.intersection(roles))


class RoleHolding(models.Model):
    """A role given to a person, from when until when: kept, never deleted."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="role_holdings")
    role = models.CharField(max_length=20, choices=Role)
    given_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["given_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person", "role"],
                condition=models.Q(ended_at__isnull=True),
                name="people_role_held_once",
            )
        ]

    def __str__(self) -> str:
        return self.get_role_display()


class Invitation(models.Model):
    """A one-time link. Only the SHA-256 of its token is kept."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    token_sha256 = models.CharField(max_length=64, unique=True)
    email = models.EmailField(max_length=200)
    name = models.CharField(max_length=120)
    roles = models.JSONField(default=list)
    invited_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="invitations_sent", null=True)
    invited_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="invitations", null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-invited_at", "-pk"]

    def __str__(self) -> str:
        return f"invitation of {self.email}"

    @property
    def role_labels(self) -> list[str]:
        return labels_of(self.roles)
