"""What comes from a device at the dock besides plain readings: what it sent, conflicts, absences, photographs."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import models
from django.utils import timezone

from office.keys import new_key

PERSON = settings.AUTH_USER_MODEL
TOKEN_LENGTH = 64
_CHOICES = {
    "mine": "the other device's",
    "theirs": "the one that stood",
    "next_take": "to keep both as two takes",
    "typed_anew": "to type it anew",
}


class DeviceEntry(models.Model):
    """One entry a device sent and the office acknowledged. Append-only.

    A resend is known by its token, also where the entry made no row of its own: the same value from a second device.
    `entry` keeps what was typed, whole, so that nothing typed is lost even there.
    """

    token = models.CharField(max_length=TOKEN_LENGTH, unique=True)  # made on the device
    visit = models.ForeignKey("surveys.Visit", on_delete=models.PROTECT, related_name="device_entries")
    device = models.CharField(max_length=TOKEN_LENGTH, blank=True)
    kind = models.CharField(max_length=12)  # take | amend | take_away | absent | present | settle | undo
    outcome = models.CharField(max_length=10)  # stored | already | conflict
    reading = models.ForeignKey(
        "surveys.Reading", on_delete=models.PROTECT, null=True, blank=True, related_name="device_entries"
    )
    entry = models.JSONField()
    sent_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="device_entries")
    typed_at = models.DateTimeField(null=True, blank=True)  # by the device's own clock
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        verbose_name_plural = "device entries"

    def __str__(self) -> str:
        return f"{self.kind} {self.token}"


class ReadingConflict(models.Model):
    """What a device sent for a take that says something else by now. Both stay until a person chooses.

    Append-only besides `settled_…` and `choice`. `withdraws`: the device took the reading away instead.
    """

    token = models.CharField(max_length=TOKEN_LENGTH, unique=True)  # of the entry
    visit = models.ForeignKey("surveys.Visit", on_delete=models.PROTECT, related_name="reading_conflicts")
    slug = models.CharField(max_length=40)
    mast = models.CharField(max_length=10)
    position = models.CharField(max_length=40, blank=True)
    take = models.PositiveSmallIntegerField()
    withdraws = models.BooleanField(default=False)
    value = models.FloatField(null=True)
    written = models.CharField(max_length=40, blank=True)
    unit_written = models.CharField(max_length=12, blank=True)
    instrument = models.ForeignKey(
        "surveys.Instrument", on_delete=models.PROTECT, null=True, related_name="reading_conflicts"
    )
    remark = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    theirs = models.ForeignKey("surveys.Reading", on_delete=models.PROTECT, related_name="reading_conflicts")
    sent_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="reading_conflicts")
    received_at = models.DateTimeField(default=timezone.now)
    choice = models.CharField(max_length=12, blank=True)  # mine | theirs | next_take
    settled_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="conflicts_settled")
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]

    def __str__(self) -> str:
        return f"{self.slug} {self.mast} {self.position} take {self.take}"

    @property
    def choice_words(self) -> str:
        return _CHOICES.get(self.choice, self.choice)

    @property
    def said(self) -> str:
        """What the device said: a value as written, or that the take is away."""
        return "taken away" if self.withdraws else f"{self.written} {self.unit_written}".strip()


class AbsentReading(models.Model):
    """ "Not on this rig", said of one reading on one visit. Append-only besides `taken_back_…`."""

    token = models.CharField(max_length=TOKEN_LENGTH, unique=True, default=new_key)
    visit = models.ForeignKey("surveys.Visit", on_delete=models.PROTECT, related_name="absent_readings")
    slug = models.CharField(max_length=40)
    mast = models.CharField(max_length=10, default="main")
    position = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=300)
    marked_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="absences_marked")
    marked_at = models.DateTimeField(default=timezone.now)
    taken_back_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="absences_taken_back")
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "slug", "mast", "position"],
                condition=models.Q(taken_back_at__isnull=True),
                name="surveys_absent_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.slug} {self.mast} {self.position} is not on this rig".replace("  ", " ")


class Photo(models.Model):
    """A photograph as evidence: made anew by the office, without the camera's metadata. Append-only but for its end.

    The file lies in Django's storage under a random name; `sha256` is that of the file kept.
    """

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    token = models.CharField(max_length=TOKEN_LENGTH, unique=True, default=new_key)
    visit = models.ForeignKey("surveys.Visit", on_delete=models.PROTECT, related_name="photos")
    slug = models.CharField(max_length=40, blank=True)  # empty: of the visit as a whole
    mast = models.CharField(max_length=10, blank=True)
    position = models.CharField(max_length=40, blank=True)
    remark = models.CharField(max_length=200, blank=True)
    name = models.CharField(max_length=80, unique=True)  # in the storage
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()  # bytes
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    added_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="photos_added")
    added_at = models.DateTimeField(default=timezone.now)
    removed_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="photos_removed")
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]

    def __str__(self) -> str:
        return self.remark or (f"photograph of {self.slug}" if self.slug else "photograph")

    @property
    def thumb_name(self) -> str:
        """The small form's name in the storage."""
        return self.name.replace(".jpg", ".small.jpg")

    def content(self, *, small: bool = False) -> bytes:
        """The picture's bytes. FileNotFoundError where the storage has lost them."""
        with default_storage.open(self.thumb_name if small else self.name) as file:
            found: bytes = file.read()
        return found
