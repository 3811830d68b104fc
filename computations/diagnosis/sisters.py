"""What boats of one design have in common: per reading for a diagnosis, per dimension for the checks."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from computations.catalogue import READINGS, ReadingKey
from computations.checking.standing import FEWEST_SISTERS, TO_NORMAL
from computations.derivation import Derivation
from computations.diagnosis.priors import SMALL
from computations.diagnosis.staging import Sister

# The string and the second mark are placed anew on every boat: sisters say nothing of them.
PLACED_ANEW = frozenset({"string_to_sheer", "string_to_band", "mark_spacing", "mark_to_sheer"})
# Sisters differ by no less than this, however alike a few of them are (common practice, no source): mm, or kg.
LEAST_SPREAD, LEAST_SPREAD_SMALL, LEAST_SPREAD_BALANCE = 5.0, 0.5, 20.0


@dataclass(frozen=True, slots=True)
class Sisters:
    """Robust middle and spread of each reading, and the values of each dimension by (slug, mast)."""

    readings: dict[ReadingKey, Sister] = field(default_factory=dict)
    dimensions: dict[tuple[str, str], tuple[float, ...]] = field(default_factory=dict)


def sisters_from(derivations: Iterable[Derivation]) -> Sisters:
    """One derivation of each sister boat. What fewer than five have is left out."""
    readings: dict[ReadingKey, list[float]] = {}
    dimensions: dict[tuple[str, str], list[float]] = {}
    for one in derivations:
        for key, value in zip(one.details.keys, one.details.corrected, strict=True):
            if key[0] not in PLACED_ANEW and np.isfinite(value):
                readings.setdefault(key, []).append(float(value))
        for row in one.dimensions:
            if row.method in ("", "adopted") and row.value is not None:
                dimensions.setdefault((row.slug, row.mast), []).append(row.value)
    return Sisters(
        {key: _middle(key[0], values) for key, values in readings.items() if len(values) >= FEWEST_SISTERS},
        {key: tuple(values) for key, values in dimensions.items() if len(values) >= FEWEST_SISTERS},
    )


def _middle(slug: str, values: list[float]) -> Sister:
    centre = statistics.median(values)
    spread = statistics.median(abs(value - centre) for value in values) / TO_NORMAL
    return Sister(centre, max(spread, _least_spread(slug)), len(values))


def _least_spread(slug: str) -> float:
    if slug in SMALL or READINGS[slug].quantity == "mass":
        return LEAST_SPREAD_SMALL
    return LEAST_SPREAD_BALANCE if slug == "balance_above_band" else LEAST_SPREAD
