"""Events of race committees: who runs them, their entry lists, what was settled and what each check found.

Lists, settlements, checks and statements are rows that are added, never changed: what a committee relied on stays
readable. Boats stand in lists as they were written; which boat of the register is meant is worked out anew.
"""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from boats.models import Boat
from office.keys import new_key
from office.racing.deadlines import Edition
from office.racing.spot_models import SpotCheck, SpotInstrument, SpotReading

__all__ = [
    "Check", "CommitteeMember", "EntryList", "Event", "Settlement", "SpotCheck", "SpotInstrument", "SpotReading",
    "Statement",
]  # fmt: skip
PERSON = settings.AUTH_USER_MODEL


class Event(models.Model):
    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    name = models.CharField(max_length=120)
    place = models.CharField(max_length=120, blank=True)
    first_day = models.DateField()
    last_day = models.DateField()
    first_series_last_day = models.DateField(null=True, blank=True)  # where the first series ends before the event
    rules_edition = models.CharField(max_length=10, choices=Edition)
    equipment_rules_by = models.CharField(max_length=200, blank=True)  # the document that invokes the equipment rules
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    edition = models.PositiveIntegerField(default=1)  # counts changes; a form made from an older one is stale

    class Meta:
        ordering: ClassVar = ["-first_day", "name", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(last_day__gte=models.F("first_day")), name="racing_event_days")
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.first_day.isoformat()}"


class CommitteeMember(models.Model):
    """Somebody of the event's race committee, from when until when: kept, never deleted."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="members")
    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="committees")
    added_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["added_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["event", "person"], condition=models.Q(ended_at__isnull=True), name="racing_member_once"
            )
        ]

    def __str__(self) -> str:
        return f"committee of {self.event}"


class EntryList(models.Model):
    """One version of an event's entry list, as it was given; the one with the greatest number stands."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="lists")
    number = models.PositiveIntegerField()
    taken_at = models.DateTimeField(default=timezone.now)
    taken_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    filename = models.CharField(max_length=120)
    file_sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()  # entries
    content = models.TextField()  # {"extra": [names], "entries": [[row, sail number, boat, [extra]]]}

    class Meta:
        ordering: ClassVar = ["event", "-number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["event", "number"], name="racing_list_versions"),
        ]

    def __str__(self) -> str:
        return f"entry list {self.number} of {self.event}"


class Settlement(models.Model):
    """Which boat an entry means, settled by a person for this event: holds for every later list that says the same.

    `boat` empty: none of the register. `taken_back`: the question is open again. The last row of an entry stands.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="settlements")
    number = models.CharField(max_length=60)  # sail number and name as they are matched
    name = models.CharField(max_length=80)
    written = models.CharField(max_length=200)  # as the list had them
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, null=True, related_name="+")
    taken_back = models.BooleanField(default=False)
    settled_at = models.DateTimeField(default=timezone.now)
    settled_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["event", "pk"]
        indexes: ClassVar = [models.Index(fields=["event", "number", "name"], name="racing_settled_entry")]

    def __str__(self) -> str:
        return f"entry {self.written} of {self.event}"


class Check(models.Model):
    """What a check of a list found, kept whole: each entry's answer on the day of the check."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="checks")
    number = models.PositiveIntegerField()
    entry_list = models.ForeignKey(EntryList, on_delete=models.PROTECT, related_name="checks")
    checked_at = models.DateTimeField(default=timezone.now)
    checked_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    first_day = models.DateField()  # the event's days as they were then
    last_day = models.DateField()
    counts = models.JSONField()  # status -> entries
    results = models.TextField()  # JSON, one list per entry (office.racing.results)

    class Meta:
        ordering: ClassVar = ["event", "-number"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["event", "number"], name="racing_check_numbers")]

    def __str__(self) -> str:
        return f"check {self.number} of {self.event}"


class Statement(models.Model):
    """A signed statement that a valid certificate exists (RRS 78.2); how it was settled is added to it."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="statements")
    number = models.CharField(max_length=60)  # the entry, as it is matched
    name = models.CharField(max_length=80)
    written = models.CharField(max_length=200)
    signatory = models.CharField(max_length=120)
    signed_at = models.DateTimeField()
    recorded_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="+")
    remark = models.TextField(blank=True)

    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    settled_how = models.CharField(max_length=20, blank=True)  # certificate | by_hand
    certificate = models.CharField(max_length=20, blank=True)  # the number of the one that appeared
    settled_reason = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["event", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["event", "number", "name"],
                condition=models.Q(settled_at__isnull=True),
                name="racing_one_open_statement",
            )
        ]

    def __str__(self) -> str:
        return f"statement for {self.written} at {self.event}"
