"""What each instrument does to its readings: its correction and its own uncertainty, as numbers for the formulas.

A *gauge* is one instrument as one category of reading uses it. Its `model` says how its limit of error runs:
"class" a + b L with L rounded up to the next metre, "certificate" in proportion to the length from U/k at the
nominal length, "constant" the same for every reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from computations.catalogue import TAPES, ReadingKind
from computations.inputs import Assumptions, Instrument
from computations.sources import ROOT_3, UNKNOWN_TEMPERATURE_K
from computations.tape import CLASS_LIMITS, REFERENCE_C, SPAR_EXPANSION_PER_K

_CLASS_HALF_WIDTHS = {name: (float(a) / ROOT_3, float(b) / ROOT_3) for name, (a, b) in CLASS_LIMITS.items()}
_UNKNOWN = Instrument(identifier="")

# The names of a gauge's numbers, in the order in which `arguments` gives them.
TAPE_INPUTS: Mapping[str, tuple[str, ...]] = {
    "class": ("factor", "per_k", "a", "b"),
    "certificate": ("factor", "per_k", "relative"),
    "constant": ("factor", "per_k", "limit"),
}
OTHER_INPUTS = ("error", "limit")


@dataclass(frozen=True, slots=True)
class Gauge:
    """`instrument` counts the visit's instruments in the order in which the readings name them."""

    instrument: int
    category: str  # tape | calliper | scale
    model: str

    @property
    def inputs(self) -> tuple[str, ...]:
        return TAPE_INPUTS[self.model] if self.category == "tape" else OTHER_INPUTS

    @property
    def source(self) -> str:
        return {"tape": "tape_scale"}.get(self.category, self.category)


def category_of(instrument_kind: str | None, kind: ReadingKind) -> str:
    """How this reading uses that instrument; by the reading's own custom where the instrument is not known."""
    if kind.quantity == "mass":
        return "scale"
    if instrument_kind is None:
        return "tape" if kind.instrument_kinds[0] in TAPES else kind.instrument_kinds[0]
    return "calliper" if instrument_kind == "calliper" else "tape"


def model_of(instrument: Instrument | None, category: str) -> str:
    """How its limit of error runs. A certificate goes before the accuracy class, that before a bare limit of error."""
    if category != "tape":
        return "constant"
    if instrument is not None:
        if instrument.calibration_u is not None:
            return "certificate" if instrument.nominal_length_mm else "constant"
        if instrument.accuracy_class not in CLASS_LIMITS and instrument.limit_of_error is not None:
            return "constant"
    return "class"


def arguments(
    gauge: Gauge, instrument: Instrument | None, temperature_c: Any, assumptions: Assumptions
) -> tuple[Any, ...]:
    """The gauge's numbers; `temperature_c` may be None, a number or a column."""
    record = instrument or _UNKNOWN
    if gauge.category == "tape":
        return _tape(gauge.model, record, temperature_c, assumptions)
    if record.calibration_u is not None:
        return (record.calibration_error, record.calibration_u)
    default = assumptions.calliper_mm if gauge.category == "calliper" else assumptions.scale_kg
    limit = default if record.limit_of_error is None else record.limit_of_error
    return (record.calibration_error, limit / ROOT_3)


def _tape(model: str, record: Instrument, temperature_c: Any, assumptions: Assumptions) -> tuple[Any, ...]:
    factor: Any = 1.0
    if temperature_c is not None:
        factor = 1.0 + record.expansion_per_k * (temperature_c - record.reference_temperature_c)
    nominal = record.nominal_length_mm
    if record.calibration_error and nominal:
        factor = factor + record.calibration_error / nominal
    per_k = record.expansion_per_k * temperature_u(temperature_c, assumptions)
    if model == "class":
        accuracy = record.accuracy_class if record.accuracy_class in CLASS_LIMITS else assumptions.default_tape_class
        return (factor, per_k, *_CLASS_HALF_WIDTHS[accuracy or "II"])
    if record.calibration_u is not None:
        return (factor, per_k, record.calibration_u / nominal if nominal else record.calibration_u)
    return (factor, per_k, (record.limit_of_error or 0.0) / ROOT_3)


def temperature_u(temperature_c: Any, assumptions: Assumptions) -> float:
    """Standard uncertainty of the tape's temperature, in K; wide where none was noted."""
    return (UNKNOWN_TEMPERATURE_K if temperature_c is None else assumptions.tape_temperature_k) / ROOT_3


SPAR_INPUTS = ("spar_factor", "spar_per_k", "spar_u")


def spar_arguments(material: str, temperature_c: Any, assumptions: Assumptions) -> tuple[Any, ...]:
    """To bring a length along a spar to 20 degrees: its factor, its change with the temperature source, and the
    relative u that comes from not knowing the spar's expansion better.
    """
    expansion, half_width = SPAR_EXPANSION_PER_K[material]
    over: Any = 0.0 if temperature_c is None else temperature_c - REFERENCE_C
    return (1.0 - expansion * over, expansion * temperature_u(temperature_c, assumptions), over * half_width / ROOT_3)


def hanging_arguments(pull_n: float, instrument: Instrument) -> tuple[float, float]:
    """Of a tape that hung free: elongation per length, and sag per length cubed (1/mm2)."""
    area, modulus = instrument.cross_section_mm2, instrument.modulus_n_per_mm2
    weight, reference = instrument.weight_n_per_mm, instrument.reference_pull_n
    stretch = (pull_n - reference) / (area * modulus) if area and modulus and reference is not None else 0.0
    sag = weight * weight / (24.0 * pull_n * pull_n) if weight and pull_n > 0 else 0.0
    return (stretch, sag)
