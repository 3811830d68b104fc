"""The whole register walked once: trail, signatures, readings, photographs, certificates, papers and seals."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from django.db import connection

from office.audit import trail
from office.certificates import constraints
from office.certificates.models import Certificate, Document
from office.certificates.verification import (
    amendments,
    authorisations,
    certificates,
    instruments,
    photos,
    seals,
    stored,
    suspensions,
    visits,
)
from office.certificates.verification.findings import Misfit, guarded
from surveys.models import Photo, Reading, SignOff


def check_all() -> Iterator[Misfit]:
    """Everything that does not fit, as it is found."""
    return chain(
        (Misfit("trail", str(finding)) for finding in trail.verify()),
        (Misfit("database", sentence) for sentence in constraints.missing(connection)),
        guarded("database", stored.check_all()),
        guarded("visits", visits.check_all()),
        guarded("authorisations", authorisations.check_all()),
        guarded("instruments", instruments.check_all()),
        guarded("photographs", photos.check_all()),
        guarded("certificates", certificates.check_all()),
        guarded("suspensions", suspensions.check_all()),
        guarded("seals", seals.check_all()),
        guarded("amendments", amendments.check_all()),
    )


def counted() -> dict[str, int]:
    """How much there is to check."""
    return {
        "trail": trail.head()[0],
        "sign_offs": SignOff.objects.count(),
        "readings": Reading.objects.count(),
        "photographs": Photo.objects.count(),
        "certificates": Certificate.objects.count(),
        "documents": Document.objects.count(),
    }
