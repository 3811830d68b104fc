"""Each suspension against the certificate it is of and against its rows of the trail."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.models import Suspension
from office.certificates.suspending import LIFTED
from office.certificates.verification.findings import Misfit, guarded, parsed, readable

VERBS = {"suspend_certificate": "suspended_from", "reinstate_certificate": "in_force_again_from"}


def check_all() -> Iterator[Misfit]:
    """Rows that the trail does not tell of, rows that it tells of and are not there, days that cannot be."""
    rows = [
        (number, verb, parsed(after))
        for number, verb, after in Entry.objects.filter(verb__in=VERBS).values_list("certificate", "verb", "after")
    ]
    told: Counter[tuple[str, str, str]] = Counter(
        (number, verb, str(after.get(VERBS[verb]))) for number, verb, after in rows
    )
    digests = {(number, verb, str(after.get(VERBS[verb]))): after.get("row_sha256") for number, verb, after in rows}
    kept: Counter[tuple[str, str, str]] = Counter()
    for one in readable(Suspension.objects.select_related("certificate"), "certificate__number"):
        if isinstance(one, Misfit):
            yield one
        else:
            yield from guarded(one.certificate.number, _suspension(one, digests, kept))
    for number, verb, day in kept - told:
        what = "suspended" if verb == "suspend_certificate" else "reinstated"
        yield Misfit(number, f"{number} was {what} from {day} on, but the trail does not tell so.")
    for number, verb, day in told - kept:
        what = "suspension" if verb == "suspend_certificate" else "reinstatement"
        yield Misfit(number, f"The trail tells of a {what} of {number} from {day} on that the register does not hold.")


def _suspension(
    one: Suspension, digests: Mapping[tuple[str, str, str], str | None], kept: Counter[tuple[str, str, str]]
) -> Iterator[Misfit]:
    number = one.certificate.number
    kept[number, "suspend_certificate", one.since.isoformat()] += 1
    first = digests.get((number, "suspend_certificate", one.since.isoformat()))
    if first and first != row_sha256(one, without=LIFTED):
        yield Misfit(number, f"The trail tells otherwise of the suspension of {number} from {one.since} on.")
    if not one.lifted_from and (one.lift_reason or one.lifted_at or one.lifted_by_id):
        yield Misfit(number, f"{number} is suspended, but somebody is named who reinstated it.")
    if one.lifted_from:
        kept[number, "reinstate_certificate", one.lifted_from.isoformat()] += 1
        last = digests.get((number, "reinstate_certificate", one.lifted_from.isoformat()))
        if last and last != row_sha256(one):
            yield Misfit(number, f"The trail tells otherwise of the reinstatement of {number}.")
        if not one.lift_reason or one.lifted_by_id is None:
            yield Misfit(number, f"{number} was reinstated, but the reason or the person is missing.")
    if one.since < one.certificate.valid_from:
        yield Misfit(number, f"{number} is suspended from a day before it begins.")
