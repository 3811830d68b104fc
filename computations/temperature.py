"""How much of a change temperature alone explains.

The tape is always brought to its reference temperature, so it explains nothing any more. The spar is longer on a warm
day; unless the policy brings it to 20 degrees too, that is a real part of the change between two days, and no change of
the rig.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from computations.catalogue import READINGS
from computations.derivation import Derivation
from computations.sources import ROOT_3
from computations.tape import SPAR_EXPANSION_PER_K

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Explained:
    """What the spars' temperature makes of a dimension between two days, with its standard uncertainty; in its unit."""

    amount: float
    standard_uncertainty: float


class TemperatureEffect:
    """Growth of the readings along the spars from the first day to the second.

    `reason` says why nothing can be told, where it cannot; then every answer is None.
    """

    def __init__(self, previous: Derivation, current: Derivation) -> None:
        self.before, self.now = previous.details, current.details
        self.reason = ""
        days = (previous.used.air_temperature_c, current.used.air_temperature_c)
        if days[0] is None or days[1] is None:
            self.reason = "The air temperature of one of the days is not known."
        elif previous.assumptions.spar_to_20_c != current.assumptions.spar_to_20_c:
            self.reason = "Only one of the visits has its spars brought to 20 °C."
        warmer = 0.0 if days[0] is None or days[1] is None else days[1] - days[0]
        corrected = current.assumptions.spar_to_20_c
        self.growth = self._growth(current, 0.0 if corrected else warmer)
        kelvin = float(np.hypot(previous.assumptions.tape_temperature_k, current.assumptions.tape_temperature_k))
        # Not known better: the temperatures, and the expansion of the material.
        self.by_kelvin = self._growth(current, 0.0 if corrected else kelvin / ROOT_3)
        self.by_material = self._growth(current, 0.0 if corrected else warmer / ROOT_3, half_width=True)

    def _growth(self, derivation: Derivation, kelvin: float, *, half_width: bool = False) -> Array:
        """(readings of the current visit,) mm that each gains by so many kelvin."""
        details, rig = derivation.details, derivation.visit.rig
        growth = np.zeros(len(details.keys))
        for i, (slug, mast_name, _) in enumerate(details.keys):
            mast = rig.mast(mast_name)
            if READINGS[slug].along_spar and mast is not None and mast.material in SPAR_EXPANSION_PER_K:
                expansion = SPAR_EXPANSION_PER_K[mast.material][1 if half_width else 0]
                growth[i] = expansion * kelvin * details.corrected[i]
        return growth

    def of(self, before: int | None, now: int | None) -> Explained | None:
        """The part of one dimension's change, by its positions in both derivations; None where it cannot be told."""
        if self.reason or before is None or now is None:
            return None
        gradient = self.now.gradients[now]
        if not np.isfinite(gradient).all():
            return None
        u = float(np.hypot(gradient @ self.by_kelvin, gradient @ self.by_material))
        return Explained(float(gradient @ self.growth), abs(u))
