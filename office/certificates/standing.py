"""How a certificate stands on a day: a plain function of its columns and its suspensions, the same on every page.

Lists fetch the suspensions with `prefetch_related("suspensions")`; otherwise each certificate asks for its own.
"""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db.models import Exists, F, OuterRef, Q

from office.certificates.models import Ending, Suspension

if TYPE_CHECKING:
    from office.certificates.models import Certificate


class Standing(StrEnum):
    IN_FORCE = "in_force"
    NOT_YET = "not_yet"
    SUSPENDED = "suspended"
    EXPIRED = "expired"
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"


WORDS = {
    Standing.IN_FORCE: "In force",
    Standing.NOT_YET: "Not yet in force",
    Standing.SUSPENDED: "Suspended",
    Standing.EXPIRED: "Expired",
    Standing.REPLACED: "Replaced",
    Standing.WITHDRAWN: "Withdrawn",
}


def standing(certificate: Certificate, on: dt.date) -> Standing:
    """In force on the days d with valid_from <= d < in_force_before that no suspension covers.

    Before that not yet, after it as it ended, suspended or not. One that was replaced or withdrawn before its first
    day never comes into force: it is that on every day.
    """
    if certificate.valid_from <= on < certificate.in_force_before:
        return Standing.SUSPENDED if suspension_on(certificate, on) else Standing.IN_FORCE
    never_in_force = certificate.in_force_before <= certificate.valid_from
    if on < certificate.valid_from and not never_in_force:
        return Standing.NOT_YET
    return Standing(certificate.ending) if certificate.ending else Standing.EXPIRED


def suspension_on(certificate: Certificate, on: dt.date) -> Suspension | None:
    """The suspension that covers the day."""
    known = certificate.suspensions.all() if certificate.pk else ()
    return next((one for one in known if covers(one, on)), None)


def covers(suspension: Suspension, on: dt.date) -> bool:
    return suspension.since <= on and (suspension.lifted_from is None or on < suspension.lifted_from)


def suspended_on(on: dt.date) -> Exists:
    """The same question to the database: certificates with a suspension that covers the day."""
    lasting = Q(lifted_from__isnull=True) | Q(lifted_from__gt=on)
    return Exists(Suspension.objects.filter(lasting, certificate=OuterRef("pk"), since__lte=on))


def spans(on: dt.date) -> Q:
    """Certificates whose days hold this one, in force or suspended; of a boat at most one does."""
    return Q(valid_from__lte=on, in_force_before__gt=on)


def standing_is(wanted: str, on: dt.date) -> Q:
    """The same question to the database: the certificates that stand so on that day."""
    never = Q(in_force_before__lte=F("valid_from"))
    over = Q(in_force_before__lte=on) | never
    match Standing(wanted):
        case Standing.IN_FORCE:
            return spans(on) & ~Q(suspended_on(on))
        case Standing.SUSPENDED:
            return spans(on) & Q(suspended_on(on))
        case Standing.NOT_YET:
            return Q(valid_from__gt=on) & ~never
        case Standing.EXPIRED:
            return over & Q(ending=Ending.NONE)
        case Standing.REPLACED:
            return over & Q(ending=Ending.REPLACED)
        case Standing.WITHDRAWN:
            return over & Q(ending=Ending.WITHDRAWN)
