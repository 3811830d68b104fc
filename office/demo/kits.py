"""The demo office's instruments: four kits, calibrated every second year, one of them overdue."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from office.demo.truth import Kit
from office.people.models import Person
from surveys.actions.instruments import add_calibration, record_instrument
from surveys.models import Instrument

LABORATORY = "Marrow Quay Length Laboratory"
# Whose kit; the tape's class; months since the tape's last calibration, which counts for two years.
KITS = {
    "measurer": (Kit("T-03", "R-01", "C-01", "S-01", tape_error=0.04, rule_error=0.1), "I", 9),
    "measurer2": (Kit("T-05", "R-02", "C-02", "S-01", tape_error=-0.07), "II", 7),
    "measurer3": (Kit("T-07", "R-03", "C-03", "S-02", tape_error=0.09), "II", 15),
    "measurer4": (Kit("T-08", "R-03", "C-02", "S-02", tape_error=0.02), "II", 27),  # overdue by three months
}


def calibration_days(mark: str, start: dt.date, today: dt.date) -> list[dt.date]:
    """Every 700 days back from the last one, until there is one before the office opens."""
    days = [today - dt.timedelta(days=30 * KITS[mark][2])]
    while days[-1] >= start:
        days.append(days[-1] - dt.timedelta(days=700))
    return days[::-1]


def buy(by: Person, people: dict[str, Person], start: dt.date, today: dt.date) -> None:
    """Records every instrument, with the calibration it came with."""
    for mark, (kit, accuracy_class, _) in KITS.items():
        for instrument in _pieces(by, people[mark], kit, accuracy_class):
            _calibrate(by, instrument, kit, calibration_days(mark, start, today)[0])


def _pieces(by: Person, keeper: Person, kit: Kit, accuracy_class: str) -> Iterator[Instrument]:
    wanted: tuple[tuple[str, dict[str, Any]], ...] = (
        (kit.tape, {"kind": "steel_tape", "accuracy_class": accuracy_class, "nominal_length_mm": 30000.0}),
        (kit.rule, {"kind": "rule", "accuracy_class": "II", "nominal_length_mm": 2000.0}),
        (kit.calliper, {"kind": "calliper", "limit_of_error": 0.1, "nominal_length_mm": 400.0}),
        (kit.scale, {"kind": "scale", "limit_of_error": 0.5}),
    )
    for identifier, about in wanted:
        if not Instrument.objects.filter(identifier=identifier).exists():
            yield record_instrument(
                by=by, identifier=identifier, keeper=keeper, serial_number=f"AV{identifier[2:]}-77", **about
            )


def _calibrate(by: Person, instrument: Instrument, kit: Kit, day: dt.date) -> None:
    tape = instrument.kind == "steel_tape"
    # The laboratory finds the error to 0.02 mm/m: true minus indicated over 30 m, with its uncertainty.
    error, uncertainty = (round(-kit.tape_error * 30.0 + 0.15, 2), 0.6) if tape else (0.0, None)
    add_calibration(
        by=by,
        instrument=instrument,
        calibrated_on=day,
        due_on=day + dt.timedelta(days=730),
        laboratory=LABORATORY,
        reference=f"MQ-{day.year}-{instrument.identifier}",
        error=error,
        expanded_uncertainty=uncertainty,
    )


def calibrate_again(by: Person, mark: str, day: dt.date) -> None:
    """The kit goes to the laboratory again; what two kits share goes with the first."""
    kit = KITS[mark][0]
    for instrument in Instrument.objects.filter(identifier__in=[kit.tape, kit.rule, kit.calliper, kit.scale]):
        if not instrument.calibrations.filter(calibrated_on__gte=day).exists():
            _calibrate(by, instrument, kit, day)
