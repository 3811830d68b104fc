"""Looking people and invitations up."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from operator import or_

from django.db import models
from django.utils import timezone

from office.lookups import begins_in_lower_case
from office.people.models import Invitation, Person


def people(*, name: str = "", role: str = "", active: bool | None = None) -> models.QuerySet[Person]:
    """Everybody who fits, by name, with their roles at hand."""
    found = Person.objects.prefetch_related("role_holdings")
    if name:
        found = found.filter(_called(name))
    if role:
        found = found.filter(role_holdings__role=role, role_holdings__ended_at=None)
    if active is not None:
        found = found.filter(is_active=active)
    return found


def _called(text: str) -> models.Q:
    """Whose name, name after the first word, or e-mail address begins so: each a range of an index."""
    columns = ("name__lower", "name_after_first", "email__lower")
    return reduce(or_, [begins_in_lower_case(column, text) for column in columns])


def open_invitations() -> models.QuerySet[Invitation]:
    """Links that still work, newest first."""
    return Invitation.objects.filter(used_at=None, cancelled_at=None, expires_at__gt=timezone.now()).select_related(
        "invited_by", "person"
    )


def names_by_key(keys: Iterable[str]) -> dict[str, str]:
    """Person's key -> name, for those keys that are a person's: one query."""
    wanted = {key for key in keys if key}
    return dict(Person.objects.filter(key__in=wanted).values_list("key", "name")) if wanted else {}
