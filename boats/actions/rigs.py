"""Describing a rig; the former description ends and stays."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction

from boats import particulars, rigs, rules
from boats.actions.common import reason_of
from boats.models import Boat, Mast, Rig
from office.audit import trail
from office.audit.refusals import Refusal, WrongState
from office.people.models import Person


@transaction.atomic
def describe_rig(
    *,
    by: Person,
    boat: Boat,
    since: dt.date,
    masts: Iterable[Mapping[str, Any]],
    rig_type: str,
    reason: str = "",
    number: int | None = None,
    **rig_fields: Any,
) -> Rig:
    """Describes the rig the boat has from a day on; the former one ends the day before, and stays.

    `number` is the rig the person saw (0 for none); None asks for no such check. `masts` are dicts of
    boats.rigs.MAST_FIELDS, `rig_fields` those of boats.rigs.RIG_FIELDS. A description put right on the day it was
    made leaves a former rig that was never in use: its last day lies before its first.
    """
    rules.check_keeps_register(by)
    rules.check_day(since, "The rig's first day")
    Boat.objects.select_for_update(no_key=True).get(pk=boat.pk)  # one description at a time
    former = Rig.objects.filter(boat=boat, until__isnull=True).prefetch_related("masts").first()
    if number is not None:
        rules.check_rig_number(boat, former, number)
    fields, rows = _described(rig_type, masts, rig_fields)
    before = rigs.plain(former, former.masts.all()) if former else None
    if former:
        reason = reason_of(reason)
        _end_rig(former, since)
    rig = Rig.objects.create(
        boat=boat, number=former.number + 1 if former else 1, since=since, reason=particulars.tidy(reason), **fields
    )
    made = Mast.objects.bulk_create([Mast(rig=rig, **row) for row in rows])
    after = rigs.plain(rig, made)
    if before and {**before, "since": ""} == {**after, "since": ""}:
        raise WrongState(f"Nothing about the rig of {boat.name} would change.")
    trail.record(by=by, verb="describe_rig", subject=rig, before=before, after=after, reason=rig.reason, boat=boat.key)
    return rig


def _described(
    rig_type: str, masts: Iterable[Mapping[str, Any]], rig_fields: dict[str, Any]
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The columns of the rig and of its masts."""
    try:
        rows = rigs.cleaned_masts(rig_type, masts)
        pole = particulars.limited(rig_fields.get("pole_identification", ""), 60, "The pole's identification")
    except ValueError as error:
        raise Refusal(str(error)) from error
    return {**rig_fields, "rig_type": rig_type, "pole_identification": pole}, rows


def _end_rig(former: Rig, since: dt.date) -> None:
    if since < former.since:
        raise WrongState(
            f"The rig described last has stood since {former.since.isoformat()}; the new one's first day, "
            f"{since.isoformat()}, was expected then or later."
        )
    former.until = since - dt.timedelta(days=1)
    former.save(update_fields=["until"])
