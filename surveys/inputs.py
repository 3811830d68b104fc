"""From stored rows to the computations' frozen inputs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import replace

from boats import rigs
from boats.models import Rig as StoredRig
from computations import inputs
from surveys.models import Calibration, Instrument, Reading, Settlement, Visit
from surveys.queries import absences_of, current_readings, fetched, settlements_of
from surveys.transitions import FROZEN


def visit_inputs(visit: Visit, settlements: Sequence[Settlement] | None = None) -> inputs.Visit:
    """The stored visit as the computations take it. Works for a visit without rig or readings too."""
    settlements = settlements_of(visit) if settlements is None else settlements
    preparation = visit.preparation.all() if fetched(visit, "preparation") else visit.preparation.order_by("pk")
    readings = current_readings(visit)
    rig = visit.rig
    return inputs.Visit(
        key=visit.key,
        boat=visit.boat.name,
        sail_number=visit.boat.sail_number,
        design=visit.boat.design.name if visit.boat.design else "",
        date=visit.date,
        place=visit.place,
        measurer=visit.measurer.name if visit.measurer else "",
        air_temperature_c=visit.air_temperature_c,
        interest=visit.interest,
        rig=rig_inputs(rig, visit) if rig else inputs.Rig(),
        instruments=_instruments(visit, readings),
        readings=tuple(_reading(one) for one in readings),
        preparation=tuple(
            inputs.Preparation(item=one.item, answer=one.answer, mast=one.mast, remark=one.remark)
            for one in preparation
        ),
        # A finding's key names its check, then its mast; the latest choice counts.
        absent=tuple(inputs.Absent(one.slug, one.mast, one.position, one.reason) for one in absences_of(visit)),
        bas_choice={one.check_key.split(":")[1]: one.choice for one in settlements if one.choice},
    )


def rig_inputs(rig: StoredRig, visit: Visit | None = None) -> inputs.Rig:
    """The rig as described, with what the visit says of its masts on the day."""
    described = rigs.as_inputs(rig)
    if visit is None:
        return described
    masts = tuple(
        replace(
            mast,
            band_contrast=visit.band_contrast.get(mast.name),
            state=visit.mast_state.get(mast.name) or None,
        )
        for mast in described.masts
    )
    return replace(described, masts=masts)


def _reading(row: Reading) -> inputs.Reading:
    assert row.value is not None  # noqa: S101 - a current reading has one; the database holds it so
    return inputs.Reading(
        slug=row.slug,
        value=row.value,
        mast=row.mast,
        position=row.position,
        take=row.take,
        instrument=row.instrument.identifier if row.instrument else "",
        written=row.written,
        unit_written=row.unit_written,
        remark=row.remark,
    )


def calibrations_used(visit: Visit, instruments: list[Instrument]) -> dict[int, Calibration]:
    """For each instrument (by row id) the calibration that counts on the visit's day.

    Once signed, only what was on record at the signature counts: a calibration entered later leaves the figures alone.
    """
    rows: Iterable[Calibration]
    if all(fetched(one, "calibrations") for one in instruments):
        rows = [row for one in instruments for row in one.calibrations.all()]
    else:
        rows = Calibration.objects.filter(instrument__in=instruments).order_by("pk")
    day = visit.date or dt.date.max
    known_at = visit.signed_at if visit.state in FROZEN else None
    counting = [row for row in rows if row.calibrated_on <= day and (known_at is None or row.recorded_at <= known_at)]
    return {row.instrument_id: row for row in sorted(counting, key=lambda row: row.calibrated_on)}


def calibration_on(instrument: Instrument, day: dt.date) -> Calibration | None:
    """The calibration that counts on a day, whatever came later; `calibrations` may be prefetched."""
    counting = [row for row in instrument.calibrations.all() if row.calibrated_on <= day]
    return max(counting, key=lambda row: (row.calibrated_on, row.pk), default=None)


def _instruments(visit: Visit, readings: list[Reading]) -> tuple[inputs.Instrument, ...]:
    used = {row.instrument.pk: row.instrument for row in readings if row.instrument}
    calibrations = calibrations_used(visit, list(used.values())) if used else {}
    rows = sorted(used.values(), key=lambda one: one.identifier)
    return tuple(instrument_inputs(one, calibrations.get(one.pk)) for one in rows)


def instrument_inputs(instrument: Instrument, calibration: Calibration | None) -> inputs.Instrument:
    """One instrument under one calibration; without one, the class or limit of error is all that is known."""
    plain = inputs.Instrument(
        identifier=instrument.identifier,
        kind=instrument.kind,
        accuracy_class=instrument.accuracy_class or None,
        limit_of_error=instrument.limit_of_error,
        nominal_length_mm=instrument.nominal_length_mm,
        reference_temperature_c=instrument.reference_temperature_c,
        expansion_per_k=instrument.expansion_per_k,
    )
    if calibration is None:
        return plain
    expanded = calibration.expanded_uncertainty
    return replace(
        plain,
        calibration=calibration.key,
        calibration_error=calibration.error,
        calibration_u=None if expanded is None else expanded / calibration.coverage_factor,
        calibrated_on=calibration.calibrated_on,
        due_on=calibration.due_on,
    )
