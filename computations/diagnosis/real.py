"""What may really have changed on the boat."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from computations.catalogue import READINGS
from computations.diagnosis import priors
from computations.diagnosis.heights import from_mark
from computations.diagnosis.patterns import Hypothesis, Sketch
from computations.diagnosis.scene import Floats
from computations.results import ReadingRef

# Two readings that one real change moves together: sign of either, and what the sentence calls it.
COUPLED = (
    ("foretriangle_base", 1.0, "forestay_to_bow", -1.0, "headstay"),
    ("luff_between_bands", 1.0, "taper_length", 1.0, "upper_band"),
)


def quantity_changed(sketch: Sketch) -> Iterator[Hypothesis]:
    """One length or weight; both sides of one; or two readings that hang together."""
    for ref, indices in sketch.places.items():
        if sketch.scene.history or ref in sketch.scene.sisters:
            yield from sketch.sized(
                "quantity_changed", (ref,), sketch.vector(indices), priors.spreads_of(ref.reading),
                unit=READINGS[ref.reading].unit, entire=True, words="" if sketch.scene.history else "sisters",
            )  # fmt: skip
    if sketch.scene.history:
        yield from _both_sides(sketch)
        yield from _coupled(sketch)


def _both_sides(sketch: Sketch) -> Iterator[Hypothesis]:
    for ref in sketch.places:
        other = ReadingRef(ref.reading, ref.mast, "starboard")
        if ref.position == "port" and other in sketch.places:
            pattern = sketch.vector(sketch.places[ref] + sketch.places[other])
            spreads = priors.spreads_of(ref.reading)
            yield from sketch.sized("quantity_changed", (ref, other), pattern, spreads, weight=0.5, entire=True)


def _coupled(sketch: Sketch) -> Iterator[Hypothesis]:
    for (one, sign, other, other_sign, words), mast in itertools.product(COUPLED, sketch.scene.masts):
        first, second = ReadingRef(one, mast), ReadingRef(other, mast)
        if first in sketch.places and second in sketch.places:
            pattern = sketch.vector(sketch.places[first], sign) + sketch.vector(sketch.places[second], other_sign)
            yield from sketch.sized(
                "quantity_changed", (first, second), pattern, priors.LENGTH_SPREADS, words=words, entire=True
            )


def lower_band_moved(sketch: Sketch) -> Iterator[Hypothesis]:
    for mast in sketch.scene.masts:
        pattern = band_pattern(sketch, mast)
        readings = sketch.refs(np.flatnonzero(pattern).tolist())
        if sketch.scene.history and len(readings) > 1:
            yield from sketch.sized("lower_band_moved", readings, pattern, priors.BAND_SPREADS)


def band_pattern(sketch: Sketch, mast: str) -> Floats:
    """What each reading gains when the lower band is one millimetre higher."""
    pattern = sketch.zeros()
    slants = {slant.side: slant for slant in sketch.scene.slants if slant.mast == mast}
    for index, item in enumerate(sketch.items):
        if item.ref.mast != mast:
            continue
        if item.slug in priors.FROM_LOWER_BAND:
            pattern[index] = -1.0
        elif item.slug == "string_to_band":
            pattern[index] = 1.0
        elif item.slug in ("band_to_sheer", "mark_to_sheer") and (slant := slants.get(item.ref.position)):
            slope = slant.depth / slant.upper
            if item.slug == "mark_to_sheer":
                slope = (slant.depth - slant.today) / float(from_mark(slant, np.array([slant.today]))[0])
            pattern[index] = min(max(slope, -1.0), 1.0)
    return pattern


def mast_moved(sketch: Sketch) -> Iterator[Hypothesis]:
    """Aft at deck: what is measured forward from the mast grows, and the way to the after mast shrinks."""
    signs = {"foretriangle_base": 1.0, "bowsprit_tack_reach": 1.0, "mast_separation": -1.0}
    pattern = np.array([signs.get(item.slug, 0.0) for item in sketch.items])
    moved = np.flatnonzero(pattern).tolist()
    if not sketch.scene.history or not moved:
        return
    readings = sketch.refs(moved)
    # One reading alone may say so too, but then a change of just that one is the nearer answer.
    weight = 1.0 if len(readings) > 1 else 0.02
    yield from sketch.sized("mast_moved", readings, pattern, priors.LENGTH_SPREADS, weight=weight)


def new_mast(sketch: Sketch) -> Iterator[Hypothesis]:
    """Everything on the mast is free; so is a little what is measured from it, and how high its lower band is."""
    if not sketch.scene.history:
        return
    for mast in sketch.scene.masts:
        on_mast = [
            indices
            for ref, indices in sketch.places.items()
            if ref.mast == mast and ref.reading in priors.MAST_READINGS
        ]
        if len(on_mast) < 3:
            continue
        touched = list(itertools.chain.from_iterable(on_mast))
        said = sketch.scene.same_mast.get(mast)
        likely = 1.0 if said is None else priors.SAME_MAST_SAID if said else priors.OTHER_MAST_SAID
        for *spreads, share in priors.NEW_MASTS:
            yield Hypothesis(
                "new_mast",
                sketch.refs(touched),
                weight=share * likely,
                words=mast,
                support=frozenset(touched),
                free=np.array([*_free(sketch, on_mast, spreads), *_around(sketch, mast, touched)]),
                size=_luff_change(sketch, mast),
            )


def _free(sketch: Sketch, on_mast: list[list[int]], spreads: list[float]) -> Iterator[Floats]:
    length, section, mass, balance = spreads
    for indices in on_mast:
        slug = sketch.items[indices[0]].slug
        if READINGS[slug].quantity == "mass":
            spread = mass
        elif slug == "balance_above_band":
            spread = balance
        else:
            spread = section if slug in priors.SMALL else length
        yield sketch.vector(indices, spread)


def _around(sketch: Sketch, mast: str, touched: list[int]) -> Iterator[Floats]:
    heights = band_pattern(sketch, mast)
    heights[touched] = 0.0
    yield heights * priors.BAND_SPREADS[1][0]
    for ref, indices in sketch.places.items():
        if ref.mast == mast and ref.reading in priors.FROM_MAST_AT_DECK:
            yield sketch.vector(indices, priors.NEW_MAST_AT_DECK_MM)


def _luff_change(sketch: Sketch, mast: str) -> float:
    """What the luff gained: the size of a new mast."""
    for slug in ("luff_between_bands", "luff_to_sheave"):
        for index in sketch.places.get(ReadingRef(slug, mast), ()):
            if np.isfinite(sketch.scene.expected[index]):
                return float(sketch.values[index] - sketch.scene.expected[index])
    return 0.0
