"""A complaint brought as far as a test wants it, about bare rows of a visit and its certificate."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from django.utils import timezone

from boats.models import Boat
from office.certificates.models import Certificate, Suspension
from office.complaints import actions
from office.complaints.models import Complaint
from office.people.models import Person
from surveys.models import Instrument, Visit
from tests.cast import Cast, make_person
from tests.surveys.makers import register_boat

WORDS = "Her mast is shorter than the certificate says."
_counter = itertools.count(1)


def certificate_of(cast: Cast, boat: Boat) -> Certificate:
    """The bare row of one in force, of a visit that `measurer` measured and `reviewer` reviewed."""
    today = timezone.localdate()
    visit = Visit.objects.create(
        boat=boat,
        measurer=cast.measurer,
        reviewer=cast.reviewer,
        date=today,
        state="accepted",
        accepted_at=timezone.now(),
    )
    return Certificate.objects.create(
        number=f"ZY-2026-{next(_counter):04d}",
        boat=boat,
        visit=visit,
        issued_at=timezone.now(),
        issued_by=cast.certifier,
        valid_from=today,
        valid_until=today + dt.timedelta(days=200),
        in_force_before=today + dt.timedelta(days=201),
        snapshot="{}",
        snapshot_sha256="00" * 32,
        trail_head="00" * 32,
    )


class Matter:
    """The cast, a certificate in question, one that is suspended, an instrument, and a second administrator."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast
        self.certificate = certificate_of(cast, register_boat(cast))
        self.suspended = certificate_of(cast, register_boat(cast, "Second Wind", "SKE 215"))
        Suspension.objects.create(
            certificate=self.suspended, since=timezone.localdate(), reason="x", suspended_by=cast.certifier,
            suspended_at=timezone.now(),
        )  # fmt: skip
        self.scale = Instrument.objects.create(identifier="S-01", kind="scale")
        self.second_administrator: Person = make_person("Asta Berg", "administrator")

    def received(self, **more: Any) -> Complaint:
        known = {"kind", "complainant"} & more.keys()
        given = {"kind": "complaint", "text": WORDS, "received_on": timezone.localdate(), "by": self.cast.certifier}
        return actions.receive(**{**given, **({} if known else {"name": "Wendel Carrick"}), **more})

    def brought_to(self, state: str, one: Complaint | None = None) -> Complaint:
        """The complaint in that state; `administrator` looks into it."""
        one = one or self.received()
        one.refresh_from_db()
        by, today = self.cast.administrator, timezone.localdate()
        steps: dict[str, Any] = {
            "received": lambda it: actions.acknowledge(by=by, complaint=it, acknowledged_on=today),
            "acknowledged": lambda it: actions.assign(by=by, complaint=it, investigator=by),
            "looked_into": lambda it: actions.decide(
                by=by, complaint=it, outcome="not_justified", findings="The luff agrees with the certificate."
            ),
            "decided": lambda it: actions.close(by=by, complaint=it, told_on=today, told_how="By telephone."),
        }
        if one.kind == "nonconforming":
            steps["received"] = steps["acknowledged"]
        while one.state != state:
            one = steps[one.state](one)
        return one
