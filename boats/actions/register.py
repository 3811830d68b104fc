"""Registering a boat and changing her particulars; what stood before is kept as a former edition."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction

from boats import particulars, rules
from boats.actions.common import cleaned, reason_of
from boats.models import Boat, Design, FormerParticulars
from office.audit import trail
from office.audit.refusals import WrongState
from office.people.models import Person

# Said where somebody else registers the number in the same moment; otherwise _refuse_double names the boat.
HIN_TAKEN = "The hull identification number is registered already for another boat."


def _refuse_double(fields: Mapping[str, Any], besides: int | None = None) -> None:
    """No two boats bear one hull identification number, nor one name with one sail number unless their hulls differ."""
    columns = particulars.as_columns(dict(fields))
    others = Boat.objects.all() if besides is None else Boat.objects.exclude(pk=besides)
    if columns["hin"] and (same := others.filter(hin=columns["hin"]).first()):
        raise WrongState(f"The hull identification number {same.hin} is registered already, for {same}.")
    alike = others.filter(sail_number_normal=columns["sail_number_normal"], name_normal=columns["name_normal"])
    for same in alike:
        if not (same.hin and columns["hin"]):
            raise WrongState(
                f"{same} is registered already; if this is another boat, both need their hull identification number."
            )


@transaction.atomic
def register_boat(
    *,
    by: Person,
    name: str,
    sail_number: str,
    hin: str = "",
    design: Design | None = None,
    builder: str = "",
    year: int | None = None,
    harbour: str = "",
    reason: str = "",
) -> Boat:
    rules.check_keeps_register(by)
    fields = cleaned(
        {
            "name": name,
            "sail_number": sail_number,
            "hin": hin,
            "design": design,
            "builder": builder,
            "year": year,
            "harbour": harbour,
        }
    )
    _refuse_double(fields)
    boat = _create(fields)
    trail.record(
        by=by,
        verb="register_boat",
        subject=boat,
        after=particulars.plain(boat),
        reason=particulars.tidy(reason),
        boat=boat.key,
    )
    return boat


def _create(fields: dict[str, Any]) -> Boat:
    try:
        with transaction.atomic():
            return Boat.objects.create(**particulars.as_columns(fields))
    except IntegrityError as error:
        raise WrongState(HIN_TAKEN) from error


def change_particulars(*, by: Person, boat: Boat, edition: int, reason: str, **fields: Any) -> Boat:
    """Changes the particulars named in `fields`; what stood before is kept as one former edition.

    `edition` is the one the person saw. `boat` is brought up to date and returned.
    """
    rules.check_keeps_register(by)
    rules.check_edition(boat, edition)
    why = reason_of(reason)
    tidy = cleaned(fields)
    changed = {name: value for name, value in tidy.items() if getattr(boat, name) != value}
    if not changed:
        raise WrongState(f"Nothing about {boat.name} would change.")
    before = particulars.plain(boat)
    try:
        with transaction.atomic():
            if changed.keys() & {"name", "sail_number", "hin"}:
                _refuse_double({name: getattr(boat, name) for name in particulars.FIELDS} | changed, boat.pk)
            _store_change(boat, changed, edition)
            FormerParticulars.objects.create(
                boat=boat, edition=edition, particulars=before, changed_by_key=by.key, reason=why
            )
            after = particulars.plain(boat)
            trail.record(
                by=by,
                verb="change_particulars",
                subject=boat,
                before={name: before[name] for name in changed},
                after={name: after[name] for name in changed},
                reason=why,
                boat=boat.key,
            )
    except IntegrityError as error:
        raise WrongState(HIN_TAKEN) from error
    return boat


def _store_change(boat: Boat, changed: dict[str, Any], edition: int) -> None:
    """One conditional update: it finds no row when someone else changed the boat since `boat` was loaded."""
    columns = particulars.as_columns(changed)
    found = Boat.objects.filter(pk=boat.pk, edition=edition).update(edition=edition + 1, **columns)
    if not found:
        boat.refresh_from_db()
        rules.check_edition(boat, edition)
    for name, value in columns.items():
        setattr(boat, name, value)
    boat.edition = edition + 1
