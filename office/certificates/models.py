"""Certificates: frozen snapshots with their documents. What they state is never edited; only how they end is added."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from boats.models import Boat
from office.keys import new_key
from surveys.models import Visit

PERSON = settings.AUTH_USER_MODEL


class Ending(models.TextChoices):
    NONE = "", "Runs to its last day"
    REPLACED = "replaced", "Replaced"
    WITHDRAWN = "withdrawn", "Withdrawn"


class Certificate(models.Model):
    """What the office vouches for. In force on the days d with valid_from <= d < in_force_before.

    `in_force_before` starts as the day after `valid_until` and is only ever brought forward: by a replacement to
    the successor's first day, by a withdrawal to its day. At most one certificate of a boat is in force on any
    day: an exclusion constraint on PostgreSQL, triggers on SQLite.
    """

    number = models.CharField(max_length=20, unique=True)
    boat = models.ForeignKey(Boat, on_delete=models.PROTECT, related_name="certificates")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="certificates")
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="successor")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="certificates_issued")
    issue_reason = models.TextField(blank=True)
    valid_from = models.DateField()
    valid_until = models.DateField()  # last day, as printed
    snapshot = models.TextField()  # RFC 8785 canonical JSON: everything the certificate states
    snapshot_sha256 = models.CharField(max_length=64)
    trail_head = models.CharField(max_length=64)  # the trail's head hash at issue, printed on the certificate

    in_force_before = models.DateField()
    ending = models.CharField(max_length=10, choices=Ending, default=Ending.NONE, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, null=True, related_name="certificates_ended")
    ending_reason = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["-issued_at", "-pk"]
        indexes: ClassVar = [
            models.Index(fields=["boat", "valid_from"], name="certificates_by_boat"),
            models.Index(fields=["issued_at", "id"], name="certificates_by_issue"),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(valid_until__gte=models.F("valid_from")), name="certificates_from_before_until"
            ),
            models.CheckConstraint(
                condition=models.Q(in_force_before__gte=models.F("valid_from")), name="certificates_in_force_span"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class NumberInHand(models.Model):
    """A certificate's number taken for an issue that is being worked out; the row goes when the certificate is written.

    What an issue that came to nothing leaves is free again, and given out before any greater one.
    """

    number = models.CharField(max_length=20, unique=True)
    taken_by = models.CharField(max_length=32, blank=True)  # "": free
    taken_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "numbers in hand"

    def __str__(self) -> str:
        return self.number


class Suspension(models.Model):
    """Days on which a certificate is not in force although it has not ended: since <= d < lifted_from.

    Open while `lifted_from` is empty; at most one of a certificate is. What is written first is never altered, how
    it was lifted is added.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="suspensions")
    since = models.DateField()  # first day not in force
    reason = models.TextField()
    suspended_at = models.DateTimeField()
    suspended_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="suspensions_made")

    lifted_from = models.DateField(null=True, blank=True)  # first day in force again
    lift_reason = models.TextField(blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        PERSON, on_delete=models.PROTECT, null=True, blank=True, related_name="suspensions_lifted"
    )

    class Meta:
        ordering: ClassVar = ["since", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["certificate"],
                condition=models.Q(lifted_from__isnull=True),
                name="certificates_one_open_suspension",
            ),
            models.CheckConstraint(
                condition=models.Q(lifted_from__isnull=True) | models.Q(lifted_from__gte=models.F("since")),
                name="certificates_suspension_span",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate} suspended from {self.since.isoformat()}"


class Document(models.Model):
    """One rendered PDF of a certificate. Rendered once, from the snapshot only; bytes and hash are never altered."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="documents")
    paper = models.CharField(max_length=10)  # A4 | Letter
    pdf = models.BinaryField()
    pdf_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["certificate", "paper"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["certificate", "paper"], name="certificates_one_document_per_paper")
        ]

    def __str__(self) -> str:
        return f"{self.certificate} on {self.paper}"


class Renewal(models.Model):
    """Certificates ticked to be renewed in one go; `key` comes with the form, so that a second click adds nothing."""

    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="renewals")
    asked_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-asked_at", "-pk"]

    def __str__(self) -> str:
        return f"renewal of {self.asked_at:%Y-%m-%d %H:%M}"


class RenewalItem(models.Model):
    """One certificate of a renewal, and what came of it: a new certificate, or the sentence that refused it."""

    renewal = models.ForeignKey(Renewal, on_delete=models.PROTECT, related_name="items")
    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="renewal_items")
    claimed_at = models.DateTimeField(null=True, blank=True)  # by the request that is at it
    done_at = models.DateTimeField(null=True, blank=True)
    made = models.OneToOneField(
        Certificate, on_delete=models.PROTECT, null=True, blank=True, related_name="made_by_renewal"
    )
    refusal = models.TextField(blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["renewal", "certificate"], name="certificates_renewed_once_in_a_go")
        ]

    def __str__(self) -> str:
        return f"{self.certificate} in the {self.renewal}"


class Reminder(models.Model):
    """A letter that told an owner of a certificate's coming end: once for each of the policy's stages."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="reminders")
    person = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="reminders")
    stage = models.PositiveSmallIntegerField()  # days before the end; 0: sent from the list by hand
    sent_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering: ClassVar = ["-sent_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["certificate", "person", "stage"], name="certificates_reminded_once_a_stage"
            )
        ]

    def __str__(self) -> str:
        return f"{self.certificate}, {self.stage} days"


class Amendment(models.Model):
    """A further document that names the certificate it amends (ISO/IEC 17025:2017, 7.8.8, from memory): text only.

    A figure is never amended: its correction is a new certificate.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="amendments")
    number = models.PositiveSmallIntegerField()  # 1, 2, 3 … per certificate
    text = models.TextField()
    reason = models.TextField()
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(PERSON, on_delete=models.PROTECT, related_name="amendments_issued")
    snapshot = models.TextField()  # RFC 8785 canonical JSON: everything the amendment states
    snapshot_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["certificate", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["certificate", "number"], name="certificates_amendment_numbers")
        ]

    def __str__(self) -> str:
        return f"{self.certificate}/A{self.number}"


class AmendmentDocument(models.Model):
    """One rendered PDF of an amendment, as `Document` is of a certificate."""

    amendment = models.ForeignKey(Amendment, on_delete=models.PROTECT, related_name="documents")
    paper = models.CharField(max_length=10)
    pdf = models.BinaryField()
    pdf_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["amendment", "paper"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["amendment", "paper"], name="certificates_one_amendment_per_paper")
        ]

    def __str__(self) -> str:
        return f"{self.amendment} on {self.paper}"


class KeyPurpose(models.TextChoices):
    ROOT = "root", "Root"
    PAPER = "paper", "Papers"
    STATEMENT = "statement", "Statements"


class OfficeKey(models.Model):
    """A key of the office. It is never altered but for its retirement, which erases the private part.

    Public part and certificate are DER in base64; the private part is PKCS #8 under the office's passphrase.
    """

    identifier = models.CharField(max_length=16, unique=True)  # first eight bytes of the public key's SHA-256, hex
    purpose = models.CharField(max_length=10, choices=KeyPurpose)
    public = models.TextField()
    certificate = models.TextField(blank=True)
    private = models.TextField(blank=True)
    issued_by = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="issued")
    used_from = models.DateTimeField()
    expires_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]
        verbose_name = "office key"

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.identifier}"


class Seal(models.Model):
    """What was signed when a certificate was issued, beside the signatures within its papers. Never altered."""

    certificate = models.OneToOneField(Certificate, on_delete=models.PROTECT, related_name="seal")
    statement_key = models.ForeignKey(OfficeKey, on_delete=models.PROTECT, related_name="statements_signed")
    paper_key = models.ForeignKey(OfficeKey, on_delete=models.PROTECT, related_name="papers_signed")
    signature = models.CharField(max_length=88)  # Ed25519 over the snapshot's bytes, base64url
    code = models.TextField()  # what the paper's QR code holds: public address, #, signed statement

    def __str__(self) -> str:
        return f"Seal of {self.certificate}"


class AmendmentSeal(models.Model):
    """What was signed when an amendment was issued, as `Seal` is of a certificate; it has no code. Never altered."""

    amendment = models.OneToOneField(Amendment, on_delete=models.PROTECT, related_name="seal")
    statement_key = models.ForeignKey(OfficeKey, on_delete=models.PROTECT, related_name="amendments_signed")
    paper_key = models.ForeignKey(OfficeKey, on_delete=models.PROTECT, related_name="amendment_papers_signed")
    signature = models.CharField(max_length=88)  # Ed25519 over the snapshot's bytes, base64url

    def __str__(self) -> str:
        return f"Seal of {self.amendment}"
