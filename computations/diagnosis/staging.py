"""From two derivations, or one and its sisters, to the scene a diagnosis looks at.

What a method leaves free is no change: the string is stretched anew each time, and the second mark is made anew at
whatever distance. Both are given a broad spread of their own, so that only what contradicts itself counts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from computations.catalogue import ReadingKey
from computations.derivation import Derivation
from computations.diagnosis.scene import Floats, Item, Scene, Slant
from computations.inputs import Reading
from computations.layout import effective_key
from computations.results import ReadingRef
from computations.sources import PER_TAKE, ROOT_3, SourceKey

STRING_HEIGHT_MM = 60.0  # how differently a string may hang from lifeline to lifeline (common practice, no source)
MARK_PLACE_MM = 300.0  # where the second mark may be made
SIDES_MM = 15.0  # how far port and starboard of a hull may differ at the mast
_PLAIN = re.compile(r"-?\d+([.,]\d+)?")


@dataclass(frozen=True, slots=True)
class Sister:
    """What boats of the same design have for one reading: robust centre, spread between boats, number of boats."""

    centre: float
    spread: float
    boats: int


@dataclass(slots=True)
class _Rows:
    """Rows under construction: `pick` (n, r) is their first-order change with the items; `against` what they lose."""

    pick: list[Floats]
    against: list[Floats]  # (sources of the previous visit,) effect to be taken off
    extra: list[float]  # variance of its own
    target: list[float]
    nonlinear: dict[int, str]  # row -> "mast|what"


def scene_between(previous: Derivation, current: Derivation) -> Scene:
    """Two visits of one boat. Readings in only one of them say nothing; different methods meet in the boom's height."""
    return _scene(current, previous, {})


def scene_alone(current: Derivation, sisters: Mapping[ReadingKey, Sister] | None = None) -> Scene:
    """A first visit: held against its own redundancy and, where there are any, boats of the same design."""
    return _scene(current, None, sisters or {})


def _scene(current: Derivation, previous: Derivation | None, sisters: Mapping[ReadingKey, Sister]) -> Scene:
    details = current.details
    place = {key: i for i, key in enumerate(details.keys)}
    readings = [(reading, key) for reading in current.used.readings if (key := _key(current, reading)) in place]
    items = tuple(_item(current, reading, key) for reading, key in readings if key)
    keys = [key for _, key in readings if key]
    values = np.array([item.value for item in items])
    effects, sources = _item_effects(current, [reading for reading, _ in readings], keys, place)
    before = _Before(previous)
    expected = np.array([before.value(key) for key in keys])
    rows = _rows(current, keys, values, expected, before, sisters)
    pick = np.array(rows.pick).reshape(len(rows.pick), len(items))
    covariance = _covariance(pick, effects, sources, rows, before)
    slants = _slants(current, before)
    for direction in _left_free(items, slants, before if previous else None):
        moved = pick @ direction
        covariance += np.outer(moved, moved)
    return Scene(
        items=items,
        expected=expected,
        rows=_row_function(current, keys, rows, values, pick),
        covariance=covariance,
        slants=slants,
        same_mast=_same_mast(previous, current),
    )


class _Before:
    """The last visit's means and effects; empty where there is none."""

    def __init__(self, previous: Derivation | None) -> None:
        self.derivation = previous
        self.details = previous.details if previous else None
        self.place = {key: i for i, key in enumerate(self.details.keys)} if self.details else {}
        self.sources: tuple[SourceKey, ...] = self.details.sources if self.details else ()

    def value(self, key: ReadingKey | None) -> float:
        if self.details is None or key not in self.place:
            return float("nan")
        return float(self.details.corrected[self.place[key]])

    def effects(self, key: ReadingKey) -> Floats:
        assert self.details is not None  # noqa: S101 - asked only for keys it has
        row: Floats = self.details.effects[self.place[key]]
        return row


def _key(derivation: Derivation, reading: Reading) -> ReadingKey | None:
    return effective_key(derivation.layout.rig, reading.slug, reading.mast, reading.position)


def _item(current: Derivation, reading: Reading, key: ReadingKey) -> Item:
    details = current.details
    takes = [one.value for one in current.used.readings if _key(current, one) == key]
    corrected = float(details.corrected[details.keys.index(key)]) + reading.value - sum(takes) / len(takes)
    written = reading.written.strip().replace(",", ".")
    if reading.unit_written.strip() not in ("", "mm", "kg") or not _PLAIN.fullmatch(written):
        written = f"{reading.value:.10g}"
    instrument = current.used.instrument(reading.instrument)
    return Item(
        ref=ReadingRef(*key),
        take=reading.take,
        value=corrected,
        indicated=reading.value,
        written=written,
        step=10.0 ** -len(written.partition(".")[2]),
        instrument=reading.instrument,
        instrument_kind=instrument.kind if instrument else "",
    )


def _item_effects(
    current: Derivation, readings: list[Reading], keys: list[ReadingKey], place: dict[ReadingKey, int]
) -> tuple[Floats, list[SourceKey]]:
    """(r, s) effects of the sources on single takes. The scatter of the takes is not believed: a fault may be in it."""
    details, assumptions = current.details, current.assumptions
    count = {key: keys.count(key) for key in keys}
    kept = [j for j, source in enumerate(details.sources) if not (source.kind in PER_TAKE or source.kind == "repeatability")]
    shared = details.effects[[place[key] for key in keys]][:, kept] if keys else np.zeros((0, len(kept)))
    own = np.zeros(len(keys))
    for j, source in enumerate(details.sources):
        if source.kind in PER_TAKE:
            for i, key in enumerate(keys):
                own[i] += details.effects[place[key], j] ** 2 * count[key]
    for i, (reading, key) in enumerate(zip(readings, keys, strict=True)):
        if count[key] > 2:
            at_sheer = assumptions.tape_at_sheer_mm if reading.slug.endswith("_to_sheer") else 0.0
            own[i] = max(own[i], (2.0 * assumptions.reading_end_mm**2 + at_sheer**2) / ROOT_3**2)
    lone = [SourceKey("reading_end", current.visit.key, (*key, str(i))) for i, key in enumerate(keys)]
    return np.hstack([shared, np.diag(np.sqrt(own))]), [*(details.sources[j] for j in kept), *lone]


def _rows(
    current: Derivation,
    keys: list[ReadingKey],
    values: Floats,
    expected: Floats,
    before: _Before,
    sisters: Mapping[ReadingKey, Sister],
) -> _Rows:
    rows = _Rows([], [], [], [], {})
    unit = np.eye(len(keys))
    nothing = np.zeros(len(before.sources))
    members: dict[ReadingKey, list[int]] = {}
    for i, key in enumerate(keys):
        members.setdefault(key, []).append(i)

    def add(pick: Floats, against: Floats, extra: float, target: float) -> None:
        rows.pick.append(pick)
        rows.against.append(against)
        rows.extra.append(extra)
        rows.target.append(target)

    for key, takes in members.items():
        if np.isfinite(expected[takes[0]]):
            for i in takes:
                add(unit[i], before.effects(key), 0.0, float(expected[i]))
            continue
        for i in takes[1:]:
            add(unit[i] - unit[takes[0]], nothing, 0.0, 0.0)
        if (sister := sisters.get(key)) is not None:
            add(unit[takes].mean(axis=0), nothing, sister.spread**2 * (1.0 + 1.0 / sister.boats), sister.centre)
        elif key[2] == "port" and (other := members.get((key[0], key[1], "starboard"))):
            add(unit[takes].mean(axis=0) - unit[other].mean(axis=0), nothing, SIDES_MM**2, 0.0)
    _boom_rows(current, members, before, rows, add, nothing)
    return rows


def _boom_rows(current, members, before, rows, add, nothing) -> None:  # type: ignore[no-untyped-def]
    """Where both methods were used now they must agree; where the visits used different ones their heights must."""
    for mast in current.visit.rig.masts:
        now = {method: _gradient(current, mast.name, method, members) for method in ("string", "two_mark")}
        if now["string"] is not None and now["two_mark"] is not None:
            rows.nonlinear[len(rows.pick)] = f"{mast.name}|agree"
            add(now["string"] - now["two_mark"], nothing, 0.0, 0.0)
        if before.derivation is None:
            continue
        for method, other in (("string", "two_mark"), ("two_mark", "string")):
            then = before.derivation.get("boom_above_sheer", mast.name, other)
            same = before.derivation.get("boom_above_sheer", mast.name, method)
            if now[method] is None or now[other] is not None or then is None or then.value is None:
                continue
            if same is not None and same.value is not None:
                continue
            position = before.derivation.find("boom_above_sheer", mast.name, other)
            rows.nonlinear[len(rows.pick)] = f"{mast.name}|{method}"
            add(now[method], before.details.contributions[position], 0.0, then.value)


def _gradient(current: Derivation, mast: str, method: str, members: dict[ReadingKey, list[int]]) -> Floats | None:
    """(r,) change of the boom's height by one method with each take; None where it has no value."""
    position = current.find("boom_above_sheer", mast, method)
    if position is None or current.value_at(position) is None:
        return None
    details = current.details
    gradient = np.zeros(sum(len(takes) for takes in members.values()))
    for key, slope in zip(details.keys, details.gradients[position], strict=True):
        if key in members:
            gradient[members[key]] = slope / len(members[key])
    return gradient


def _covariance(pick: Floats, effects: Floats, sources: list[SourceKey], rows: _Rows, before: _Before) -> Floats:
    """(n, n): what both visits share is taken off before anything is squared."""
    now = pick @ effects
    then = np.array(rows.against).reshape(len(rows.against), len(before.sources))
    index = {source: j for j, source in enumerate(sources) if source.lasts}
    own = []
    for j, source in enumerate(before.sources):
        if source in index:
            now[:, index[source]] -= then[:, j]
        else:
            own.append(j)
    covariance: Floats = now @ now.T + then[:, own] @ then[:, own].T + np.diag(rows.extra)
    return covariance


def _slants(current: Derivation, before: _Before) -> tuple[Slant, ...]:
    """The two-mark triangles, the last visit's where it has them: a fault of today is not in those."""
    found = []
    details = current.details
    place = {key: i for i, key in enumerate(details.keys)}

    def value(key: ReadingKey) -> float:
        then = before.value(key)
        return then if np.isfinite(then) else float(details.corrected[place[key]]) if key in place else float("nan")

    for mast in current.visit.rig.masts:
        for side in ("port", "starboard"):
            upper = value(("band_to_sheer", mast.name, side))
            lower = value(("mark_to_sheer", mast.name, side))
            spacing = value(("mark_spacing", mast.name, ""))
            if np.isfinite([upper, lower, spacing]).all() and min(upper, lower, spacing) > 0:
                found.append(Slant(mast.name, side, upper, lower, spacing))
    return tuple(found)


def _left_free(items: tuple[Item, ...], slants: tuple[Slant, ...], before: _Before | None) -> list[Floats]:
    """(r,) each: one standard deviation of what a method leaves free between two visits."""
    if before is None:
        return []
    directions = []
    for mast in dict.fromkeys(item.ref.mast for item in items):
        string, mark = np.zeros(len(items)), np.zeros(len(items))
        by_side = {slant.side: slant for slant in slants if slant.mast == mast}
        for i, item in enumerate(items):
            if item.ref.mast != mast:
                continue
            if item.slug == "string_to_sheer":
                string[i] = STRING_HEIGHT_MM
            elif item.slug == "string_to_band":
                string[i] = -STRING_HEIGHT_MM
            elif item.slug == "mark_spacing":
                mark[i] = MARK_PLACE_MM
            elif item.slug == "mark_to_sheer" and (slant := by_side.get(item.ref.position)):
                mark[i] = -MARK_PLACE_MM * (slant.depth - slant.spacing) / slant.lower
        directions += [string, mark]
    return [direction for direction in directions if direction.any()]


def _row_function(current, keys, rows: _Rows, values: Floats, pick: Floats):  # type: ignore[no-untyped-def]
    """The rows of a batch of readings (h, r) -> (h, n); linear but for the boom's height by two marks."""
    linear = pick.copy()
    target = np.array(rows.target)
    crooked = {row: what.split("|") for row, what in rows.nonlinear.items()}
    for row in crooked:
        linear[row] = 0.0
        target[row] = rows.target[row]
    members: dict[ReadingKey, list[int]] = {}
    for i, key in enumerate(keys):
        members.setdefault(key, []).append(i)

    def mean(batch: Floats, key: ReadingKey) -> Floats:
        result: Floats = batch[:, members[key]].mean(axis=1)
        return result

    def by_string(batch: Floats, mast: str) -> Floats:
        sides = sum(mean(batch, ("string_to_sheer", mast, side)) for side in ("port", "starboard"))
        return sides / 2.0 + mean(batch, ("string_to_band", mast, ""))

    def by_two_marks(batch: Floats, mast: str) -> Floats:
        spacing = mean(batch, ("mark_spacing", mast, ""))
        spacing = np.where(np.abs(spacing) < 1.0, 1.0, spacing)
        depths = [
            (mean(batch, ("band_to_sheer", mast, side)) ** 2 - mean(batch, ("mark_to_sheer", mast, side)) ** 2 + spacing**2)
            / (2.0 * spacing)
            for side in ("port", "starboard")
        ]
        return (depths[0] + depths[1]) / 2.0

    def evaluate(batch: Floats) -> Floats:
        result: Floats = batch @ linear.T
        for row, (mast, what) in crooked.items():
            if what == "agree":
                result[:, row] = by_string(batch, mast) - by_two_marks(batch, mast)
            else:
                result[:, row] = by_string(batch, mast) if what == "string" else by_two_marks(batch, mast)
        return result - target

    return evaluate


def _same_mast(previous: Derivation | None, current: Derivation) -> bool | None:
    if previous is None:
        return None
    then = {mast.name: mast.mast_identification for mast in previous.visit.rig.masts if mast.mast_identification}
    now = {mast.name: mast.mast_identification for mast in current.visit.rig.masts if mast.mast_identification}
    both = then.keys() & now.keys()
    return all(then[name] == now[name] for name in both) if both else None
