"""From stored visits to their log sheets: in a number of queries that does not grow with the visits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Prefetch, QuerySet
from django.urls import reverse
from django.utils.safestring import SafeString

from boats.models import Rig as StoredRig
from computations import inputs
from computations.catalogue import READINGS
from office import papers
from office.audit.refusals import WrongState
from office.policy import queries as policy_queries
from office.policy.models import PolicyEdition
from surveys.inputs import rig_inputs
from surveys.models import Calibration, Instrument, Visit
from surveys.paper.drawing import Plan, rig_with_lines
from surveys.paper.sheet import MAST_TITLES, Numbering, Station, stations_of
from surveys.queries import mean_values, previous_accepted_of

KINDS = {
    "steel_tape": "steel tape", "rule": "rule", "calliper": "calliper", "scale": "scale", "level": "level",
    "plumb_line": "plumb line",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """One instrument of the office, and how its calibration stands on the day."""

    identifier: str
    what: str
    calibration: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that one visit's paper says."""

    visit: Visit
    rig: inputs.Rig
    day: dt.date | None
    masts: tuple[tuple[str, inputs.Mast], ...]
    stations: tuple[Station, ...]
    kit: tuple[Piece, ...]
    previous_on: dt.date | None  # the day of the values shown; None where none are
    policy: PolicyEdition
    address: str
    code: SafeString
    drawing: Plan


def for_paper(visits: QuerySet[Visit]) -> QuerySet[Visit]:
    """Visits with what their sheets need; `present_rigs` holds the rig a planned visit will take."""
    described = StoredRig.objects.filter(until__isnull=True).prefetch_related("masts")
    return visits.select_related("boat__design", "measurer", "rig").prefetch_related(
        "rig__masts", Prefetch("boat__rigs", described, to_attr="present_rigs")
    )


def rig_of(visit: Visit) -> StoredRig | None:
    """The visit's rig; before it has one, the boat's present one. The visit comes from `for_paper`."""
    if visit.rig is not None:
        return visit.rig
    present: list[StoredRig] = getattr(visit.boat, "present_rigs", [])
    return present[0] if present else None


def sheets_of(visits: Sequence[Visit], *, blank: bool = False) -> list[Sheet]:
    """A sheet for each visit from `for_paper`. WrongState where a boat's rig is not described.

    Previous values stand on it where the office's policy shows them to measurers and nobody asked for a blank one.
    """
    policy = policy_queries.current()
    earlier = previous_accepted_of(visits)
    shown = policy.show_previous_to_measurer and not blank
    instruments = _instruments()
    return [_sheet(visit, earlier.get(visit.pk), policy, instruments, shown=shown) for visit in visits]


def _instruments() -> list[Instrument]:
    newest_first = Calibration.objects.order_by("-calibrated_on", "-pk")
    return list(Instrument.objects.prefetch_related(Prefetch("calibrations", newest_first)))


def _sheet(
    visit: Visit, earlier: Visit | None, policy: PolicyEdition, instruments: Iterable[Instrument], *, shown: bool
) -> Sheet:
    stored = rig_of(visit)
    if stored is None:
        raise WrongState(f"The rig of {visit.boat.name} has not been described yet; describe it, then print the sheet.")
    rig = rig_inputs(stored)
    values = mean_values(earlier) if earlier else {}
    halyards: dict[str, tuple[str, ...]] = {
        rig.forward_mast: tuple(sorted({place for slug, _, place in values if READINGS[slug].named_position and place}))
    }
    numbering = Numbering(values if shown else {}, halyards)
    stations = stations_of(rig, numbering)
    day = visit.date or visit.planned_on
    address = settings.PUBLIC_URL + reverse("surveys:visit", args=[visit.key])
    return Sheet(
        visit=visit,
        rig=rig,
        day=day,
        masts=tuple((MAST_TITLES[mast.name], mast) for mast in rig.masts),
        stations=stations,
        kit=_kit(visit, instruments, stations, day),
        previous_on=earlier.date if earlier and shown else None,
        policy=policy,
        address=address,
        code=papers.code(address),
        drawing=rig_with_lines(rig, numbering.given, f"Where each figure of {visit.boat.name} is read"),
    )


def _kit(
    visit: Visit, instruments: Iterable[Instrument], stations: Iterable[Station], day: dt.date | None
) -> tuple[Piece, ...]:
    """What suits a reading of the sheet and is in use on the day: the measurer's own pieces, and those nobody keeps."""
    wanted = {
        kind
        for station in stations
        for part in station.parts
        for item in part.items
        for kind in item.kind.instrument_kinds
    } | {"level", "plumb_line"}
    return tuple(
        Piece(one.identifier, _what(one), _calibration(one, day))
        for one in instruments
        if one.kind in wanted
        and one.keeper_id in {None, visit.measurer_id}
        and not (one.out_of_use_since and (day is None or one.out_of_use_since <= day))
    )


def _what(one: Instrument) -> str:
    length = f"{one.nominal_length_mm / 1000:g} m" if one.nominal_length_mm else ""
    return " ".join(part for part in (KINDS.get(one.kind, one.kind), length) if part)


def _calibration(one: Instrument, day: dt.date | None) -> str:
    counting = next((row for row in one.calibrations.all() if day is None or row.calibrated_on <= day), None)
    if counting is None:
        return "" if one.kind in {"level", "plumb_line"} else "no calibration on record"
    if day is not None and counting.due_on < day:
        return f"calibration was due {counting.due_on.isoformat()}"
    return f"calibrated until {counting.due_on.isoformat()}"
