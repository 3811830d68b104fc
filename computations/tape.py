"""From what the tape showed to the true length, and how far a tape may be wrong.

Surveying practice; worked examples of Basak and of Ghilani and Wolf are recomputed in the tests. Accuracy classes:
OIML R 35-1:2007, clause 4 (from memory; the same figures were read in UK SI 2016/1153, Schedule 1I, paragraph 2).
All functions take numbers or arrays alike; lengths in mm, temperatures in degrees Celsius, forces in N.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T", float, NDArray[np.float64])

REFERENCE_C = 20.0
STEEL_PER_K = 11.5e-6

# Class -> (a, b) in mm: an error of at most a + b L, L in metres rounded up to the next whole metre.
CLASS_LIMITS = {
    "I": (Decimal("0.1"), Decimal("0.1")),
    "II": (Decimal("0.3"), Decimal("0.2")),
    "III": (Decimal("0.6"), Decimal("0.4")),
}

# Lengthwise expansion of spars, per K, with the half-width within which it is known. Aluminium: 6061 in Callister's
# Table B.6 (read), 6082 alike (from memory); carbon: lay-ups range from -0.5 to +3 (from memory); wood: spruce and
# fir lengthwise 3 to 5 (from memory).
SPAR_EXPANSION_PER_K = {"aluminium": (23.5e-6, 0.5e-6), "carbon": (0.5e-6, 2.0e-6), "wood": (4.0e-6, 1.0e-6)}


def class_limit_mm(accuracy_class: str, length_mm: float | Decimal) -> Decimal:
    """Greatest permissible error, exactly: 12 345 mm counts as 13 m."""
    a, b = CLASS_LIMITS[accuracy_class]
    return a + b * math.ceil(Decimal(str(length_mm)) / 1000)


def temperature_correction(
    length: T, temperature_c: T | float, expansion: float, reference_c: float = REFERENCE_C
) -> T:
    """What to add for a tape warmer or colder than its reference: alpha (T - T0) L."""
    return expansion * (temperature_c - reference_c) * length


def pull_correction(length: T, pull: float, reference_pull: float, area: float, modulus: float) -> T:
    """What to add for a pull other than the reference one: L (F - F0) / (A E); mm2 and N/mm2."""
    return length * ((pull - reference_pull) / (area * modulus))


def sag_correction(length: T, pull: float, weight_per_mm: float) -> T:
    """What to add for the sag of a tape hanging free between its ends: -w2 L3 / (24 F2); never positive."""
    return -(weight_per_mm**2) * length * length * length / (24.0 * pull * pull)


def scale_correction(length: T, error_at_nominal: float, nominal: float) -> T:
    """What to add for the error of the tape's scale, true minus indicated, in proportion to the length."""
    return length * (error_at_nominal / nominal)


def temperature_for(length: float, wanted: float, expansion: float, reference_c: float = REFERENCE_C) -> float:
    """The temperature at which a tape that shows `length` covers `wanted`."""
    return reference_c + (wanted - length) / (expansion * length)
