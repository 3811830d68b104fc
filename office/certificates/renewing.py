"""Renewing without a new visit: what may be renewed, and many certificates in one go, each its own transaction.

The office's policy says how long after measuring a certificate may follow another one (`renewal_months`). The new
certificate states the same visit, begins the day after the former one ends and names it. Where that one has ended
already, the new one begins today: what was answered for the days between stands, and on them none was in force.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from boats.models import Declaration, Rig
from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import rules
from office.certificates.actions import issue
from office.certificates.models import Certificate, Renewal, RenewalItem
from office.certificates.standing import WORDS, Standing, standing
from office.certificates.validity import last_day
from office.people.models import Role
from office.policy import queries as policy_queries
from office.policy.models import ValidityRule
from office.work import workers
from office.work.actions import ask_for_work
from office.work.models import Work, WorkState
from surveys.models import Visit, VisitState

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from office.people.models import Person
    from office.policy.models import PolicyEdition

MOST_AT_ONCE = 500
WORTH_ANOTHER = 10  # certificates for each worker that joins in
A_MOMENT = dt.timedelta(seconds=10)  # for one certificate, many times over
ABANDONED = dt.timedelta(minutes=5)  # after which another request takes over an item that one has left half done
REASON = "Renewed on the strength of the visit of {day}, without a new one."
GAP = " {number} ended on {last}; on the days since then none was in force."


@dataclass(frozen=True, slots=True)
class Renewable:
    """A certificate with what decides whether it may be renewed."""

    certificate: Certificate
    last_visit: Visit | None  # the boat's last accepted one
    rig_today: int | None
    follower: str  # number of a certificate of the boat that begins later, or that replaced it
    declared: str  # what an owner has declared and the office has not settled
    policy: PolicyEdition
    today: dt.date

    @property
    def first_day(self) -> dt.date:
        return max(self.certificate.in_force_before, self.today)

    @property
    def has_gap(self) -> bool:
        return self.certificate.in_force_before < self.today

    @property
    def latest_day(self) -> dt.date | None:
        """The last day on which its measuring is still good for a renewal."""
        measured = self.certificate.visit.date
        if measured is None or not self.policy.renewal_months:
            return None
        return last_day(ValidityRule.MONTHS, self.policy.renewal_months, measured)


def ending_by(day: dt.date, today: dt.date) -> QuerySet[Certificate]:
    """Certificates in force or suspended today that end by themselves on that day at the latest, the first first."""
    rows = Certificate.objects.filter(valid_from__lte=today, in_force_before__gt=today, ending="", valid_until__lte=day)
    return (
        rows.select_related("boat", "visit")
        .defer("snapshot")
        .prefetch_related("suspensions")
        .order_by("valid_until", "number")
    )


def ended_since(day: dt.date, today: dt.date) -> QuerySet[Certificate]:
    """Certificates that ended by themselves from that day on, before today, and that none of the boat follows."""
    later = Certificate.objects.filter(boat=OuterRef("boat"), valid_from__gt=OuterRef("valid_from"))
    rows = Certificate.objects.filter(
        ~Exists(later.exclude(ending="withdrawn")), valid_until__gte=day, in_force_before__lte=today, ending="",
        successor=None,
    )  # fmt: skip
    return rows.select_related("boat", "visit").defer("snapshot").prefetch_related("suspensions")


def weigh(certificates: Iterable[Certificate]) -> list[Renewable]:
    """Each with what decides on it, in a number of queries that does not grow with them."""
    listed = list(certificates)
    boats = {one.boat_id for one in listed}
    accepted = Visit.objects.filter(boat__in=boats, state=VisitState.ACCEPTED).order_by("date", "pk")
    last_visit = {visit.boat_id: visit for visit in accepted}
    rigs = dict(Rig.objects.filter(boat__in=boats, until__isnull=True).values_list("boat_id", "pk"))
    others = Certificate.objects.filter(boat__in=boats).exclude(ending="withdrawn").order_by("valid_from")
    rows = list(others.values_list("boat_id", "pk", "number", "valid_from", "replaces_id"))
    declarations = Declaration.objects.filter(boat__in=boats, settled_at__isnull=True).order_by("pk")
    declared = {one.boat_id: one.get_kind_display().lower() for one in declarations}
    policy, today = policy_queries.current(), timezone.localdate()
    return [
        Renewable(
            certificate=one,
            last_visit=last_visit.get(one.boat_id),
            rig_today=rigs.get(one.boat_id),
            follower=next(
                (
                    number
                    for boat, pk, number, begins, replaces in rows
                    if boat == one.boat_id and pk != one.pk and (begins > one.valid_from or replaces == one.pk)
                ),
                "",
            ),
            declared=declared.get(one.boat_id, ""),
            policy=policy,
            today=today,
        )
        for one in listed
    ]


def check_can_renew(one: Renewable, today: dt.date) -> None:
    """In force or ended by itself, not suspended, followed by none, resting on the boat's last visit, her rig
    unchanged, measured not too long ago."""
    certificate, name = one.certificate, one.certificate.boat.name
    if (now := standing(certificate, today)) not in {Standing.IN_FORCE, Standing.EXPIRED}:
        raise WrongState(f"{certificate.number} is {WORDS[now].lower()}; only one in force or expired is renewed.")
    if suspension := rules.open_suspension(certificate):
        since = suspension.since.isoformat()
        raise WrongState(f"{certificate.number} is suspended from {since} on and was when it ended; certify anew.")
    if one.follower:
        raise WrongState(f"{certificate.number} is followed already, by {one.follower}.")
    if one.declared:
        raise WrongState(f"An owner of {name} has declared: {one.declared}; the office settles that first.")
    if one.last_visit is None or one.last_visit.pk != certificate.visit_id:
        raise WrongState(f"{name} has been measured again since; certify that visit instead.")
    if one.rig_today is not None and certificate.visit.rig_id != one.rig_today:
        raise WrongState(f"The rig of {name} has been described anew since her visit; she is measured again first.")
    if not one.policy.renewal_months:
        raise WrongState("The office's policy renews nothing without a new visit.")
    latest = one.latest_day
    if latest is None or one.first_day > latest:
        measured = certificate.visit.date.isoformat() if certificate.visit.date else "an unknown day"
        raise WrongState(
            f"{name} was measured on {measured}; the policy renews within {one.policy.renewal_months} months of that, "
            "so a new visit is due."
        )


def why_not(one: Renewable, today: dt.date) -> str:
    """The rule's sentence, "" where it holds."""
    try:
        check_can_renew(one, today)
    except Refusal as refusal:
        return str(refusal)
    return ""


def renew(
    *, by: Person, certificate: Certificate, then: Callable[[Certificate], object] = lambda made: None
) -> Certificate:
    """One certificate renewed from the day after its last one, or from today where that has passed.

    `then` is done in the same transaction.
    """
    one = weigh([Certificate.objects.select_related("boat", "visit").get(pk=certificate.pk)])[0]
    check_may_renew(by)
    check_can_renew(one, timezone.localdate())
    day = one.certificate.visit.date
    assert day is not None  # noqa: S101  (a visit without a day is refused above)
    return issue(
        by=by,
        visit=one.certificate.visit,
        valid_from=one.first_day,
        reason=REASON.format(day=day.isoformat()) + (_gap(one.certificate) if one.has_gap else ""),
        replacing=one.certificate.number,
        then=then,
    )


def _gap(certificate: Certificate) -> str:
    return GAP.format(number=certificate.number, last=certificate.valid_until.isoformat())


def check_may_renew(person: Person) -> None:
    if not person.holds(Role.CERTIFIER):
        raise NotAllowed(f"Certificates are renewed by a certifier; {person.name} does not hold that role.")


def may_renew(person: Person) -> bool:
    return person.holds(Role.CERTIFIER)


# ---- Many in one go ----


def begin(*, by: Person, key: str, numbers: Sequence[str]) -> Renewal:
    """Notes which certificates are to be renewed. The same key again is the same renewal: a second click adds none."""
    check_may_renew(by)
    if not numbers:
        raise WrongState("Tick at least one certificate.")
    if len(numbers) > MOST_AT_ONCE:
        raise WrongState(f"At most {MOST_AT_ONCE} certificates are renewed in one go; {len(numbers)} are ticked.")
    with transaction.atomic():
        trail.hold()
        known = Renewal.objects.filter(key=key).first()
        if known:
            return known
        chosen = list(Certificate.objects.filter(number__in=numbers).order_by("valid_until", "number"))
        if len(chosen) != len(set(numbers)):
            raise WrongState("One of the ticked certificates is not in the register; open the list again.")
        made = Renewal.objects.create(key=key, by=by)
        RenewalItem.objects.bulk_create(RenewalItem(renewal=made, certificate=one) for one in chosen)
        ask_for_work(by=by, kind="renew", once=once(made), renewal=made.key)
        for place in range(1, min(workers.alive(), len(chosen) // WORTH_ANOTHER)):
            ask_for_work(by=by, kind="renew_beside", once=f"{once(made)}, {place}", renewal=made.key)
        trail.record(
            by=by,
            verb="begin_renewal",
            subject=trail.Subject("renewal", made.key, str(made)),
            after={"certificates": [one.number for one in chosen]},
        )
    return made


def go_on(*, by: Person, renewal: Renewal, most: int = 1) -> int:
    """Works off up to `most` waiting items; returns how many were done. Two requests never take the same one."""
    check_may_renew(by)
    done = 0
    while done < most and (item := _claim(renewal)):
        try:
            renew(by=by, certificate=item.certificate, then=partial(_note, item))
        except Refusal as refusal:
            RenewalItem.objects.filter(pk=item.pk, done_at__isnull=True).update(
                done_at=timezone.now(), refusal=str(refusal)
            )
        done += 1
    return done


def just_begun(renewal: Renewal) -> bool:
    """Whether somebody else has begun one of them a moment ago and will be through with it in another."""
    lately = timezone.now() - A_MOMENT
    return renewal.items.filter(done_at__isnull=True, claimed_at__gte=lately).exists()


def _note(item: RenewalItem, made: Certificate) -> None:
    """What came of it, in the transaction of the issue: no kill and no slow request comes between the two."""
    mine = RenewalItem.objects.filter(pk=item.pk, done_at__isnull=True)
    if not mine.update(done_at=timezone.now(), made=made):
        raise WrongState("Another request has done it meanwhile.")


def once(renewal: Renewal) -> str:
    """The word under which a worker is asked to work it off."""
    return f"renewal {renewal.key}"


def is_worked_off(renewal: Renewal) -> bool:
    """Whether a worker is there that goes on by itself; else the page does."""
    asked = Work.objects.filter(once=once(renewal)).exclude(state__in=[WorkState.DONE, WorkState.FAILED])
    return workers.any_alive() and asked.exists()


def _claim(renewal: Renewal) -> RenewalItem | None:
    """The next item that nobody is at; one that was left half done is taken up again."""
    now = timezone.now()
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - ABANDONED)
    waiting = RenewalItem.objects.filter(free, renewal=renewal, done_at__isnull=True)
    for pk in waiting.order_by("pk").values_list("pk", flat=True)[:20]:
        if waiting.filter(pk=pk).update(claimed_at=now):
            return RenewalItem.objects.select_related("certificate").get(pk=pk)
    return None
