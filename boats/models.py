"""Boats, the designs they are built to, what owners declare, and rigs with every spar's identification."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone

from boats.people_models import Access, BoatInvitation, BoatPart, Interest, InterestKind, Ownership
from computations.catalogue import DIMENSIONS
from office.keys import new_key

__all__ = [
    "NOT_INDEXED",
    "Access",
    "Boat",
    "BoatInvitation",
    "BoatPart",
    "Declaration",
    "DeclarationKind",
    "Design",
    "DesignLimit",
    "FormerParticulars",
    "Interest",
    "InterestKind",
    "Mast",
    "NearSpelling",
    "Ownership",
    "Rig",
]  # fmt: skip


class Design(models.Model):
    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    name = models.CharField(max_length=80, unique=True)
    designer = models.CharField(max_length=120, blank=True)
    remark = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name


class DesignLimit(models.Model):
    """Least and greatest of one dimension for a design, with their source. A new limit ends the former one."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="limits")
    dimension = models.CharField(max_length=60)  # slug of the catalogue
    mast = models.CharField(max_length=10, default="main")
    least = models.FloatField(null=True, blank=True)
    greatest = models.FloatField(null=True, blank=True)
    source = models.CharField(max_length=200)
    since = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["dimension", "since"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["design", "dimension", "mast"],
                condition=models.Q(ended_at__isnull=True),
                name="boats_one_limit_in_force",
            ),
            models.CheckConstraint(
                condition=models.Q(least__isnull=False) | models.Q(greatest__isnull=False),
                name="boats_limit_says_something",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.design}: {self.dimension}"

    @property
    def unit(self) -> str:
        kind = DIMENSIONS.get(self.dimension)
        return kind.unit if kind else ""


NOT_INDEXED = ~models.Q(near_number=models.F("sail_number_normal"), near_name=models.F("name_normal"))


class Boat(models.Model):
    """A boat as she is known today; `former` keeps what she was known as."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    name = models.CharField(max_length=80)
    name_normal = models.CharField(max_length=80, db_index=True, editable=False)
    # The same from the second, third and fourth word on: she is looked for by any of them.
    name_from_2 = models.CharField(max_length=80, db_index=True, editable=False, blank=True, default="")
    name_from_3 = models.CharField(max_length=80, db_index=True, editable=False, blank=True, default="")
    name_from_4 = models.CharField(max_length=80, db_index=True, editable=False, blank=True, default="")
    sail_number = models.CharField(max_length=20)
    sail_number_normal = models.CharField(max_length=20, db_index=True, editable=False)
    sail_digits = models.CharField(max_length=20, db_index=True, editable=False, blank=True)  # without national letters
    # The forms her near spellings were made of: where they are not those above, they are made anew (boats.near).
    near_number = models.CharField(max_length=20, editable=False, blank=True, default="")
    near_name = models.CharField(max_length=80, editable=False, blank=True, default="")
    hin = models.CharField("hull identification number", max_length=20, blank=True)
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="boats", null=True, blank=True)
    builder = models.CharField(max_length=120, blank=True)
    year = models.PositiveSmallIntegerField(null=True, blank=True)
    harbour = models.CharField(max_length=80, blank=True)
    registered_at = models.DateTimeField(default=timezone.now)
    edition = models.PositiveIntegerField(default=1)  # counts changes; a form made from an older one is stale

    class Meta:
        ordering: ClassVar = ["name_normal", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["hin"], condition=~models.Q(hin=""), name="boats_one_boat_per_hin"),
        ]
        indexes: ClassVar = [models.Index(fields=["id"], condition=NOT_INDEXED, name="boats_not_indexed")]

    def __str__(self) -> str:
        return f"{self.name} ({self.sail_number})"


class NearSpelling(models.Model):
    """What is left of a boat's number or name without one of its signs: an index, made from her row (boats.near)."""

    boat = models.ForeignKey(Boat, on_delete=models.CASCADE, related_name="+", db_index=False)
    mark = models.BigIntegerField()  # the spelling's check sum: half the size of the text, and twice as quick to find

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["mark", "boat"], name="boats_by_near_spelling"),
            models.Index(fields=["boat"], name="boats_near_of_boat"),
        ]

    def __str__(self) -> str:
        return f"{self.mark:08x}"


class FormerParticulars(models.Model):
    """What a boat was known as until a change: kept, never overwritten."""

    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="former")
    edition = models.PositiveIntegerField()
    particulars = models.JSONField()
    until = models.DateTimeField(default=timezone.now)
    changed_by_key = models.CharField(max_length=32)
    reason = models.TextField()

    class Meta:
        ordering: ClassVar = ["-edition"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["boat", "edition"], name="boats_one_former_per_edition")
        ]

    def __str__(self) -> str:
        return f"{self.boat}, edition {self.edition}"


class DeclarationKind(models.TextChoices):
    SOLD = "sold", "Sold"
    RIG_CHANGED = "rig_changed", "Rig changed"
    MAST_DAMAGED = "mast_damaged", "Mast damaged"


class Declaration(models.Model):
    """What an owner says has happened to a boat. It waits on the office's queue until the office has settled it."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="declarations")
    kind = models.CharField(max_length=15, choices=DeclarationKind)
    happened_on = models.DateField()
    text = models.TextField(blank=True)
    declared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="declarations_made"
    )
    declared_at = models.DateTimeField(default=timezone.now)
    consequence = models.CharField(max_length=10)  # what the policy of the day made of it: note | suspend | end
    certificate = models.CharField(max_length=20, blank=True)  # number of the certificate it touched

    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="declarations_settled"
    )
    settlement = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["-declared_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["boat", "kind"],
                condition=models.Q(settled_at__isnull=True),
                name="boats_one_open_declaration_of_a_kind",
            )
        ]

    def __str__(self) -> str:
        return f"{self.boat}: {self.get_kind_display().lower()}"


class Rig(models.Model):
    """A boat's rig as described from a day on. A change makes a new rig; the former one ends."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="rigs")
    number = models.PositiveIntegerField()  # 1, 2, 3 … per boat
    rig_type = models.CharField(max_length=10)
    inner_forestay = models.BooleanField(null=True)
    outrigger = models.BooleanField(default=False)
    spinnaker = models.BooleanField(null=True)
    pole = models.BooleanField(null=True)
    bowsprit = models.BooleanField(null=True)
    headsail_foil = models.BooleanField(null=True)
    pole_identification = models.CharField(max_length=60, blank=True)
    since = models.DateField()
    until = models.DateField(null=True, blank=True)
    reason = models.TextField(blank=True)  # why this rig took the former one's place

    class Meta:
        ordering: ClassVar = ["-number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["boat", "number"], name="boats_rig_numbers"),
            models.UniqueConstraint(
                fields=["boat"], condition=models.Q(until__isnull=True), name="boats_one_rig_today"
            ),
        ]
        indexes: ClassVar = [models.Index(Upper("pole_identification"), name="boats_pole_by_mark")]

    def __str__(self) -> str:
        return f"rig {self.number} of {self.boat}"

    @property
    def was_in_use(self) -> bool:
        """False for a description that was put right on the day it was made: it ended before it began."""
        return self.until is None or self.until >= self.since


class Mast(models.Model):
    """One mast of a rig with its boom: description and identification. Rows are written with their rig, then left."""

    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="masts")
    name = models.CharField(max_length=10)  # main | mizzen | fore
    material = models.CharField(max_length=10)
    spreader_pairs = models.PositiveSmallIntegerField(null=True, blank=True)
    runner_pairs = models.PositiveSmallIntegerField(null=True, blank=True)
    jumper_pairs = models.PositiveSmallIntegerField(null=True, blank=True)
    checkstays = models.BooleanField(null=True)
    rigging_material = models.CharField(max_length=10, blank=True)
    upper_band = models.BooleanField(default=True)
    mast_identification = models.CharField(max_length=60, blank=True)
    boom_identification = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering: ClassVar = ["rig", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["rig", "name"], name="boats_mast_names")]
        indexes: ClassVar = [
            models.Index(Upper("mast_identification"), name="boats_mast_by_mark"),
            models.Index(Upper("boom_identification"), name="boats_boom_by_mark"),
        ]

    def __str__(self) -> str:
        return f"{self.name} mast of {self.rig}"
