"""What a spot check finds: each item agrees, differs or cannot be told, with the numbers and the rule that decides.

The readings go through the same formulas and sources as a visit's. The uncertainty of the difference leaves out what
the certificate's visit and this check share, such as one tape under one calibration; the tolerance is the office's
limit for a change. (Guarded acceptance and rejection: computations.conformity.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from computations import inputs
from computations.catalogue import (
    DIMENSIONS,
    READINGS,
    STATIONS,
    ReadingKind,
    masts_with,
)
from computations.comparison import compare
from computations.conformity import spot_check, what_would_tell
from computations.derivation import Derivation, derive
from computations.next_reading import readings_for
from computations.rounding import decimals_of_uncertainty, format_number
from office.certificates import snapshot
from office.policy import queries as policy_queries
from office.racing.models import SpotCheck, SpotInstrument, SpotReading
from surveys.figures import derive_visit
from surveys.inputs import calibration_on, instrument_inputs
from surveys.models import Instrument

Item = tuple[str, str]  # dimension's slug, mast
# Heights stand on the boom's height; an outrigger's forestay is carried on to the mast's front.
_ON_THE_BOOM = {"forestay_height", "spinnaker_hoist"}
NOT_READ, AGREES, DIFFERS, CANNOT_TELL = "not_read", "agrees", "differs", "cannot_tell"
SAME = 1e-6  # relative: the visit's figures are those the certificate states


@dataclass(frozen=True, slots=True)
class Finding:
    """One item. Values in the dimension's unit; texts are rounded with their U."""

    slug: str
    mast: str
    name: str
    symbol: str
    unit: str
    certified: str
    certified_expanded: str
    answer: str
    found: str = ""
    found_expanded: str = ""
    difference: str = ""
    difference_expanded: str = ""
    tolerance: str = ""
    rule: str = ""
    would_tell: str = ""
    missing: str = ""


def stated(document: dict[str, Any]) -> dict[Item, dict[str, Any]]:
    """The certificate's rows that readings give directly: lengths, sections, weights; no areas and ratios."""
    fed = {label for kind in READINGS.values() for label in kind.feeds}
    return {
        (row["slug"], row["mast"]): row
        for row in document["dimensions"]
        if row["slug"] in DIMENSIONS
        and DIMENSIONS[row["slug"]].label in fed
        and row["expanded_uncertainty"] is not None
    }


def readings_of(items: Iterable[Item], rig: inputs.Rig) -> list[tuple[ReadingKind, str, str]]:
    """(kind, mast, side) of each reading that these dimensions are made of, in the order a measurer walks."""
    wanted = {(label, mast) for slug, mast in items for label in _labels(slug, rig)}
    found = []
    for kind in sorted(READINGS.values(), key=lambda one: (list(STATIONS).index(one.station), one.order)):
        for mast in masts_with(kind, rig):
            if kind.applies(rig, mast) and any((label, mast.name) in wanted for label in kind.feeds):
                found += [(kind, mast.name, side) for side in kind.sides or ("",)]
    return found


def _labels(slug: str, rig: inputs.Rig) -> set[str]:
    labels = {DIMENSIONS[slug].label}
    if slug in _ON_THE_BOOM:
        labels.add(DIMENSIONS["boom_above_sheer"].label)
    if slug == "forestay_height" and rig.outrigger:
        labels.add(DIMENSIONS["foretriangle_base"].label)
    return labels


def standing_readings(spot: SpotCheck) -> list[SpotReading]:
    """The takes that count now, those taken away left out; one query."""
    rows = list(spot.readings.select_related("recorded_by").order_by("pk"))
    replaced = {one.replaces_id for one in rows}
    return [one for one in rows if one.pk not in replaced and one.value is not None]


def derive_spot(spot: SpotCheck, document: dict[str, Any], readings: Sequence[SpotReading]) -> Derivation:
    """The check's readings on the rig that the certificate states."""
    given = inputs.Visit(
        key=f"spot:{spot.key}",
        date=spot.day,
        air_temperature_c=spot.air_temperature_c,
        rig=snapshot.rig_of(document),
        instruments=_instruments(spot, {one.instrument for one in readings}),
        readings=tuple(
            inputs.Reading(
                slug=one.slug, value=one.value or 0.0, mast=one.mast, position=one.position, take=one.take,
                instrument=one.instrument, written=one.written, unit_written=one.unit_written, remark=one.remark,
            )
            for one in readings
        ),
    )  # fmt: skip
    return derive(given, policy_queries.assumptions(policy_queries.current()))


def _instruments(spot: SpotCheck, identifiers: set[str]) -> tuple[inputs.Instrument, ...]:
    own = {one.identifier: _described(one) for one in spot.instruments.all()}
    kit = Instrument.objects.filter(identifier__in=identifiers - own.keys()).prefetch_related("calibrations")
    known = {one.identifier: instrument_inputs(one, calibration_on(one, spot.day)) for one in kit}
    return tuple(one for identifier, one in sorted((known | own).items()) if identifier in identifiers)


def _described(one: SpotInstrument) -> inputs.Instrument:
    return inputs.Instrument(
        identifier=one.identifier,
        kind=one.kind,
        accuracy_class=one.accuracy_class or None,
        limit_of_error=one.limit_of_error,
        nominal_length_mm=one.nominal_length_mm,
    )


def findings(spot: SpotCheck) -> list[Finding]:
    """Every item of the check, as it stands with the readings there are; a finished one as it was finished."""
    if spot.outcome is not None:
        return [Finding(**row) for row in spot.outcome]
    document = snapshot.read(spot.certificate)
    readings = standing_readings(spot)
    derivation = derive_spot(spot, document, readings)
    before = derive_visit(spot.certificate.visit).derivation
    rows = stated(document)
    changes = {(one.slug, one.mast): one for one in compare(before, derivation).changes}
    policy = policy_queries.current()
    found = []
    for item in [(slug, mast) for slug, mast in spot.items]:
        row = rows[item]
        shared = changes.get(item)
        u_shared = None
        if shared is not None and shared.expanded_uncertainty is not None and _same(shared.previous, row):
            u_shared = shared.expanded_uncertainty / derivation.assumptions.coverage_factor
        found.append(_finding(row, derivation, u_shared, policy_queries.change_limit(policy, item[0])))
    return found


def _same(value: float | None, row: dict[str, Any]) -> bool:
    return value is not None and math.isclose(value, float(row["value_unrounded"]), rel_tol=SAME, abs_tol=SAME)


def _finding(row: dict[str, Any], derivation: Derivation, u_shared: float | None, tolerance: float) -> Finding:
    slug, mast = row["slug"], row["mast"]
    kind = DIMENSIONS[slug]
    certified = float(row["value_unrounded"])
    certified_expanded = float(row["expanded_uncertainty_unrounded"])
    start = Finding(
        slug, mast, kind.name, kind.symbol, row["unit"], _number(certified, certified_expanded),
        _number(certified_expanded, certified_expanded), NOT_READ,
    )  # fmt: skip
    one = derivation.get(slug, mast)
    if one is None or one.value is None or one.standard_uncertainty is None:
        missing = ", ".join(_reading_name(ref.reading, ref.position) for ref in one.missing) if one else ""
        return _with(start, missing=missing or (one.reason if one else ""))
    u_certified = certified_expanded / float(row["coverage_factor"])
    u = u_shared or math.hypot(u_certified, one.standard_uncertainty)
    factor = derivation.assumptions.coverage_factor
    found = spot_check(certified, one.value, u, tolerance, factor=factor, unit=row["unit"])
    better = readings_for(derivation, slug, mast) if found.answer == CANNOT_TELL else None
    expanded = one.expanded_uncertainty or factor * one.standard_uncertainty
    sign = "+" if found.value > 0 else ""
    return _with(
        start,
        answer=found.answer,
        found=_number(one.value, expanded),
        found_expanded=_number(expanded, expanded),
        difference=f"{sign}{_number(found.value, found.expanded)}",
        difference_expanded=_number(found.expanded, found.expanded),
        tolerance=f"{tolerance:g}",
        rule=found.rule,
        would_tell=what_would_tell(found, row["unit"], better),
    )


def _with(start: Finding, **more: str) -> Finding:
    return Finding(**{**asdict(start), **more})


def _reading_name(slug: str, position: str) -> str:
    return " ".join(part for part in (READINGS[slug].name if slug in READINGS else slug, position) if part)


def _number(value: float, expanded: float) -> str:
    return format_number(value, max(decimals_of_uncertainty(expanded) or 0, 0))


def frozen(found: Iterable[Finding]) -> list[dict[str, str]]:
    """JSON-ready, to be kept when the check is finished."""
    return [asdict(one) for one in found]
