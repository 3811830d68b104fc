"""What every change of a visit shares: the lock at its start, the edition and the trail's row at its end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from office.audit import trail
from office.people.models import Person
from surveys.models import Visit
from surveys.transitions import BY_VERB


def lock(visit: Visit) -> Visit:
    """The same visit, as the database has it now, held until the transaction ends.

    Held against other changes only (`no_key`): a row that refers to it may be written meanwhile. Otherwise somebody
    who already holds the trail would wait for this row, and this transaction for the trail.
    """
    rows = Visit.objects.select_for_update(of=("self",), no_key=True).select_related("boat", "rig")
    visit.refresh_from_db(from_queryset=rows)
    return visit


def finish(
    visit: Visit,
    *,
    by: Person,
    verb: str,
    fields: tuple[str, ...] = (),
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
) -> Visit:
    """Store the named fields, count the edition and write the trail's one row."""
    visit.edition += 1
    visit.save(update_fields=[*fields, "edition"])
    trail.record(
        by=by,
        verb=verb,
        subject=visit,
        before=before,
        after=after,
        reason=reason,
        boat=visit.boat.key,
        visit=visit.key,
    )
    return visit


def move(
    visit: Visit,
    transition: str,
    *,
    by: Person,
    verb: str,
    fields: tuple[str, ...] = (),
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
) -> Visit:
    """Like `finish`, with the change of state the table of transitions names."""
    left, visit.state = visit.state, BY_VERB[transition].target
    return finish(
        visit,
        by=by,
        verb=verb,
        fields=(*fields, "state"),
        before={"state": left, **(before or {})},
        after={"state": visit.state, **(after or {})},
        reason=reason,
    )


def text_of(value: object) -> str:
    """A value as the trail shows it: ISO dates, numbers as written, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.12g}"
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
