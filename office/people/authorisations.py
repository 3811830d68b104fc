"""Authorisations for methods and kinds of work: whether one holds on a day; given, and withdrawn with a reason."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people import rules
from office.people.authorisation_models import KINDS_OF_WORK, Authorisation, Grounds
from office.people.models import Person

WITHDRAWN = ("withdrawn_from", "withdrawn_by_id", "withdrawn_at", "withdrawal_reason")  # columns of the end
EARLIEST = dt.date(1950, 1, 1)  # a sanity bound, no source


def holding_on(day: dt.date) -> Q:
    """Those that hold on a day."""
    return (
        Q(since__lte=day)
        & (Q(until__isnull=True) | Q(until__gte=day))
        & (Q(withdrawn_from__isnull=True) | Q(withdrawn_from__gt=day))
    )


def lacking(person: Person, methods: list[str], day: dt.date) -> list[str]:
    """Those of these methods and kinds of work that the person is not authorised for on the day, in their order."""
    held = set(
        Authorisation.objects.filter(holding_on(day), person=person, method__in=methods).values_list(
            "method", flat=True
        )
    )
    return [one for one in methods if one not in held]


def grant(
    *,
    by: Person,
    person: Person,
    methods: list[str],
    since: dt.date,
    until: dt.date | None,
    grounds: str,
    evidence: str,
) -> list[Authorisation]:
    """Authorise somebody for some methods, on the same grounds. Nobody authorises themselves.

    Raises NotAllowed, WrongState where one holds already on some of these days, Refusal where the days cannot be.
    """
    rules.check_may_manage(by)
    check_not_oneself(by, person)
    evidence = evidence.strip()
    unknown = [one for one in methods if one not in KINDS_OF_WORK]
    if not methods or unknown:
        raise Refusal("Name at least one method or kind of work that the office knows.")
    if not evidence:
        raise Refusal("Say what it rests on: which training, which visit, or with whom compared.")
    if since < EARLIEST or (until is not None and until < since):
        raise Refusal("The last day cannot lie before the first.")
    with transaction.atomic():
        trail.hold()
        person = Person.objects.get(pk=person.pk)
        rules.check_active(person)
        return [_granted(by, person, one, since, until, Grounds(grounds).value, evidence) for one in methods]


def _granted(
    by: Person, person: Person, method: str, since: dt.date, until: dt.date | None, grounds: str, evidence: str
) -> Authorisation:
    standing = Authorisation.objects.filter(person=person, method=method)
    overlaps = standing.filter(Q(until__isnull=True) | Q(until__gte=since)).exclude(withdrawn_from__lte=since)
    overlaps = overlaps.exclude(withdrawn_from=F("since"))  # one that never held
    if former := (overlaps if until is None else overlaps.filter(since__lte=until)).first():
        raise WrongState(
            f"{person.name} is authorised already for {former.method_words.lower()}, {days_in_words(former)}; "
            "withdraw that first, or begin after it."
        )
    made = Authorisation.objects.create(
        person=person, method=method, since=since, until=until, grounds=grounds, evidence=evidence, granted_by=by
    )
    trail.record(
        by=by,
        verb="grant_authorisation",
        subject=trail.subject_of(person),
        after={
            "authorisation": made.key,
            "method": method,
            "since": since.isoformat(),
            "until": until.isoformat() if until else "",
            "grounds": grounds,
            "evidence": evidence,
            "row_sha256": row_sha256(made, without=WITHDRAWN),
        },
    )
    return made


def withdraw(*, by: Person, authorisation: Authorisation, withdrawn_from: dt.date, reason: str) -> Authorisation:
    """From the day on the person is no longer authorised; what was measured before stands.

    A day in the past says that what was measured since then is to be looked at again. Raises NotAllowed, WrongState,
    Refusal.
    """
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        trail.hold()
        one = Authorisation.objects.select_related("person").get(pk=authorisation.pk)
        check_can_withdraw(one)
        latest = last_day_to_withdraw(one)
        if not one.since <= withdrawn_from <= latest:
            raise Refusal(f"It is withdrawn from one of its days: from {one.since} to {latest}.")
        one.withdrawn_from, one.withdrawn_by, one.withdrawn_at = withdrawn_from, by, timezone.now()
        one.withdrawal_reason = reason
        one.save(update_fields=["withdrawn_from", "withdrawn_by", "withdrawn_at", "withdrawal_reason"])
        trail.record(
            by=by,
            verb="withdraw_authorisation",
            subject=trail.subject_of(one.person),
            before={"authorisation": one.key, "method": one.method},
            after={"withdrawn_from": withdrawn_from.isoformat(), "row_sha256": row_sha256(one)},
            reason=reason,
        )
    return one


def check_not_oneself(by: Person, person: Person) -> None:
    if by.pk == person.pk:
        raise NotAllowed("Nobody authorises themselves; another administrator does it.")


def check_can_withdraw(authorisation: Authorisation) -> None:
    if authorisation.withdrawn_from is not None:
        raise WrongState(f"This authorisation is withdrawn already, from {authorisation.withdrawn_from} on.")


def last_day_to_withdraw(one: Authorisation) -> dt.date:
    """Today; the last day of one that has run out; the first day of one that is to come."""
    today = max(timezone.localdate(), one.since)
    return min(today, one.until) if one.until else today


def days_in_words(one: Authorisation) -> str:
    """The days it holds, a withdrawal counted in."""
    last = one.until
    if one.withdrawn_from is not None:
        last = one.withdrawn_from - dt.timedelta(days=1)
    return f"from {one.since.isoformat()}" + (f" to {last.isoformat()}" if last else " on")


def state_on(one: Authorisation, day: dt.date) -> str:
    """How it stands: withdrawn, to_come, run_out or holds."""
    if one.withdrawn_from is not None and one.withdrawn_from <= day:
        return "withdrawn"
    if one.since > day:
        return "to_come"
    return "run_out" if one.until is not None and one.until < day else "holds"


def listed(person: Person) -> list[tuple[Authorisation, str]]:
    """All of a person in the order of the catalogue, with how each stands today."""
    order = list(KINDS_OF_WORK)
    rows = list(person.authorisations.select_related("granted_by", "withdrawn_by"))
    rows.sort(key=lambda one: (order.index(one.method) if one.method in order else len(order), one.since))
    return [(one, state_on(one, timezone.localdate())) for one in rows]
