"""The office's own settings. A change is a new edition; the former ones stay readable."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone


class ValidityRule(models.TextChoices):
    CALENDAR_YEAR = "calendar_year", "To the end of the calendar year"
    MONTHS = "months", "A number of months from issue"


class Consequence(models.TextChoices):
    """What a declaration of an owner does to the certificate in force."""

    NOTE = "note", "Note it only"
    SUSPEND = "suspend", "Suspend the certificate at once"
    END = "end", "End the certificate"


class Unauthorised(models.TextChoices):
    """What it does to a visit that somebody had no authorisation for a method it used (ISO/IEC 17025 6.2.5, 6.2.6)."""

    OFF = "off", "Nothing: authorisations are not looked at"
    WARN = "warn", "It is said with the checks"
    BLOCK = "block", "The visit cannot be accepted"


class PolicyEdition(models.Model):
    """One edition of the office's policy, in force until the next one."""

    made_at = models.DateTimeField(default=timezone.now)
    made_by_key = models.CharField(max_length=32, blank=True)
    reason = models.TextField(blank=True)

    office_name = models.CharField(max_length=120)
    office_place = models.CharField(max_length=120, blank=True)
    accreditation = models.CharField(max_length=60, blank=True)  # the office's own, printed on certificates
    number_prefix = models.CharField(max_length=8, default="RM")  # stands before a certificate's number
    is_demo = models.BooleanField(default=False)

    validity_rule = models.CharField(max_length=20, choices=ValidityRule, default=ValidityRule.CALENDAR_YEAR)
    validity_months = models.PositiveSmallIntegerField(default=12)
    rules_text = models.TextField(blank=True)  # which document invokes the measurement, printed on the certificate

    # How long after measuring a certificate may follow another one without a new visit; 0: never.
    renewal_months = models.PositiveSmallIntegerField(default=24)
    reminder_days = models.CharField(max_length=40, default="60, 14", blank=True)  # days before the last one, per stage
    on_sold = models.CharField(max_length=10, choices=Consequence, default=Consequence.SUSPEND)
    on_rig_changed = models.CharField(max_length=10, choices=Consequence, default=Consequence.SUSPEND)
    on_mast_damaged = models.CharField(max_length=10, choices=Consequence, default=Consequence.SUSPEND)

    on_unauthorised = models.CharField(max_length=10, choices=Unauthorised, default=Unauthorised.OFF)
    show_previous_to_measurer = models.BooleanField(default=False)
    # Least change that matters, by dimension slug, in the dimension's unit; `default` for the rest.
    change_limits = models.JSONField(default=dict, blank=True)
    # Half-widths and the like that differ from computations.inputs.Assumptions' defaults, by field name.
    assumptions = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(validity_months__gte=1, validity_months__lte=120), name="policy_months_1_to_120"
            )
        ]

    def __str__(self) -> str:
        return f"policy of {self.office_name}, edition {self.pk}"
