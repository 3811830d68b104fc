"""The policy in force and what it says."""

from __future__ import annotations

import dataclasses

from computations.inputs import Assumptions
from office.policy.models import PolicyEdition

# The key under which `change_limits` holds the limit of every dimension that has none of its own.
DEFAULT_LIMIT = "default"
# Where the office has set no limit at all, any change beyond its own uncertainty matters.
NO_LIMIT = 0.0


def current() -> PolicyEdition:
    """The edition in force. There always is one: a migration makes the first."""
    return PolicyEdition.objects.order_by("-pk")[0]


def assumptions(edition: PolicyEdition) -> Assumptions:
    """The half-widths and choices of this edition, for the computations."""
    return dataclasses.replace(Assumptions(), **edition.assumptions)


def change_limit(edition: PolicyEdition, slug: str) -> float:
    """Least change of the dimension that matters to the office, in the dimension's own unit."""
    limits = edition.change_limits
    return float(limits.get(slug, limits.get(DEFAULT_LIMIT, NO_LIMIT)))


def reminder_stages(edition: PolicyEdition) -> list[int]:
    """Days before the last one on which owners are reminded, the earliest first."""
    return sorted({int(part) for part in edition.reminder_days.split(",") if part.strip()}, reverse=True)


def consequence_of(edition: PolicyEdition, kind: str) -> str:
    """What a declaration of this kind does: note, suspend or end."""
    return str(getattr(edition, f"on_{kind}"))
