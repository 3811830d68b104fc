"""Whether those who measured and review a visit were authorised for it, and what the office's policy makes of that.

ISO/IEC 17025:2017 6.2.5 and 6.2.6 (from memory): the laboratory authorises people for methods, and for the review of
results. The granularity is that of computations.catalogue.METHODS.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.utils import timezone

from computations.catalogue import METHODS, READINGS
from office.audit.refusals import WrongState
from office.people import authorisations
from office.people.authorisation_models import KINDS_OF_WORK, REVIEW, SPOT_CHECK
from office.people.models import Person
from office.policy.models import PolicyEdition, Unauthorised
from surveys.models import Visit
from surveys.queries import current_readings


def methods_of(visit: Visit) -> list[str]:
    """The methods that the visit's standing readings show to have been used, in the catalogue's order."""
    used = {READINGS[one.slug].method for one in current_readings(visit) if one.slug in READINGS}
    return [one for one in METHODS if one in used]


def gaps(visit: Visit, edition: PolicyEdition, reviewer: Person | None = None) -> list[str]:
    """One sentence for each method that the measurer was not authorised for on the visit's day; none where not asked.

    With `reviewer` also whether that person may review today, or might on the day of acceptance.
    """
    if edition.on_unauthorised == Unauthorised.OFF:
        return []
    found = []
    if visit.measurer is not None and visit.date is not None:
        found += _said(visit.measurer, methods_of(visit), visit.date)
    if reviewer is not None:
        reviewed_on = timezone.localdate(visit.accepted_at) if visit.accepted_at else timezone.localdate()
        found += _said(reviewer, [REVIEW], reviewed_on)
    return found


def gaps_of_spot_check(people: Iterable[Person], day: dt.date, edition: PolicyEdition) -> list[str]:
    """One sentence for each who was not authorised for spot checks on the day. It says so and bars nothing: a boat is
    checked by whom the event has.
    """
    if edition.on_unauthorised == Unauthorised.OFF:
        return []
    return [sentence for person in people for sentence in _said(person, [SPOT_CHECK], day)]


def _said(person: Person, methods: list[str], day: dt.date) -> list[str]:
    return [
        f"{person.name} had no authorisation for “{KINDS_OF_WORK[one]}” on {day.isoformat()}."
        for one in authorisations.lacking(person, methods, day)
    ]


def check_authorised(visit: Visit, reviewer: Person, edition: PolicyEdition) -> None:
    """Raises WrongState where the policy lets no visit be accepted without every authorisation, and one is missing."""
    if edition.on_unauthorised != Unauthorised.BLOCK:
        return
    if missing := gaps(visit, edition, reviewer):
        raise WrongState(f"{' '.join(missing)} The office's policy lets no visit be accepted so.")
