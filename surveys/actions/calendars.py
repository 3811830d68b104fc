"""The personal address of a calendar: shown once, kept only as a hash, ended by its owner or by the next one."""

from __future__ import annotations

import hashlib
import secrets

from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.models import CalendarFeed

TOKEN_BYTES = 32  # 256 random bits


@transaction.atomic
def make_calendar(*, by: Person) -> tuple[CalendarFeed, str]:
    """A new address for one's own calendar; the former one ends. Returns the token, which is kept nowhere."""
    rules.check_may_have_calendar(by)
    trail.hold()
    for former in by.calendar_feeds.filter(revoked_at=None):
        _revoke(by, former, "a new address took its place")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed = CalendarFeed(person=by, token_sha256=sha256(token))
    feed.save()
    trail.record(by=by, verb="make_calendar", subject=feed, after={"person": by.key})
    return feed, token


@transaction.atomic
def revoke_calendar(*, by: Person) -> CalendarFeed:
    """The address answers no more. WrongState where there is none."""
    trail.hold()
    feed = by.calendar_feeds.filter(revoked_at=None).first()
    if feed is None:
        raise WrongState("You have no calendar address that could be ended.")
    return _revoke(by, feed, "")


def _revoke(by: Person, feed: CalendarFeed, reason: str) -> CalendarFeed:
    feed.revoked_at = timezone.now()
    feed.save(update_fields=["revoked_at"])
    trail.record(by=by, verb="revoke_calendar", subject=feed, before={"person": by.key}, reason=reason)
    return feed


def find_calendar(token: str) -> CalendarFeed | None:
    """The feed the token opens today: not ended, its person active and still in a role that has visits to plan."""
    feeds = CalendarFeed.objects.select_related("person").filter(token_sha256=sha256(token), revoked_at=None)
    feed = feeds.first()
    return feed if feed is not None and rules.may_have_calendar(feed.person) else None


def sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
