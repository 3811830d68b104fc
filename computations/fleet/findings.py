"""The fleet's solution in sentences: what is known, what is only relative, and what suggests a new calibration."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from computations.catalogue import READINGS
from computations.fleet.gathering import Fleet, Quantity, TapeKey
from computations.fleet.solving import FleetSolution, MeasurerBias, TapeError
from computations.rounding import decimals_of_uncertainty, format_number

FACTOR = 2.0  # U = 2u
# Standard deviations from the record that ask for a new calibration: an office looks at many tapes at once, so two
# would call sound ones back each season (action limit of a control chart, after Shewhart; from memory).
ACTION_LIMIT = 3.0
ONLY_DIFFERENCES = "Only differences between these tapes can be known: none of them has a certificate."
SOME_DIFFERENCES = (
    "Of tapes that no certificate reaches, not even through boats read with both, only differences can be known."
)
RELATIVE_BIASES = (
    "Biases are relative to the mean of the office's measurers who read the same boats: "
    "one that all of them share cannot be seen."
)
PER_CALIBRATION = (
    "A tape calibrated anew counts as another tape from that day on. The correction of its record is not applied here: "
    "what a tape reads long is stated as it was read, and set against the record."
)
NOT_CORRECTED = "Nothing is corrected by this: it is a reason to calibrate a tape anew, or to talk with a measurer."


@dataclass(frozen=True, slots=True)
class TapeFinding:
    tape: TapeKey
    mm_per_m: float | None
    expanded: float | None
    readings: int
    tied: bool
    beyond_record: bool  # differs from what its record says beyond the action limit: suggests a new calibration
    sentence: str


@dataclass(frozen=True, slots=True)
class BiasFinding:
    measurer: str
    kind: str
    mm: float | None
    expanded: float | None
    readings: int
    beyond_noise: bool


@dataclass(frozen=True, slots=True)
class ChangeFinding:
    quantity: Quantity
    visit: str
    day: dt.date
    mm: float


@dataclass(frozen=True, slots=True)
class Findings:
    tapes: tuple[TapeFinding, ...]
    biases: tuple[BiasFinding, ...]
    changes: tuple[ChangeFinding, ...]
    statements: tuple[str, ...]
    readings: int
    visits: int
    variance_ratio: float


def findings_of(fleet: Fleet, solution: FleetSolution) -> Findings:
    """Tapes by mark and day, biases by measurer and kind, changes the latest first."""
    tapes = [_tape(fleet.tapes[one.tape], one) for one in solution.tapes]
    biases = [_bias(fleet, one) for one in solution.biases if one.readings]
    changes = [
        ChangeFinding(
            fleet.quantities[one.quantity],
            fleet.visits[int(fleet.observations.visit[one.row])],
            dt.date.fromordinal(int(one.day)),
            one.mm,
        )
        for one in solution.changes
    ]
    return Findings(
        tuple(sorted(tapes, key=lambda one: (one.tape.identifier, one.tape.since or dt.date.min))),
        tuple(sorted(biases, key=lambda one: (one.measurer, READINGS[one.kind].order))),
        tuple(sorted(changes, key=lambda one: one.day, reverse=True)),
        _statements(fleet, solution),
        len(fleet.observations),
        len(set(fleet.observations.visit.tolist())),
        solution.variance_ratio,
    )


def _statements(fleet: Fleet, solution: FleetSolution) -> tuple[str, ...]:
    known = [one for one in solution.tapes if one.u is not None]
    said = []
    if known and not fleet.data:
        said.append(ONLY_DIFFERENCES)
    elif any(not one.tied_to_datum for one in known):
        said.append(SOME_DIFFERENCES)
    return (*said, RELATIVE_BIASES, PER_CALIBRATION, NOT_CORRECTED)


def _tape(tape: TapeKey, one: TapeError) -> TapeFinding:
    if one.mm_per_m is None or one.u is None:
        sentence = f"Nothing can be said of {_named(tape)}: no length it read was read by another tape as well."
        return TapeFinding(tape, None, None, one.readings, False, False, sentence)
    expanded = FACTOR * one.u
    beyond = one.tied_to_datum and _beyond(tape, one.mm_per_m, one.u)
    sentence = _sentence(tape, one.mm_per_m, expanded, tied=one.tied_to_datum)
    if beyond:
        stated = tape.applied_mm_per_m or 0.0
        sentence += f" Its record says {_size(stated, expanded) if stated else 'true'}: have it calibrated anew."
    return TapeFinding(tape, one.mm_per_m, expanded, one.readings, one.tied_to_datum, beyond, sentence)


def _beyond(tape: TapeKey, mm_per_m: float, u: float) -> bool:
    """Whether the fleet and the tape's record disagree. The certificate is part of the solution: u of the difference is
    the root of the difference of the squares.
    """
    apart = mm_per_m - (tape.applied_mm_per_m or 0.0)
    if tape.certificate_u is not None:
        u = math.sqrt(max(tape.certificate_u**2 - u**2, 0.0))
    return abs(apart) > ACTION_LIMIT * u > 0.0


def _sentence(tape: TapeKey, mm_per_m: float, expanded: float, *, tied: bool) -> str:
    since = f" since {tape.since:%Y-%m}" if tape.since else ""
    if tied:
        if abs(mm_per_m) <= expanded:
            return f"{_named(tape)} reads true within ± {_number(expanded, expanded)} mm/m{since}."
        return f"{_named(tape)} reads {_size(mm_per_m, expanded, expanded)}{since}."
    than = "than the mean of the tapes it can be compared with"
    word = "longer" if mm_per_m >= 0 else "shorter"
    size = f"{_number(abs(mm_per_m), expanded)} ± {_number(expanded, expanded)} mm/m"
    return f"{_named(tape)} reads {size} {word} {than}{since}."


def _size(mm_per_m: float, resolution: float, expanded: float | None = None) -> str:
    """ "0.09 ± 0.02 mm/m long"."""
    known = "" if expanded is None else f" ± {_number(expanded, resolution)}"
    return f"{_number(abs(mm_per_m), resolution)}{known} mm/m {'long' if mm_per_m >= 0 else 'short'}"


def _number(value: float, expanded: float) -> str:
    return format_number(value, max(decimals_of_uncertainty(expanded) or 0, 2))


def _named(tape: TapeKey) -> str:
    return tape.identifier


def _bias(fleet: Fleet, one: MeasurerBias) -> BiasFinding:
    expanded = None if one.u is None else FACTOR * one.u
    beyond = one.mm is not None and expanded is not None and abs(one.mm) > expanded
    return BiasFinding(fleet.measurers[one.measurer], fleet.kinds[one.kind], one.mm, expanded, one.readings, beyond)
