"""Every single thing that may have happened, as a pattern of change in the readings.

Priors and the spread of sizes are office judgement (common practice, no source): they say how often each thing is met,
before any reading is looked at. A hypothesis says how the readings as given differ from the readings as they should be.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from computations.catalogue import READINGS
from computations.diagnosis.scene import Floats, Item, Scene
from computations.results import ReadingRef

P_NOTHING = 0.60
P_JOINT = 0.06  # two things in one visit
KIND_PRIORS = {
    "quantity_changed": 0.20,
    "lower_band_moved": 0.08,
    "mast_moved": 0.06,
    "new_mast": 0.06,
    "tape_scale": 0.07,
    "tape_start": 0.09,
    "tape_start_all": 0.05,
    "band_edge": 0.07,
    "digits_swapped": 0.10,
    "wrong_unit": 0.06,
    "sides_swapped": 0.05,
    "section_swapped": 0.04,
    "distances_swapped": 0.03,
    "foil_doubling": 0.04,
}
# Standard deviations of a real change, mm (kg for masses): small, middling, large, each as likely as the next.
LENGTH_SPREADS = (8.0, 40.0, 250.0)
SECTION_SPREADS = (1.0, 5.0, 25.0)
MASS_SPREADS = (1.0, 6.0, 40.0)
BALANCE_SPREADS = (25.0, 80.0, 300.0)
BAND_SPREADS = (10.0, 35.0, 120.0)
SCALE_SPREADS = (0.15e-3, 0.6e-3, 2.0e-3)
TAPE_STARTS = (-1000.0, -100.0, 100.0, 1000.0)
UNIT_FACTORS = (1 / 25.4, 25.4, 1 / 304.8, 304.8, 1 / 10.0, 10.0, 1 / 1000.0, 1000.0)
UNIT_WEIGHTS = (4.0, 4.0, 2.0, 2.0, 1.0, 1.0, 1.0, 1.0)
MASS_FACTORS = (2.2046226218487757, 1 / 2.2046226218487757)
HALF_IN_STRIDE = 0.8  # share of "every take alike" where several takes could each be at fault alone
LEAST_LONG_MM = 1000.0
BAND_WIDTH_MM = 25.0
FROM_LOWER_BAND = (
    "luff_between_bands",
    "luff_to_sheave",
    "forestay_above_band",
    "spinnaker_halyard_above_band",
    "balance_above_band",
)
SMALL = frozenset(
    {
        "section_fore_aft_lower",
        "section_transverse_lower",
        "section_fore_aft_upper",
        "section_transverse_upper",
        "foil_fore_aft",
        "lower_band_width",
        "upper_band_width",
        "boom_band_width",
        "outrigger_mast_width",
    }
)
MAST_READINGS = (
    *FROM_LOWER_BAND,
    *SMALL - {"foil_fore_aft", "boom_band_width"},
    "taper_length",
    "scale_reading",
    "outrigger_reach",
)
SHEER_SIDES = ("string_to_sheer", "band_to_sheer", "mark_to_sheer")


@dataclass(slots=True)
class Hypothesis:
    """`shift` (r,) what was added to the readings for certain; `direction` (r,) one standard deviation of what was added
    with a free size. `free` lists further directions where a whole set of readings is free. `size` is the shift's own
    size in `unit`, or the factor that turns the most probable number of standard deviations into one."""

    kind: str
    readings: tuple[ReadingRef, ...]
    shift: Floats
    direction: Floats
    weight: float = 1.0
    size: float = 0.0
    size_per_deviation: float = 0.0
    unit: str = "mm"
    words: str = ""  # what the sentence needs besides: a factor, two numbers, an edge
    support: frozenset[int] = frozenset()  # items it explains entirely: no second fault on them
    free: Floats | None = None
    log_prior: float = field(default=0.0)


def spreads_of(slug: str) -> tuple[float, ...]:
    if READINGS[slug].quantity == "mass":
        return MASS_SPREADS
    if slug == "balance_above_band":
        return BALANCE_SPREADS
    return SECTION_SPREADS if slug in SMALL else LENGTH_SPREADS


class _Maker:
    """Builds the hypotheses of one scene."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.places = scene.places()
        self.count = len(scene.items)

    def zeros(self) -> Floats:
        return np.zeros(self.count)

    def vector(self, indices: Iterable[int], amount: float = 1.0) -> Floats:
        vector = self.zeros()
        vector[list(indices)] = amount
        return vector

    def refs(self, indices: Iterable[int]) -> tuple[ReadingRef, ...]:
        return tuple(dict.fromkeys(self.scene.items[index].ref for index in indices))

    def take_sets(self) -> Iterator[tuple[list[int], float]]:
        """Each reading with all its takes, and each take alone where there are several; with the share of either."""
        for indices in self.places.values():
            if len(indices) == 1:
                yield indices, 1.0
            else:
                yield indices, HALF_IN_STRIDE
                for index in indices:
                    yield [index], (1.0 - HALF_IN_STRIDE) / len(indices)

    def certain(
        self, kind: str, indices: list[int], shift: Floats, *, weight: float, size: float, **more: object
    ) -> Hypothesis:
        return Hypothesis(
            kind=kind,
            readings=self.refs(indices),
            shift=shift,
            direction=more.pop("direction", self.zeros()),  # type: ignore[arg-type]
            weight=weight,
            size=size,
            unit=str(more.pop("unit", "mm")),
            words=str(more.pop("words", "")),
            support=frozenset(indices) if more.pop("entire", True) else frozenset(),
        )

    def free(
        self,
        kind: str,
        readings: tuple[ReadingRef, ...],
        pattern: Floats,
        spreads: tuple[float, ...],
        *,
        weight: float = 1.0,
        **more: object,
    ) -> Iterator[Hypothesis]:
        for spread in spreads:
            yield Hypothesis(
                kind=kind,
                readings=readings,
                shift=self.zeros(),
                direction=pattern * spread,
                weight=weight / len(spreads),
                size_per_deviation=spread * float(more.get("size_factor", 1.0)),  # type: ignore[arg-type]
                unit=str(more.get("unit", "mm")),
                words=str(more.get("words", "")),
                support=frozenset(np.flatnonzero(pattern).tolist()) if more.get("entire") else frozenset(),
            )

    # -- real changes

    def quantity_changed(self) -> Iterator[Hypothesis]:
        for ref, indices in self.places.items():
            unit = READINGS[ref.reading].unit
            yield from self.free(
                "quantity_changed", (ref,), self.vector(indices), spreads_of(ref.reading), unit=unit, entire=True
            )
        for slug, mast in dict.fromkeys(
            (ref.reading, ref.mast) for ref in self.places if ref.position in ("port", "starboard")
        ):
            both = [ref for ref in self.places if (ref.reading, ref.mast) == (slug, mast)]
            if len(both) == 2:
                pattern = self.vector(itertools.chain.from_iterable(self.places[ref] for ref in both))
                yield from self.free(
                    "quantity_changed", tuple(both), pattern, spreads_of(slug), weight=0.5, entire=True
                )
        headstay = {ref.reading: ref for ref in self.places if ref.reading in ("foretriangle_base", "forestay_to_bow")}
        if len(headstay) == 2:
            pattern = self.vector(self.places[headstay["foretriangle_base"]])
            pattern -= self.vector(self.places[headstay["forestay_to_bow"]])
            yield from self.free(
                "quantity_changed", tuple(headstay.values()), pattern, LENGTH_SPREADS, words="headstay", entire=True
            )

    def lower_band_moved(self) -> Iterator[Hypothesis]:
        for mast in dict.fromkeys(ref.mast for ref in self.places):
            pattern = self.band_pattern(mast)
            if np.count_nonzero(pattern):
                readings = self.refs(np.flatnonzero(pattern).tolist())
                yield from self.free("lower_band_moved", readings, pattern, BAND_SPREADS)

    def band_pattern(self, mast: str) -> Floats:
        """What each reading gains when the lower band is one millimetre higher."""
        pattern = self.zeros()
        slants = {(slant.mast, slant.side): slant for slant in self.scene.slants}
        for index, item in enumerate(self.scene.items):
            if item.ref.mast != mast:
                continue
            if item.slug in FROM_LOWER_BAND:
                pattern[index] = -1.0
            elif item.slug == "string_to_band":
                pattern[index] = 1.0
            elif (slant := slants.get((mast, item.ref.position))) and item.slug == "band_to_sheer":
                pattern[index] = slant.depth / slant.upper
            elif slant and item.slug == "mark_to_sheer":
                pattern[index] = (slant.depth - slant.spacing) / slant.lower
        return pattern

    def mast_moved(self) -> Iterator[Hypothesis]:
        pattern = self.zeros()
        for index, item in enumerate(self.scene.items):
            if item.slug in ("foretriangle_base", "bowsprit_tack_reach"):
                pattern[index] = 1.0
            elif item.slug == "mast_separation":
                pattern[index] = -1.0
        moved = np.flatnonzero(pattern)
        if len({self.scene.items[index].slug for index in moved}) > 1:
            yield from self.free("mast_moved", self.refs(moved.tolist()), pattern, LENGTH_SPREADS)

    def new_mast(self) -> Iterator[Hypothesis]:
        for mast in dict.fromkeys(ref.mast for ref in self.places):
            rows = []
            touched: list[int] = []
            band = self.band_pattern(mast)
            for ref, indices in self.places.items():
                if ref.mast == mast and ref.reading in MAST_READINGS:
                    rows.append(self.vector(indices, spreads_of(ref.reading)[1] * 1.5))
                    touched += indices
            if len(rows) < 3:
                continue
            rows.append(np.where(np.isin(np.arange(self.count), touched), 0.0, band) * BAND_SPREADS[1])
            yield Hypothesis(
                kind="new_mast",
                readings=self.refs(touched),
                shift=self.zeros(),
                direction=self.zeros(),
                free=np.array(rows),
                words=mast,
            )

    # -- the tape

    def tapes(self) -> list[list[int]]:
        """The readings taken with each tape; then those with any tape."""
        by_instrument: dict[str, list[int]] = {}
        for index, item in enumerate(self.scene.items):
            if item.by_tape:
                by_instrument.setdefault(item.instrument, []).append(index)
        sets = [indices for indices in by_instrument.values() if len(indices) > 2]
        if len(by_instrument) > 1:
            sets.append(sorted(itertools.chain.from_iterable(by_instrument.values())))
        return sets

    def tape_scale(self) -> Iterator[Hypothesis]:
        for indices in self.tapes():
            pattern = self.zeros()
            pattern[indices] = self.scene.values[indices]
            long = [index for index in indices if abs(self.scene.items[index].value) >= LEAST_LONG_MM]
            if len(self.refs(long)) > 1:
                yield from self.free(
                    "tape_scale", self.refs(long), pattern, SCALE_SPREADS, size_factor=1000.0, unit="mm/m"
                )

    def tape_start(self) -> Iterator[Hypothesis]:
        for indices, share in self.take_sets():
            if not self.scene.items[indices[0]].by_tape:
                continue
            for start in TAPE_STARTS:
                yield self.certain("tape_start", indices, self.vector(indices, start), weight=share, size=start)

    def tape_start_all(self) -> Iterator[Hypothesis]:
        for indices in self.tapes():
            for start in TAPE_STARTS:
                shift = self.vector(indices, start)
                yield self.certain("tape_start_all", indices, shift, weight=1.0, size=start, entire=False)

    # -- the pencil

    def band_edge(self) -> Iterator[Hypothesis]:
        edges = (
            ("luff_between_bands", "upper_band_width"),
            ("taper_length", "upper_band_width"),
            ("foot_distance", "boom_band_width"),
            *((slug, "lower_band_width") for slug in (*FROM_LOWER_BAND, "string_to_band", "band_to_sheer")),
        )
        for slug, width_slug in edges:
            for ref, indices in self.places.items():
                if ref.reading != slug:
                    continue
                width = self.scene.value_of(width_slug, ref.mast, BAND_WIDTH_MM)
                for sign in (1.0, -1.0):
                    shift = self.vector(indices, sign * width)
                    yield self.certain("band_edge", indices, shift, weight=1.0, size=sign * width, words=width_slug)
        for mast in dict.fromkeys(ref.mast for ref in self.places):
            heights = [
                i for i, item in enumerate(self.scene.items) if item.ref.mast == mast and item.slug in FROM_LOWER_BAND
            ]
            width = self.scene.value_of("lower_band_width", mast, BAND_WIDTH_MM)
            if len(self.refs(heights)) > 1:
                for sign in (1.0, -1.0):
                    shift = self.vector(heights, sign * width)
                    yield self.certain(
                        "band_edge",
                        heights,
                        shift,
                        weight=2.0,
                        size=sign * width,
                        words="lower_band_width",
                        entire=False,
                    )

    def digits_swapped(self) -> Iterator[Hypothesis]:
        for indices, share in self.take_sets():
            swaps = [swapped(self.scene.items[index]) for index in indices]
            for places in set.intersection(*(set(one) for one in swaps)):
                shift = self.zeros()
                for index, one in zip(indices, swaps, strict=True):
                    shift[index] = self.scene.items[index].indicated - one[places]
                weight = share * (1.0 if places[1] == places[0] + 1 else 0.15)
                first = self.scene.items[indices[0]]
                words = f"{first.indicated:g} {swaps[0][places]:g}"
                yield self.certain(
                    "digits_swapped", indices, shift, weight=weight, size=float(shift[indices[0]]), words=words
                )

    def wrong_unit(self) -> Iterator[Hypothesis]:
        for indices, share in self.take_sets():
            item = self.scene.items[indices[0]]
            mass = READINGS[item.slug].quantity == "mass"
            factors = (
                zip(MASS_FACTORS, (1.0, 1.0), strict=True) if mass else zip(UNIT_FACTORS, UNIT_WEIGHTS, strict=True)
            )
            for factor, weight in factors:
                meant = self.scene.values[indices] * factor
                shift, rounding = self.zeros(), self.zeros()
                shift[indices] = self.scene.values[indices] - meant
                rounding[indices] = item.step * factor / np.sqrt(12.0)  # the last place written, blown up by the factor
                yield self.certain(
                    "wrong_unit", indices, shift, weight=weight * share, size=float(shift[indices[0]]),
                    unit="kg" if mass else "mm", words=f"{factor:.10g}", direction=rounding,
                )  # fmt: skip

    # -- one for another

    def exchange(
        self, kind: str, exchanged: list[tuple[ReadingRef, ReadingRef]], weight: float = 1.0
    ) -> Iterator[Hypothesis]:
        shift, indices = self.zeros(), []
        values = self.scene.values
        for one, other in exchanged:
            if one not in self.places or other not in self.places:
                return
            first, second = self.places[one], self.places[other]
            shift[first] = values[first] - values[second].mean()
            shift[second] = values[second] - values[first].mean()
            indices += first + second
        if indices:
            yield self.certain(kind, indices, shift, weight=weight, size=float(shift[indices[0]]))

    def masts(self) -> list[str]:
        return list(dict.fromkeys(ref.mast for ref in self.places))

    def sides_swapped(self) -> Iterator[Hypothesis]:
        for mast in self.masts():
            couples = [(ReadingRef(slug, mast, "port"), ReadingRef(slug, mast, "starboard")) for slug in SHEER_SIDES]
            for couple in couples:
                yield from self.exchange("sides_swapped", [couple])
            yield from self.exchange("sides_swapped", couples[1:], 2.0)
            yield from self.exchange("sides_swapped", couples)

    def section_swapped(self) -> Iterator[Hypothesis]:
        for mast in self.masts():
            couples = [
                (ReadingRef(f"section_fore_aft_{end}", mast), ReadingRef(f"section_transverse_{end}", mast))
                for end in ("lower", "upper")
            ]
            for couple in couples:
                yield from self.exchange("section_swapped", [couple])
            yield from self.exchange("section_swapped", couples, 0.5)

    def distances_swapped(self) -> Iterator[Hypothesis]:
        for mast in self.masts():
            couples = [
                (ReadingRef("band_to_sheer", mast, side), ReadingRef("mark_to_sheer", mast, side))
                for side in ("port", "starboard")
            ]
            for couple in couples:
                yield from self.exchange("distances_swapped", [couple])
            yield from self.exchange("distances_swapped", couples, 2.0)

    def foil_doubling(self) -> Iterator[Hypothesis]:
        for ref, indices in self.places.items():
            if ref.reading == "foil_fore_aft":
                for factor in (0.5, 2.0):
                    shift = self.zeros()
                    shift[indices] = self.scene.values[indices] * (1.0 - factor)
                    yield self.certain(
                        "foil_doubling", indices, shift, weight=1.0, size=float(shift[indices[0]]), words=f"{factor:g}"
                    )


def swapped(item: Item) -> dict[tuple[int, int], float]:
    """The numbers that the one written becomes when two of its digits change places, by the digits' places."""
    text = item.written
    digits = [place for place, character in enumerate(text) if character.isdigit()]
    found = {}
    for one, other in itertools.combinations(range(len(digits)), 2):
        a, b = digits[one], digits[other]
        if text[a] == text[b]:
            continue
        characters = list(text)
        characters[a], characters[b] = characters[b], characters[a]
        changed = "".join(characters)
        if changed.lstrip("-")[0] != "0" or changed.lstrip("-").startswith("0."):
            found[one, other] = float(changed)
    return found


def hypotheses(scene: Scene) -> list[Hypothesis]:
    """All of them, each with the logarithm of its prior given that exactly one thing happened."""
    maker = _Maker(scene)
    made: list[Hypothesis] = []
    for kind, prior in KIND_PRIORS.items():
        of_kind = list(getattr(maker, kind)())
        if kind == "new_mast" and scene.same_mast is not None:
            # An identification that changed says a new mast; one that did not says the same mast, unless nobody looked.
            prior *= 0.05 if scene.same_mast else 10.0
        whole = sum(one.weight for one in of_kind)
        for one in of_kind:
            one.log_prior = float(np.log(prior * one.weight / whole))
        made += of_kind
    return made
