"""Faults of the tape and of how it was held: its scale, its beginning, the wrong edge of a band."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from computations.diagnosis import priors
from computations.diagnosis.patterns import Hypothesis, Sketch
from computations.results import ReadingRef

# Which band's other edge a reading may have been taken to.
EDGES = (
    ("luff_between_bands", "upper_band_width"),
    ("taper_length", "upper_band_width"),
    ("foot_distance", "boom_band_width"),
    *((slug, "lower_band_width") for slug in priors.FROM_LOWER_BAND),
    ("string_to_band", "lower_band_width"),
    ("band_to_sheer", "lower_band_width"),
    ("mark_spacing", "lower_band_width"),
)
# Readings taken one after the other from the same edge.
SERIES = (
    (priors.FROM_LOWER_BAND, "lower_band_width"),
    (tuple(slug for slug in priors.FROM_LOWER_BAND if slug != "balance_above_band"), "lower_band_width"),
    (("spinnaker_halyard_above_band",), "lower_band_width"),
    (("luff_between_bands", "taper_length"), "upper_band_width"),
)
RARE_EDGES = frozenset({"taper_length", "balance_above_band", "string_to_band", "band_to_sheer", "mark_spacing"})


def tapes(sketch: Sketch) -> list[list[int]]:
    """The readings taken with each tape; then those with any tape."""
    by_instrument: dict[str, list[int]] = {}
    for index, item in enumerate(sketch.items):
        if item.by_tape:
            by_instrument.setdefault(item.instrument, []).append(index)
    sets = [indices for indices in by_instrument.values() if len(indices) > 2]
    if len(by_instrument) > 1:
        sets.append(sorted(itertools.chain.from_iterable(by_instrument.values())))
    return sets


def tape_scale(sketch: Sketch) -> Iterator[Hypothesis]:
    for indices in tapes(sketch):
        pattern = sketch.zeros()
        pattern[indices] = sketch.likely[indices]
        readings = sketch.refs(index for index in indices if abs(sketch.likely[index]) >= priors.LEAST_LONG_MM)
        if len(readings) > 1:
            yield from sketch.sized(
                "tape_scale", readings, pattern, priors.SCALE_SPREADS, size_factor=1000.0, unit="mm/m"
            )


def tape_start(sketch: Sketch) -> Iterator[Hypothesis]:
    for ref, indices, share in sketch.take_sets("tape_start"):
        if sketch.items[indices[0]].by_tape:
            for start in priors.TAPE_STARTS:
                yield Hypothesis(
                    "tape_start",
                    (ref,),
                    shift=sketch.vector(indices, start),
                    weight=share,
                    size=start,
                    support=frozenset(indices),
                )


def tape_start_all(sketch: Sketch) -> Iterator[Hypothesis]:
    """Every reading of a tape, or all but its shortest ones: those are often taken with its end in the hand."""
    for indices in tapes(sketch):
        groups: dict[ReadingRef, list[int]] = {}
        for index in indices:
            groups.setdefault(sketch.items[index].ref, []).append(index)
        # Sections and widths are taken with the tape's end in the hand even where it began elsewhere for all the rest.
        stretched = {ref: some for ref, some in groups.items() if ref.reading not in priors.IN_HAND}
        for start in priors.TAPE_STARTS:
            yield from _started(sketch, groups, start)
            if 2 < len(stretched) < len(groups):
                yield from _started(sketch, stretched, start)


def _started(sketch: Sketch, groups: dict[ReadingRef, list[int]], start: float) -> Iterator[Hypothesis]:
    meant = np.where(np.isfinite(sketch.scene.expected), sketch.scene.expected, sketch.values - start)
    refs = sorted(groups, key=lambda ref: -meant[groups[ref][0]])
    shift = sketch.vector([index for indices in groups.values() for index in indices], start)
    for last in range(len(refs), 2, -1):
        yield Hypothesis(
            "tape_start_all",
            tuple(refs[:last]),
            shift=shift.copy(),
            weight=1.0 if last == len(refs) else 0.05,
            size=start,
        )
        shortest = groups[refs[last - 1]]
        if meant[shortest[0]] > priors.LONGEST_IN_HAND_MM:
            break
        shift[shortest] = 0.0


def band_edge(sketch: Sketch) -> Iterator[Hypothesis]:
    for slug, width_slug in EDGES:
        for ref, indices in sketch.places.items():
            if ref.reading == slug:
                width = sketch.scene.width_of(width_slug, ref.mast, priors.BAND_WIDTH_MM)
                weight = 0.4 if slug in RARE_EDGES else 1.0
                yield from _edge(sketch, (ref,), indices, width, width_slug, weight, entire=True)
    for mast in sketch.scene.masts:
        for slugs, width_slug in SERIES:
            width = sketch.scene.width_of(width_slug, mast, priors.BAND_WIDTH_MM)
            some = [i for i, item in enumerate(sketch.items) if item.ref.mast == mast and item.slug in slugs]
            readings = sketch.refs(some)
            if len(readings) > 1:
                yield from _edge(sketch, readings, some, width, width_slug, 0.7, entire=False)


def _edge(
    sketch: Sketch,
    readings: tuple[ReadingRef, ...],
    indices: list[int],
    width: float,
    words: str,
    weight: float,
    *,
    entire: bool,
) -> Iterator[Hypothesis]:
    support = frozenset(indices) if entire else frozenset[int]()
    for amount in (width, -width):
        yield Hypothesis(
            "band_edge",
            readings,
            shift=sketch.vector(indices, amount),
            # The edge is found anew, and the band's width is known to a millimetre.
            direction=sketch.vector(indices, 0.7),
            weight=weight,
            size=amount,
            words=words,
            support=support,
        )
