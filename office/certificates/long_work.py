"""Long work about certificates."""

from __future__ import annotations

import datetime as dt
import time

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from office.certificates import reminding, renewing
from office.certificates.models import Renewal
from office.certificates.recomputing import Difference, recompute
from office.people.models import Role
from office.work.daily import daily
from office.work.hours import hour_of
from office.work.kinds import kind
from office.work.progress import Progress, TryAgain

PAUSE = 0.5  # seconds between two looks whether another worker is through with its last certificate


@kind("recompute", "Every visit derived again", Role.ADMINISTRATOR, Role.CERTIFIER)
def recompute_all(progress: Progress) -> None:
    """Stores nothing but its sentences; may be done again at any time."""
    found = recompute(progress.step)
    progress.say(
        f"{found.visits} visits derived; held against {found.signatures} signatures and "
        f"{found.certificates} certificates."
    )
    if not found.differing:
        progress.say("Every figure is what was signed and certified.")
    else:
        progress.say(f"{found.differing} figures differ:")
    for one in found.differences:
        progress.say(_sentence(one))


def _sentence(one: Difference) -> str:
    method = f" ({one.method.replace('_', ' ')})" if one.method else ""
    return (
        f"{one.boat}, {one.where}: {one.dimension}{method} of the {one.mast} mast, {one.what.replace('_', ' ')}: "
        f"stated {one.stated or 'nothing'}, now {one.now or 'nothing'}."
    )


@kind("reminders", "Reminders to owners", tries=5)
def remind(progress: Progress) -> None:
    """Each letter once for its stage, whoever asks however often; those that could not be sent wait to be."""
    done = reminding.send(by=None, chosen=reminding.letters(timezone.localdate()))
    progress.say(f"{done.sent} sent, {done.already} were sent before.")
    if done.waiting:
        progress.say(f"{done.waiting} wait for the mail server ({done.trouble}); a worker sends them.")


@kind("renew", "Certificates renewed", tries=5)
def renew(progress: Progress, *, renewal: str) -> None:
    """Each certificate is a transaction of its own; the page may work at the same renewal, nothing is made twice."""
    asked = Renewal.objects.select_related("by").get(key=renewal)
    items = asked.items.all()
    progress.leads_to(reverse("certificates:renewal", args=[asked.key]))
    total = items.count()
    while True:
        progress.step(items.filter(done_at__isnull=False).count(), total)
        if not renewing.go_on(by=asked.by, renewal=asked):
            if not renewing.just_begun(asked):
                break
            time.sleep(PAUSE)
    if left := items.filter(done_at__isnull=True).count():
        raise TryAgain(f"{left} of them were being done elsewhere.", renewing.ABANDONED)
    made = items.filter(made__isnull=False).count()
    progress.say(f"{made} issued, {total - made} refused; the page of the renewal says why.")


@kind("renew_beside", "Certificates renewed, by another worker beside", tries=1)
def renew_beside(progress: Progress, *, renewal: str) -> None:
    """Joins in where several workers wait; whatever it leaves, the other one does."""
    asked, done = Renewal.objects.select_related("by").get(key=renewal), 0
    progress.leads_to(reverse("certificates:renewal", args=[asked.key]))
    while renewing.go_on(by=asked.by, renewal=asked):
        done += 1
        progress.step(done, 0)
    progress.say(f"{done} of them done here.")


def reminders_at() -> dt.time | None:
    return hour_of(settings.REMINDERS_AT)


daily("reminders", reminders_at)
