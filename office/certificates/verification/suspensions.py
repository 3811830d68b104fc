"""Each suspension against the certificate it is of and against its rows of the trail."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from office.audit.models import Entry
from office.certificates.models import Suspension
from office.certificates.verification.findings import Misfit, parsed

VERBS = {"suspend_certificate": "suspended_from", "reinstate_certificate": "in_force_again_from"}


def check_all() -> Iterator[Misfit]:
    """Rows that the trail does not tell of, rows that it tells of and are not there, days that cannot be."""
    told: Counter[tuple[str, str, str]] = Counter(
        (number, verb, str(parsed(after).get(VERBS[verb])))
        for number, verb, after in Entry.objects.filter(verb__in=VERBS).values_list("certificate", "verb", "after")
    )
    kept: Counter[tuple[str, str, str]] = Counter()
    for one in Suspension.objects.select_related("certificate").order_by("certificate_id", "since", "pk"):
        number = one.certificate.number
        kept[number, "suspend_certificate", one.since.isoformat()] += 1
        if one.lifted_from:
            kept[number, "reinstate_certificate", one.lifted_from.isoformat()] += 1
            if not one.lift_reason or one.lifted_by_id is None:
                yield Misfit(number, f"{number} was reinstated, but the reason or the person is missing.")
        if one.since < one.certificate.valid_from:
            yield Misfit(number, f"{number} is suspended from a day before it begins.")
    for number, verb, day in kept - told:
        what = "suspended" if verb == "suspend_certificate" else "reinstated"
        yield Misfit(number, f"{number} was {what} from {day} on, but the trail does not tell so.")
    for number, verb, day in told - kept:
        what = "suspension" if verb == "suspend_certificate" else "reinstatement"
        yield Misfit(number, f"The trail tells of a {what} of {number} from {day} on that the register does not hold.")
