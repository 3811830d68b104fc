"""Value ± U against the truth on 2,000 random rigs, each measured by many measurers who are all slightly wrong.

Proportions, equipment, instruments and takes are random; the errors act where they happen (`world.py`). Counts are of
visits, with every dimension judged by itself.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import Any

import numpy as np

from computations.catalogue import DIMENSIONS
from computations.derivation import Array, derive_columns
from computations.inputs import Visit
from tests.computations.rigs import random_manner, random_rig, template_of
from tests.computations.world import Key, columns, dimensions, draw, used

MANNERS = 50
RIGS_PER_MANNER = 40
VISITS_PER_RIG = 12
ENOUGH = 5000  # visits behind a share: its own sampling noise is then 0.3 per cent


@cache
def coverage(*, normal: bool) -> dict[tuple[str, str], tuple[int, float]]:
    """(slug, method) -> how many visits gave it, and the share of those whose value ± U holds the truth."""
    random = np.random.default_rng([2026, normal])
    told: Counter[tuple[str, str]] = Counter()
    within: Counter[tuple[str, str]] = Counter()
    for _ in range(MANNERS):
        manner = random_manner(random)
        for _ in range(RIGS_PER_MANNER):
            rig, template = random_rig(random, manner), template_of(random, manner)
            errors = errors_of(random, template, normal=normal)
            shown = columns(rig, template, errors)
            found = derive_columns(template, as_read(shown, template, normal=normal), template.air_temperature_c)
            truth = dimensions(rig)
            true = np.array([[truth[one.slug, one.mast, one.method]] for one in found.outcomes])
            held = np.abs(found.values - true) <= found.expanded_uncertainties
            given = np.isfinite(found.values)
            for one, count, right in zip(found.outcomes, given.sum(axis=1), held.sum(axis=1), strict=True):
                told[one.slug, one.method] += int(count)
                within[one.slug, one.method] += int(right)
    return {key: (count, within[key] / count) for key, count in told.items()}


def as_read(shown: list[Any], template: Visit, *, normal: bool) -> Array:
    """Readings as columns: bare where sources are normal, else as they are written down, to the mm or a tenth."""
    table: Array = np.array([np.broadcast_to(one, (VISITS_PER_RIG,)) for one in shown], dtype=np.float64)
    if normal:
        return table
    tenths = [used(one, template).kind in ("calliper", "scale") for one in template.readings]
    per_mm = np.where(tenths, 10.0, 1.0)[:, None]
    rounded: Array = np.round(table * per_mm) / per_mm
    return rounded


def errors_of(random: np.random.Generator, template: Visit, *, normal: bool) -> dict[Key, Any]:
    """Every source drawn; where readings are written down rounded, the rounding is their last end's error."""
    errors = draw(random, template, VISITS_PER_RIG, normal=normal)
    if not normal:
        for one in template.readings:
            tenths = used(one, template).kind in ("calliper", "scale")
            del errors["reading_end", *map(str, one.key), "near" if tenths else "far"]
    return errors


def test_every_dimension_occurs_often_enough() -> None:
    for normal in (True, False):
        found = coverage(normal=normal)
        assert {slug for slug, _ in found} == set(DIMENSIONS)
        assert {method for _, method in found} == {"", "string", "two_mark", "adopted"}
        assert min(count for count, _ in found.values()) >= ENOUGH


def test_sources_normal_at_their_u() -> None:
    """k = 2 means 95.45 per cent; a little more where repeated takes were all read alike."""
    outside = {key: share for key, (_, share) in coverage(normal=True).items() if not 0.935 <= share <= 0.97}
    assert not outside


def test_sources_as_they_are_described() -> None:
    """Rectangular, rounded to the mm or the tenth. One rectangle alone lies within 1.73 u, so some hold always."""
    short = {key: share for key, (_, share) in coverage(normal=False).items() if share < 0.93}
    assert not short
