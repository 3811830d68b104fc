"""The office's kit: record a piece, calibrate it anew, note its maintenance, take it out of use."""

from __future__ import annotations

import datetime as dt
import math
import re

from django.db import IntegrityError, transaction
from django.utils import timezone

from computations.inputs import INSTRUMENT_KINDS
from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import Stale, WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import text_of
from surveys.actions.reasons import given_reason
from surveys.instrument_models import LONGEST_FIRMWARE
from surveys.logsheet.fields import ACCURACY_CLASSES, LONGEST_INSTRUMENT
from surveys.models import Calibration, Instrument, Maintenance
from surveys.values import Unreadable, seen

# It stands in addresses and file cells.
IDENTIFIER = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]*")
STEEL_EXPANSION = 11.5e-6  # per K, surveying practice


@transaction.atomic
def record_instrument(
    *,
    by: Person,
    identifier: str,
    kind: str,
    maker: str = "",
    serial_number: str = "",
    firmware: str = "",
    accuracy_class: str = "",
    limit_of_error: float | None = None,
    nominal_length_mm: float | None = None,
    reference_temperature_c: float = 20.0,
    expansion_per_k: float = STEEL_EXPANSION,
    keeper: Person | None = None,
) -> Instrument:
    """Enter a piece of the kit under the office's own mark."""
    rules.check_may_keep_instruments(by)
    identifier = identifier.strip()
    if len(identifier) > LONGEST_INSTRUMENT or not IDENTIFIER.fullmatch(identifier) or identifier == "record":
        expected = f"1 to {LONGEST_INSTRUMENT} letters, digits, dots and hyphens, such as T-07"
        raise Unreadable("Identifier", identifier, expected, "identifier")
    if kind not in INSTRUMENT_KINDS:
        raise Unreadable("Kind", kind, ", ".join(INSTRUMENT_KINDS), "kind")
    if accuracy_class and accuracy_class not in ACCURACY_CLASSES:
        raise Unreadable("Accuracy class", accuracy_class, ", ".join(ACCURACY_CLASSES), "accuracy_class")
    _finite("Limit of error", limit_of_error, "limit_of_error", least=0.0)
    _finite("Nominal length", nominal_length_mm, "nominal_length_mm", least=1.0)
    _finite("Reference temperature", reference_temperature_c, "reference_temperature_c", least=-50.0)
    _finite("Expansion", expansion_per_k, "expansion_per_k", least=0.0)
    instrument = Instrument(
        identifier=identifier,
        kind=kind,
        maker=seen("Maker", maker, 80, "maker"),
        serial_number=seen("Serial number", serial_number, 60, "serial_number"),
        firmware=seen("Firmware", firmware, LONGEST_FIRMWARE, "firmware"),
        accuracy_class=accuracy_class,
        limit_of_error=limit_of_error,
        nominal_length_mm=nominal_length_mm,
        reference_temperature_c=reference_temperature_c,
        expansion_per_k=expansion_per_k,
        keeper=keeper,
    )
    if Instrument.objects.filter(identifier__iexact=identifier).exists():
        raise WrongState(f"There is an instrument {identifier} already.")
    instrument.save(force_insert=True)
    trail.record(
        by=by,
        verb="record_instrument",
        subject=instrument,
        after={
            "kind": kind,
            "accuracy_class": accuracy_class,
            "limit_of_error": text_of(limit_of_error),
            "nominal_length_mm": text_of(nominal_length_mm),
            "serial_number": instrument.serial_number,
            "firmware": instrument.firmware,
            "keeper": keeper.key if keeper else "",
        },
    )
    return instrument


@transaction.atomic
def add_calibration(
    *,
    by: Person,
    instrument: Instrument,
    calibrated_on: dt.date,
    due_on: dt.date,
    error: float = 0.0,
    expanded_uncertainty: float | None = None,
    coverage_factor: float = 2.0,
    laboratory: str = "",
    reference: str = "",
    accreditation: str = "",
) -> Calibration:
    """A new calibration counts for visits from its day on; figures signed before keep theirs."""
    _lock(instrument)
    rules.check_may_keep_instruments(by)
    today = timezone.localdate()
    if calibrated_on > today:
        raise Unreadable(
            "Calibrated on", calibrated_on.isoformat(), f"a date not after today ({today})", "calibrated_on"
        )
    if due_on <= calibrated_on:
        raise Unreadable("Due on", due_on.isoformat(), "a date after the calibration", "due_on")
    _finite("Error", error, "error")
    _finite("Uncertainty", expanded_uncertainty, "expanded_uncertainty", least=0.0)
    if not 1.0 <= coverage_factor <= 4.0:
        raise Unreadable("Coverage factor", f"{coverage_factor:g}", "a factor from 1 to 4", "coverage_factor")
    calibration = Calibration(
        instrument=instrument,
        calibrated_on=calibrated_on,
        due_on=due_on,
        error=error,
        expanded_uncertainty=expanded_uncertainty,
        coverage_factor=coverage_factor,
        laboratory=seen("Laboratory", laboratory, 120, "laboratory"),
        reference=seen("Reference", reference, 80, "reference"),
        accreditation=seen("Accreditation", accreditation, 60, "accreditation"),
        recorded_at=timezone.now(),
    )
    if instrument.calibrations.filter(calibrated_on=calibrated_on).exists():
        raise WrongState(f"{instrument.identifier} has a calibration of that day already.")
    try:
        calibration.save(force_insert=True)
    except IntegrityError:
        raise WrongState(f"{instrument.identifier} has a calibration of that day already.") from None
    _changed(
        instrument,
        by=by,
        verb="add_calibration",
        after={
            "calibration": calibration.key,
            "calibrated_on": text_of(calibrated_on),
            "due_on": text_of(due_on),
            "error": text_of(error),
            "expanded_uncertainty": text_of(expanded_uncertainty),
            "laboratory": calibration.laboratory,
            "reference": calibration.reference,
            "accreditation": calibration.accreditation,
            "row_sha256": row_sha256(calibration),
        },
    )
    return calibration


@transaction.atomic
def record_maintenance(
    *, by: Person, instrument: Instrument, done_on: dt.date, what: str, done_by: str, firmware: str = ""
) -> Maintenance:
    """What was done to a piece, in use or not. `firmware`: what it runs since then, where that changed."""
    _lock(instrument)
    rules.check_may_keep_instruments(by)
    today = timezone.localdate()
    if done_on > today:
        raise Unreadable("Done on", done_on.isoformat(), f"a date not after today ({today})", "done_on")
    entry = Maintenance(
        instrument=instrument,
        done_on=done_on,
        what=seen("What was done", what, 2000, "what", lines=True),
        done_by=seen("Done by", done_by, 120, "done_by"),
        firmware=seen("Firmware", firmware, LONGEST_FIRMWARE, "firmware"),
        recorded_by=by,
        recorded_at=timezone.now(),
    )
    for name, words, given in (("what", "What was done", entry.what), ("done_by", "Done by", entry.done_by)):
        if not given:
            raise Unreadable(words, "", "a few words", name)
    entry.save(force_insert=True)
    latest = instrument.maintenance.exclude(firmware="").first()  # an entry made late does not undo a later day's
    instrument.firmware = latest.firmware if latest else instrument.firmware
    _changed(
        instrument,
        by=by,
        verb="record_maintenance",
        fields=("firmware",),
        after={
            "done_on": text_of(done_on),
            "what": entry.what,
            "done_by": entry.done_by,
            **({"firmware": entry.firmware} if entry.firmware else {}),
            "row_sha256": row_sha256(entry),
        },
    )
    return entry


@transaction.atomic
def take_out_of_use(
    *, by: Person, instrument: Instrument, since: dt.date, reason: str, edition: int | None = None
) -> Instrument:
    """The piece is not to be used any more from a day on: lost, damaged, doubtful."""
    _lock(instrument)
    rules.check_may_keep_instruments(by)
    if edition is not None and edition != instrument.edition:
        raise Stale("The instrument's record was changed since this form was made; look at it as it is now.")
    if instrument.out_of_use_since is not None:
        raise WrongState(f"{instrument.identifier} is out of use already, since {instrument.out_of_use_since}.")
    if since > timezone.localdate():
        raise Unreadable("Since", since.isoformat(), "a date that is not in the future", "since")
    instrument.out_of_use_since, instrument.out_of_use_reason = since, given_reason(reason)
    _changed(
        instrument,
        by=by,
        verb="take_out_of_use",
        fields=("out_of_use_since", "out_of_use_reason"),
        after={"out_of_use_since": text_of(since)},
        reason=instrument.out_of_use_reason,
    )
    return instrument


@transaction.atomic
def suggest_recalibration(*, by: Person, instrument: Instrument, finding: str, reason: str) -> Instrument:
    """Note that a piece should be calibrated anew, and what was found. Corrects nothing, takes nothing out of use."""
    rules.check_may_keep_instruments(by)
    if instrument.out_of_use_since is not None:
        raise WrongState(f"{instrument.identifier} is out of use, since {instrument.out_of_use_since}.")
    trail.record(
        by=by,
        verb="suggest_recalibration",
        subject=instrument,
        after={"finding": finding},
        reason=given_reason(reason),
    )
    return instrument


def _lock(instrument: Instrument) -> None:
    instrument.refresh_from_db(from_queryset=Instrument.objects.select_for_update(no_key=True))


def _changed(
    instrument: Instrument,
    *,
    by: Person,
    verb: str,
    after: dict[str, str],
    fields: tuple[str, ...] = (),
    reason: str = "",
) -> None:
    instrument.edition += 1
    instrument.save(update_fields=[*fields, "edition"])
    trail.record(by=by, verb=verb, subject=instrument, after=after, reason=reason)


def _finite(what: str, value: float | None, field: str, least: float = -1e6, most: float = 1e6) -> None:
    if value is not None and not (math.isfinite(value) and least <= value <= most):
        raise Unreadable(what, f"{value:g}", f"a number from {least:g} to {most:g}", field)
