"""Are the instruments known, calibrated on the day, and long enough; and how were they read?"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

from computations.catalogue import ReadingKey
from computations.checking.case import Case, amount, finding, kind_of, refs
from computations.inputs import Instrument, Reading
from computations.results import CheckResult

FEWEST_FOR_ROUNDING = 8  # one in five ends in 0 or 5 by chance; eight in a row hardly do (common practice, no source)


def instruments(case: Case) -> Iterator[CheckResult]:
    unnamed = [key for key, takes in case.groups.items() if any(not take.instrument for take in takes)]
    if unnamed:
        yield finding(
            "instrument_not_named",
            "stop",
            f"With which instrument was this read? {case.naming(refs(*unnamed))}.",
            unnamed,
            advice="Name the tape, calliper or scale of each reading.",
        )
    by_name: dict[str, list[ReadingKey]] = {}
    for key, takes in case.groups.items():
        for name in dict.fromkeys(take.instrument for take in takes if take.instrument):
            by_name.setdefault(name, []).append(key)
    for name, keys in by_name.items():
        instrument = case.visit.instrument(name)
        if instrument is None:
            yield finding(
                "instrument_unknown", "stop", f"No record of the instrument {name} is known.", keys, about=name
            )
        else:
            yield from _calibration(case, instrument, keys)
            yield from _suitable(case, instrument, keys)


def _calibration(case: Case, instrument: Instrument, keys: list[ReadingKey]) -> Iterator[CheckResult]:
    name, day = instrument.identifier, case.visit.date
    if instrument.calibrated_on is None and instrument.due_on is None:
        yield finding("not_calibrated", "ask", f"{name} has no calibration on record.", keys, about=name)
    if day is None:
        return
    if instrument.calibrated_on is not None and instrument.calibrated_on > day:
        yield finding(
            "calibrated_later",
            "ask",
            f"{name} was calibrated on {instrument.calibrated_on}, after this visit.",
            keys,
            about=name,
        )
    if instrument.due_on is not None and instrument.due_on < day:
        yield finding(
            "calibration_overdue",
            "stop",
            f"The calibration of {name} was due on {instrument.due_on}; the visit was on {day}.",
            keys,
            advice="Use an instrument whose calibration is in date, or have this one calibrated and compared.",
            about=name,
        )


def _suitable(case: Case, instrument: Instrument, keys: list[ReadingKey]) -> Iterator[CheckResult]:
    name = instrument.identifier
    lengths = [key for key in keys if kind_of(key).quantity == "length"]
    if instrument.nominal_length_mm:
        beyond = [key for key in lengths if _longest(case, key, name) > instrument.nominal_length_mm]
        if beyond:
            yield finding(
                "beyond_range",
                "stop",
                f"{name} is {amount(instrument.nominal_length_mm)} long, shorter than what it is said to have read: "
                f"{case.naming(refs(*beyond))}.",
                beyond,
                about=name,
            )
    elif instrument.kind in ("steel_tape", "rule") and (instrument.calibration_error or instrument.calibration_u):
        yield finding(
            "nominal_length",
            "ask",
            f"The nominal length of {name} is not known, so its calibration error cannot be applied.",
            keys,
            about=name,
        )
    odd = [key for key in keys if instrument.kind not in kind_of(key).instrument_kinds]
    if odd:
        what = instrument.kind.replace("_", " ")
        yield finding(
            "unusual_instrument", "ask", f"{name} is a {what}, unusual for: {case.naming(refs(*odd))}.", odd, about=name
        )


def _longest(case: Case, key: ReadingKey, instrument: str) -> float:
    return max(abs(take.value) for take in case.groups[key] if take.instrument == instrument)


def resolution(case: Case) -> Iterator[CheckResult]:
    """Millimetre readings that all end in 0 or 5, or that are finer than what can be read."""
    in_mm = {
        key: [take for take in takes if take.unit_written in ("", "mm")]
        for key, takes in case.groups.items()
        if kind_of(key).unit == "mm"
    }
    whole = [key for key, takes in in_mm.items() if takes and kind_of(key).resolution == 1.0]
    values = [take.value for key in whole for take in in_mm[key]]
    if len(values) >= FEWEST_FOR_ROUNDING and all(value % 5 == 0 for value in values):
        yield finding(
            "all_end_in_0_or_5",
            "note",
            f"All {len(values)} millimetre readings end in 0 or 5: were they read to the nearest millimetre?",
            whole,
            advice="Read to the nearest millimetre.",
        )
    finer = [key for key, takes in in_mm.items() if any(_finer(take, kind_of(key).resolution) for take in takes)]
    if finer:
        yield finding(
            "finer_than_read",
            "note",
            f"Written finer than it is read (whole millimetres; a calliper's tenths): {case.naming(refs(*finer))}.",
            finer,
        )


def _finer(take: Reading, resolution: float) -> bool:
    """Whether the number as written has digits below the resolution."""
    return (Fraction(Decimal(str(take.value))) / Fraction(Decimal(str(resolution)))).denominator != 1
