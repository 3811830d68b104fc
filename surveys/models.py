"""Visits, single readings, and the signatures under them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models.functions import Coalesce, Lower
from django.utils import timezone

from boats.models import Boat, Rig
from computations.catalogue import READINGS
from office.keys import new_key
from surveys.dock_models import TOKEN_LENGTH, AbsentReading, DeviceEntry, Photo, ReadingConflict
from surveys.instrument_models import Calibration, Instrument, Maintenance

__all__ = [
    "AbsentReading",
    "CalendarFeed",
    "Calibration",
    "DeviceEntry",
    "Instrument",
    "InterestException",
    "Maintenance",
    "Photo",
    "PreparationAnswer",
    "Query",
    "Reading",
    "ReadingConflict",
    "Settlement",
    "SignOff",
    "Visit",
    "VisitState",
]

PERSON = settings.AUTH_USER_MODEL


class VisitState(models.TextChoices):
    ASKED_FOR = "asked_for", "Asked for"
    PLANNED = "planned", "Planned"
    DRAFT = "draft", "Draft"
    SIGNED = "signed", "Signed"
    UNDER_REVIEW = "under_review", "Under review"
    RETURNED = "returned", "Returned"
    ACCEPTED = "accepted", "Accepted"
    CALLED_OFF = "called_off", "Called off"


class Visit(models.Model):
    """One visit to one boat, from the request to the accepted set of readings."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="visits")
    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="visits", null=True, blank=True)
    state = models.CharField(max_length=12, choices=VisitState, default=VisitState.ASKED_FOR)
    edition = models.PositiveIntegerField(default=1)  # counts changes; a form made from an older one is stale

    asked_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="visits_asked_for")
    asked_at = models.DateTimeField(default=timezone.now)
    request = models.TextField(blank=True)  # what the owner or the office asked for

    measurer = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="visits_measured"
    )
    planned_on = models.DateField(null=True, blank=True)
    harbour = models.CharField(max_length=80, blank=True)

    date = models.DateField(null=True, blank=True)
    place = models.CharField(max_length=120, blank=True)
    air_temperature_c = models.FloatField(null=True, blank=True)
    interest = models.CharField(max_length=10, default="none")  # the measurer's own declaration
    band_contrast = models.JSONField(default=dict, blank=True)  # mast -> true | false
    mast_state = models.JSONField(default=dict, blank=True)  # mast -> ashore | stepped
    remark = models.TextField(blank=True)

    signed_at = models.DateTimeField(null=True, blank=True)
    reviewer = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="visits_reviewed"
    )
    review_began_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
    acceptance_reason = models.TextField(blank=True)
    # Accepted, and no certificate of it or of a later visit yet: the few of a large register that a certifier wants.
    awaits_certificate = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering: ClassVar = ["-date", "-pk"]
        indexes: ClassVar = [
            models.Index(fields=["state", "planned_on"], name="visits_by_state"),
            models.Index(fields=["state", "signed_at", "id"], name="visits_to_review"),
            models.Index(
                fields=["accepted_at", "id"], condition=models.Q(awaits_certificate=True), name="visits_to_certify"
            ),
            # By the moment, not the state: many queries name a state, and would be led here instead of to their boat.
            models.Index(
                fields=["date", "id"], condition=models.Q(accepted_at__isnull=False), name="visits_accepted_by_date"
            ),
            models.Index(fields=["boat", "date"], name="visits_by_boat"),
            models.Index(Lower("harbour"), name="visits_by_harbour"),
            models.Index(Lower("place"), name="visits_by_place"),
            models.Index(Coalesce("date", "planned_on"), "id", name="visits_by_day"),  # the order of the list
        ]

    def __str__(self) -> str:
        return f"visit to {self.boat} on {self.date or self.planned_on or 'a day not yet set'}"


class Reading(models.Model):
    """One number taken once. Append-only: an amendment is a new row that replaces this one, with a reason.

    A row whose `withdrawn` is true takes its predecessor away without putting a number in its place.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="readings")
    slug = models.CharField(max_length=40)
    mast = models.CharField(max_length=10, default="main")
    position = models.CharField(max_length=40, blank=True)
    take = models.PositiveSmallIntegerField(default=1)
    value = models.FloatField(null=True)  # mm or kg as indicated; null only when withdrawn
    written = models.CharField(max_length=40)  # the value as the measurer wrote it …
    unit_written = models.CharField(max_length=12, blank=True)  # … and its unit
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, related_name="readings")
    remark = models.CharField(max_length=200, blank=True)
    recorded_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="readings_recorded")
    recorded_at = models.DateTimeField(default=timezone.now)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by")
    reason = models.CharField(max_length=300, blank=True)
    withdrawn = models.BooleanField(default=False)
    # Made on the device that typed it, so that a resend is known; none where it came by a page or a log sheet.
    token = models.CharField(max_length=TOKEN_LENGTH, unique=True, null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "slug", "mast", "position", "take"],
                condition=models.Q(replaces__isnull=True),
                name="surveys_each_take_once",
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn=True) | models.Q(value__isnull=False), name="surveys_reading_has_value"
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True) | ~models.Q(reason=""),
                name="surveys_amendment_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slug} {self.mast} {self.position} take {self.take}"

    @property
    def as_written(self) -> str:
        """The value as the measurer wrote it, with its unit: "39 ft 10 3/8 in", "12150 mm"."""
        if self.unit_written:
            return f"{self.written} {self.unit_written}"
        plain = not any(sign.isalpha() or sign in "'\"" for sign in self.written)
        return f"{self.written} {READINGS[self.slug].unit}" if plain and self.slug in READINGS else self.written


class PreparationAnswer(models.Model):
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="preparation")
    mast = models.CharField(max_length=10, default="main")
    item = models.CharField(max_length=40)  # computations.inputs.PREPARATION_ITEMS
    answer = models.CharField(max_length=16)  # yes | no | not_applicable
    remark = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "mast", "item"], name="surveys_one_answer_per_item")
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.answer}"


class Settlement(models.Model):
    """The measurer's written reason why a *stop* check may stand, or for choosing one BAS method. Append-only."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="settlements")
    check_key = models.CharField(max_length=200)
    choice = models.CharField(max_length=20, blank=True)  # string | two_mark where a method was chosen
    reason = models.TextField()
    settled_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="settlements")
    settled_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]

    def __str__(self) -> str:
        return self.check_key


class SignOff(models.Model):
    """A signature under the canonical content of a visit: who, in what meaning, when, over which hash. Append-only."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="sign_offs")
    round = models.PositiveSmallIntegerField(default=1)  # 2, 3 … after each return
    meaning = models.CharField(max_length=20, default="measured")  # measured | accepted
    signed_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="sign_offs")
    signed_at = models.DateTimeField(default=timezone.now)
    content = models.TextField()  # RFC 8785 canonical JSON of what was signed
    content_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["visit", "round", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "round", "meaning"], name="surveys_signed_once_a_round")
        ]

    def __str__(self) -> str:
        return f"{self.meaning}, round {self.round}"


class Query(models.Model):
    """A reviewer's question on one reading (or on the visit), its answer, and its end."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="queries")
    slug = models.CharField(max_length=40, blank=True)  # empty: about the visit as a whole
    mast = models.CharField(max_length=10, blank=True)
    position = models.CharField(max_length=40, blank=True)
    question = models.TextField()
    asked_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="queries_asked")
    asked_at = models.DateTimeField(default=timezone.now)
    answer = models.TextField(blank=True)
    answered_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="queries_answered")
    answered_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="queries_settled")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        verbose_name_plural = "queries"

    def __str__(self) -> str:
        return self.question[:60]


class CalendarFeed(models.Model):
    """A personal address from which a calendar reads the planned visits. Only the SHA-256 of its token is kept."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="calendar_feeds")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["person", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person"], condition=models.Q(revoked_at__isnull=True), name="surveys_one_calendar_each"
            )
        ]

    def __str__(self) -> str:
        return f"calendar made {self.made_at:%Y-%m-%d}"


class InterestException(models.Model):
    """The office's recorded permission for an interested party to measure this boat on this visit."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="interest_exceptions")
    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="interest_exceptions")
    reason = models.TextField()
    granted_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="interest_exceptions_granted")
    granted_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["visit", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["visit", "person"], name="surveys_one_exception_per_person")
        ]

    def __str__(self) -> str:
        return f"{self.person} may measure {self.visit}"
