"""From two derivations, or one and its sisters, to the scene a diagnosis looks at.

What a method leaves free is no change: the string is stretched anew each time, and the second mark is made anew at
whatever distance. Both are given a broad spread of their own, so that only what contradicts itself counts.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from computations.catalogue import READINGS, SIDES, ReadingKey
from computations.derivation import Derivation
from computations.diagnosis import noise, priors
from computations.diagnosis.heights import Bend, Heights, from_mark, from_mark_slopes, gradient
from computations.diagnosis.likelihood import product
from computations.diagnosis.noise import Before
from computations.diagnosis.proportions import PROPORTIONS
from computations.diagnosis.scene import Floats, Item, Scene, Slant, by_tape
from computations.inputs import Reading
from computations.results import ReadingRef
from computations.units import UnitError, length_factor, mass_factor

_PLAIN = re.compile(r"-?\d+(\.\d+)?")
FACTORS = {"length": length_factor, "mass": mass_factor}
SIXTEENTH_MM, SIXTEENTH_KG = 25.4 / 16.0, 0.45359237 / 16.0  # what feet and inches, pounds and ounces are written to


@dataclass(frozen=True, slots=True)
class Sister:
    """What boats of the same design have for one reading: robust centre, spread between boats, number of boats."""

    centre: float
    spread: float
    boats: int


Sisters = Mapping[ReadingKey, Sister]


def scene_between(previous: Derivation, current: Derivation) -> Scene:
    """Two visits of one boat. Readings in only one of them say nothing; different methods meet in the boom's height."""
    return _Stage(current, previous, {}).scene()


def scene_alone(current: Derivation, sisters: Sisters | None = None) -> Scene:
    """A first visit: held against its own redundancy and, where there are any, boats of the same design."""
    return _Stage(current, None, sisters or {}).scene()


class _Stage:
    """A scene under construction: rows are added one by one."""

    def __init__(self, current: Derivation, previous: Derivation | None, sisters: Sisters) -> None:
        self.current, self.before, self.sisters = current, Before(previous), sisters
        self.items, self.readings, self.keys = _items(current)
        self.values = np.array([item.value for item in self.items])
        self.expected = np.array([self.before.value(key) for key in self.keys])
        self.members: dict[ReadingKey, list[int]] = {}
        for i, key in enumerate(self.keys):
            self.members.setdefault(key, []).append(i)
        self.steady = noise.steady(self.values, self.expected, self.members)
        self.heights = Heights(self.members)
        self.slants = {(one.mast, one.side): one for one in self._slants()}
        self.pick: list[Floats] = []
        self.against: list[Floats] = []
        self.extra: list[float] = []
        self.target: list[float] = []
        self.bends: dict[int, Bend] = {}

    def scene(self) -> Scene:
        self._readings()
        self._booms()
        if self.before.derivation is None:
            self._proportions()
        count = len(self.items)
        pick = np.array(self.pick).reshape(len(self.pick), count)
        target = np.array(self.target)
        return Scene(
            items=self.items,
            expected=self.expected,
            rows=_row_function(pick, target, self.bends),
            slopes=pick,
            covariance=self._covariance(pick),
            slants=tuple(self.slants.values()),
            same_mast=_same_mast(self.before.derivation, self.current),
            history=self.before.derivation is not None,
            bent=bool(self.bends),
            sisters=frozenset(ReadingRef(*key) for key in self.members if key in self.sisters),
        )

    def add(
        self,
        pick: Floats,
        target: float,
        *,
        against: Floats | None = None,
        extra: float = 0.0,
        bend: Bend | None = None,
    ) -> None:
        """A row: its slopes, what it should be, what the last visit's sources do to it, a variance of its own."""
        if bend is not None:
            self.bends[len(self.pick)] = bend
        self.pick.append(pick)
        self.target.append(target)
        self.against.append(self.before.nothing if against is None else against)
        self.extra.append(extra)

    def _unit(self, indices: list[int]) -> Floats:
        row = np.zeros(len(self.items))
        row[indices] = 1.0 / len(indices)
        return row

    def _readings(self) -> None:
        for key, takes in self.members.items():
            if np.isfinite(self.expected[takes[0]]):
                self._against_last_time(key, takes)
                continue
            for i in takes[1:]:
                self.add(self._unit([i]) - self._unit(takes[:1]), 0.0)
            other = self.members.get((key[0], key[1], "starboard"))
            if (sister := self.sisters.get(key)) is not None:
                self.add(self._unit(takes), sister.centre, extra=sister.spread**2 * (1.0 + 1.0 / max(sister.boats, 1)))
            elif key[2] == "port" and other and READINGS[key[0]].sides:
                self.add(self._unit(takes) - self._unit(other), 0.0, extra=priors.SIDES_MM**2)

    def _against_last_time(self, key: ReadingKey, takes: list[int]) -> None:
        slug, mast, side = key
        against, before = self.before.effects(key), self.before
        # Last time's placing and rounding, taken for like today's.
        first = takes[0]
        placing = noise.placing(self.current, self.readings[first], self.items[first].step) ** 2 + self._rounding(first)
        slant = self.slants.get((mast, side)) if slug == "mark_to_sheer" else None
        extra = placing + (priors.MARK_PLACE_MM**2 if slug == "mark_spacing" else 0.0)
        spacing = self.members.get(("mark_spacing", mast, ""))
        triangle = [("band_to_sheer", mast, side), key, ("mark_spacing", mast, "")]
        if slant is None or not spacing or not all(one in before.place for one in triangle):
            extra += priors.MARK_PLACE_MM**2 if slug == "mark_to_sheer" else 0.0
            for i in takes:
                self.add(self._unit([i]), float(self.expected[i]), against=against, extra=extra)
            return
        at = float(self.steady[spacing].mean())
        slopes = from_mark_slopes(slant, at)
        against = np.sum([slope * before.effects(one) for slope, one in zip(slopes, triangle, strict=True)], axis=0)
        step = np.array([at - 0.5, at + 0.5])
        by_spacing = float(np.diff(from_mark(slant, step))[0])
        for i in takes:
            pick = self._unit([i]) - by_spacing * self._unit(spacing)
            self.add(pick, 0.0, against=against, extra=extra, bend=self.heights.mark(i, slant))

    def _rounding(self, item: int) -> float:
        """Variance of what is written to whole millimetres though its instrument reads finer."""
        kind = noise.instrument_kind(self.current, self.readings[item])
        step = min(self.items[item].step, 1.0)
        return 2.0 * step**2 / 12.0 if kind == "calliper" else 0.0

    def _booms(self) -> None:
        """Where both methods were used now they must agree; where the visits used different ones their heights must."""
        for mast in (one.name for one in self.current.visit.rig.masts):
            now = [method for method in ("string", "two_mark") if self.heights.has(mast, method)]
            if len(now) == 2:
                self._bent(self.heights.agreement(mast), 0.0)
                continue
            for method in now:
                other = "two_mark" if method == "string" else "string"
                then = self.before.height(mast, other)
                if then is not None and self.before.height(mast, method) is None:
                    self._bent(self.heights.by(method, mast), then[0], against=then[1])

    def _bent(self, bend: Bend, target: float, *, against: Floats | None = None, extra: float = 0.0) -> None:
        self.add(gradient(bend, self.steady), target, against=against, extra=extra, bend=bend)

    def _proportions(self) -> None:
        """What rigs have in common, wide; left out where sisters say more."""
        for one, other, centre, spread in PROPORTIONS:
            for key, takes in self.members.items():
                against = ReadingRef(other, key[1])
                held = (against.reading, against.mast, "")
                if key[0] != one or held not in self.members or key in self.sisters or held in self.sisters:
                    continue
                if min(self.values[takes].min(), self.values[self.members[held]].min()) > 0.0:
                    self._bent(self.heights.ratio(key, held), centre, extra=spread**2)

    def _covariance(self, pick: Floats) -> Floats:
        details = noise.steady_details(self.current, self.readings, self.values, self.steady)
        steps = [item.step for item in self.items]
        effects, sources = noise.item_effects(self.current, details, self.readings, self.keys, steps)
        against = np.array(self.against).reshape(len(self.against), len(self.before.sources))
        covariance = noise.covariance(pick, effects, sources, against, self.before)
        covariance += np.diag(self.extra)
        for direction in self._strings():
            moved = pick @ direction
            covariance += np.outer(moved, moved)
        return covariance

    def _slants(self) -> list[Slant]:
        """The two-mark triangles, the last visit's where it has them: a fault of today is not in those."""
        found = []

        def value(key: ReadingKey) -> float:
            then = self.before.value(key)
            return float(self.steady[self.members[key]].mean()) if np.isnan(then) and key in self.members else then

        for mast in (one.name for one in self.current.visit.rig.masts):
            for side in SIDES:
                upper, lower = value(("band_to_sheer", mast, side)), value(("mark_to_sheer", mast, side))
                spacing = value(key := ("mark_spacing", mast, ""))
                today = float(self.steady[self.members[key]].mean()) if key in self.members else spacing
                if np.isfinite([upper, lower, spacing]).all() and min(upper, lower, spacing) > 0:
                    found.append(Slant(mast, side, upper, lower, spacing, today))
        return found

    def _strings(self) -> list[Floats]:
        """(r,) each: one standard deviation of how differently each mast's string may hang this time."""
        signs = {"string_to_sheer": priors.STRING_HEIGHT_MM, "string_to_band": -priors.STRING_HEIGHT_MM}
        directions = [
            np.array([signs.get(item.slug, 0.0) if item.ref.mast == mast else 0.0 for item in self.items])
            for mast in dict.fromkeys(item.ref.mast for item in self.items)
        ]
        return [direction for direction in directions if direction.any()]


def _items(current: Derivation) -> tuple[tuple[Item, ...], list[Reading], list[ReadingKey]]:
    """Every take that counts, with its reading and its key, in parallel."""
    details = current.details
    place = {key: i for i, key in enumerate(details.keys)}
    counting = [
        (one, key) for one in current.used.readings if (key := noise.key_of(current, one)) is not None and key in place
    ]
    shown: dict[ReadingKey, list[float]] = {}
    for reading, key in counting:
        shown.setdefault(key, []).append(reading.value)
    items = []
    for reading, key in counting:
        mean, corrected = sum(shown[key]) / len(shown[key]), float(details.corrected[place[key]])
        if mean and noise.instrument_kind(current, reading) not in ("calliper", "scale"):
            corrected *= reading.value / mean  # a tape's corrections run with the length
        else:
            corrected += reading.value - mean
        items.append(_item(current, reading, ReadingRef(*key), corrected))
    return tuple(items), [reading for reading, _ in counting], [key for _, key in counting]


def _item(current: Derivation, reading: Reading, ref: ReadingRef, corrected: float) -> Item:
    written, unit, step = _as_written(reading)
    instrument = current.used.instrument(reading.instrument)
    return Item(
        ref=ref,
        take=reading.take,
        value=corrected,
        indicated=reading.value,
        written=written,
        unit=unit,
        step=step,
        instrument=reading.instrument,
        by_tape=by_tape(reading.slug, instrument.kind if instrument else ""),
    )


def _as_written(reading: Reading) -> tuple[str, str, float]:
    """Text, unit and last place in mm or kg; the value itself where the text does not say it."""
    kind = READINGS[reading.slug]
    text, unit = reading.written.strip().replace(",", "."), reading.unit_written.strip() or kind.unit
    if text and not _PLAIN.fullmatch(text):
        return text, unit, SIXTEENTH_KG if kind.quantity == "mass" else SIXTEENTH_MM
    try:
        factor = 1.0 if unit == kind.unit else float(FACTORS[kind.quantity](unit))
    except UnitError:
        factor = 0.0
    if not text or abs(float(text) * factor - reading.value) > 1e-6 * abs(reading.value) + 1e-9:
        text, unit, factor = f"{reading.value:.10g}", kind.unit, 1.0
        if "e" in text:
            text = f"{reading.value:.6f}"
    return text, unit, factor * 10.0 ** -len(text.partition(".")[2])


def _row_function(pick: Floats, target: Floats, bends: dict[int, Bend]) -> Callable[[Floats], Floats]:
    """The rows of a batch of readings (h, r) -> (h, n)."""
    linear = pick.T.copy()
    linear[:, list(bends)] = 0.0

    def rows(batch: Floats) -> Floats:
        result = product(batch, linear)
        for row, bend in bends.items():
            result[:, row] = bend(batch)
        return result - target

    return rows


def _same_mast(previous: Derivation | None, current: Derivation) -> dict[str, bool]:
    """By mast, where both visits name it."""
    if previous is None:
        return {}
    then = {mast.name: mast.mast_identification for mast in previous.visit.rig.masts if mast.mast_identification}
    now = {mast.name: mast.mast_identification for mast in current.visit.rig.masts if mast.mast_identification}
    return {name: then[name] == now[name] for name in then.keys() & now.keys()}
