"""What measuring noise explains: the effects of every source on every take, and what two visits share of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from computations.catalogue import READINGS, ReadingKey
from computations.derivation import Derivation, derive
from computations.details import Details
from computations.diagnosis import priors
from computations.diagnosis.scene import Floats
from computations.inputs import Reading
from computations.layout import effective_key
from computations.sources import PER_TAKE, ROOT_3, SourceKey

# By custom (no source): where a spacing or slant distance lies when nothing else tells.
USUAL_SPACING_MM, LEAST_SPACING_MM, GREATEST_SPACING_MM = 500.0, 200.0, 1500.0
USUAL_SLANT_MM = 2000.0
FAR, FAR_MM = 0.02, 20.0  # a reading so far from last time's may be at fault: noise is worked out without it


def key_of(derivation: Derivation, reading: Reading) -> ReadingKey | None:
    return effective_key(derivation.layout.rig, reading.slug, reading.mast, reading.position)


class Before:
    """The last visit's means and effects; empty where there is none."""

    def __init__(self, previous: Derivation | None) -> None:
        self.derivation = previous
        self.details = previous.details if previous else None
        self.place = {key: i for i, key in enumerate(self.details.keys)} if self.details else {}
        self.sources: tuple[SourceKey, ...] = self.details.sources if self.details else ()
        self.nothing = np.zeros(len(self.sources))

    def value(self, key: ReadingKey) -> float:
        if self.details is None or key not in self.place:
            return float("nan")
        return float(self.details.corrected[self.place[key]])

    def effects(self, key: ReadingKey) -> Floats:
        if self.details is None:
            return self.nothing
        row: Floats = self.details.effects[self.place[key]]
        return row

    def height(self, mast: str, method: str) -> tuple[float, Floats] | None:
        """The boom's height by a method and what the sources do to it; None without a value."""
        if self.derivation is None or self.details is None:
            return None
        position = self.derivation.find("boom_above_sheer", mast, method)
        value = None if position is None else self.derivation.value_at(position)
        return None if position is None or value is None else (value, self.details.contributions[position])


def steady(values: Floats, expected: Floats, members: Mapping[ReadingKey, list[int]]) -> Floats:
    """Values from which noise and slopes are worked out: without what is so far off that it may be at fault.

    Held against last time; without one, takes against their middle, sides against each other, and a spacing against
    what is used by custom.
    """
    usual = expected.copy()
    for (slug, mast, side), takes in members.items():
        middle = float(np.median(values[takes]))
        if slug == "mark_spacing" and LEAST_SPACING_MM <= middle <= GREATEST_SPACING_MM:
            usual[takes] = middle  # made anew each time
        elif not np.isfinite(expected[takes[0]]):
            other = members.get((slug, mast, "starboard" if side == "port" else "port"))
            both = np.array([middle, np.median(values[other])]) if other and side else np.array([middle])
            usual[takes] = both[np.argmin(np.abs(both - USUAL_SLANT_MM))]
            if slug == "mark_spacing":
                usual[takes] = USUAL_SPACING_MM
    apart = np.abs(values - usual) > FAR * np.abs(usual) + FAR_MM
    result: Floats = np.where(apart, usual, values)
    return result


def steady_details(current: Derivation, readings: list[Reading], values: Floats, instead_of: Floats) -> Details:
    """The visit's details as they would be with the steady values: a slip must not blow up the noise."""
    changed = np.flatnonzero(values != instead_of)
    if not len(changed):
        return current.details
    instead = {readings[i].key: float(instead_of[i]) for i in changed}
    some = tuple(replace(one, value=instead.get(one.key, one.value)) for one in current.used.readings)
    return derive(replace(current.used, readings=some), current.assumptions).details


def item_effects(
    current: Derivation, details: Details, readings: list[Reading], keys: list[ReadingKey], steps: list[float]
) -> tuple[Floats, list[SourceKey]]:
    """(r, s) effects of the sources on single takes. The takes' scatter is not believed: a fault may be in it."""
    place = {key: i for i, key in enumerate(details.keys)}
    count = {key: keys.count(key) for key in set(keys)}
    kept = [j for j, one in enumerate(details.sources) if not (one.kind in PER_TAKE or one.kind == "repeatability")]
    rows = [place[key] for key in keys]
    shared = details.effects[rows][:, kept]
    variances = (details.effects**2).sum(axis=1) - (details.effects[:, kept] ** 2).sum(axis=1)
    own = np.zeros(len(keys))
    for i, (reading, key) in enumerate(zip(readings, keys, strict=True)):
        if count[key] < 3:
            own[i] = variances[place[key]] * count[key]
        else:
            own[i] = _afresh(current, reading)
        own[i] = max(own[i], steps[i] ** 2 / 12.0) + placing(current, reading, steps[i]) ** 2
    lone = [SourceKey("reading_end", current.visit.key, (*key, str(i))) for i, key in enumerate(keys)]
    return np.hstack([shared, np.diag(np.sqrt(own))]), [*(details.sources[j] for j in kept), *lone]


def _afresh(current: Derivation, reading: Reading) -> float:
    """Variance of what each take does anew, as it is assumed where there is no scatter to see."""
    assumptions = current.assumptions
    at_sheer = assumptions.tape_at_sheer_mm if "tape_at_sheer" in READINGS[reading.slug].sources else 0.0
    ends = 2.0 * assumptions.reading_end_mm**2
    if instrument_kind(current, reading) in ("calliper", "scale"):
        ends = 0.05**2
    return (ends + at_sheer**2) / ROOT_3**2


def instrument_kind(current: Derivation, reading: Reading) -> str:
    """By its record; by the reading's own custom where the instrument is not known."""
    instrument = current.used.instrument(reading.instrument)
    return instrument.kind if instrument else READINGS[reading.slug].instrument_kinds[0]


def placing(current: Derivation, reading: Reading, step: float) -> float:
    """How differently a tape, jaws or a hook are placed from one time to the next.

    What is written to whole millimetres only (`step`) was hardly read between jaws, whatever is used by custom.
    """
    kind = instrument_kind(current, reading)
    if kind == "scale":
        return priors.PLACING_SCALE_KG
    if reading.slug in priors.PLACED_BY_EYE:
        return priors.PLACING_BY_EYE_MM
    return priors.PLACING_CALLIPER_MM if kind == "calliper" and step < 1.0 else priors.PLACING_TAPE_MM


def covariance(pick: Floats, effects: Floats, sources: list[SourceKey], against: Floats, before: Before) -> Floats:
    """(n, n) of the rows: what both visits share is taken off before anything is squared."""
    now = pick @ effects
    index = {source: j for j, source in enumerate(sources) if source.lasts}
    own = []
    for j, source in enumerate(before.sources):
        if source in index:
            now[:, index[source]] -= against[:, j]
        else:
            own.append(j)
    result: Floats = now @ now.T + against[:, own] @ against[:, own].T
    return result
