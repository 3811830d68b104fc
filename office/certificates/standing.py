"""How a certificate stands on a day. A plain function of its columns, so that every page gives the same answer."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db.models import F, Q

from office.certificates.models import Ending

if TYPE_CHECKING:
    from office.certificates.models import Certificate


class Standing(StrEnum):
    IN_FORCE = "in_force"
    NOT_YET = "not_yet"
    EXPIRED = "expired"
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"


WORDS = {
    Standing.IN_FORCE: "In force",
    Standing.NOT_YET: "Not yet in force",
    Standing.EXPIRED: "Expired",
    Standing.REPLACED: "Replaced",
    Standing.WITHDRAWN: "Withdrawn",
}


def standing(certificate: Certificate, on: dt.date) -> Standing:
    """In force on the days d with valid_from <= d < in_force_before; before that not yet, after it as it ended.

    One that was replaced or withdrawn before its first day never comes into force: it is that on every day.
    """
    if certificate.valid_from <= on < certificate.in_force_before:
        return Standing.IN_FORCE
    never_in_force = certificate.in_force_before <= certificate.valid_from
    if on < certificate.valid_from and not never_in_force:
        return Standing.NOT_YET
    return Standing(certificate.ending) if certificate.ending else Standing.EXPIRED


def standing_is(wanted: str, on: dt.date) -> Q:
    """The same question to the database: the certificates that stand so on that day."""
    never = Q(in_force_before__lte=F("valid_from"))
    over = Q(in_force_before__lte=on) | never
    match Standing(wanted):
        case Standing.IN_FORCE:
            return Q(valid_from__lte=on, in_force_before__gt=on)
        case Standing.NOT_YET:
            return Q(valid_from__gt=on) & ~never
        case Standing.EXPIRED:
            return over & Q(ending=Ending.NONE)
        case Standing.REPLACED:
            return over & Q(ending=Ending.REPLACED)
        case Standing.WITHDRAWN:
            return over & Q(ending=Ending.WITHDRAWN)
