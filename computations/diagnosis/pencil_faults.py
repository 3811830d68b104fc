"""Faults of the pencil: digits, units, one number in the place of another, a foil doubled in the head."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from computations.catalogue import READINGS
from computations.diagnosis import priors
from computations.diagnosis.patterns import Hypothesis, Sketch
from computations.diagnosis.scene import Item
from computations.results import ReadingRef
from computations.units import UnitError, parse_length, parse_mass

SHEER_SIDES = ("string_to_sheer", "band_to_sheer", "mark_to_sheer")
Couple = tuple[ReadingRef, ReadingRef]


def digits_swapped(sketch: Sketch) -> Iterator[Hypothesis]:
    swaps = [swapped(item) for item in sketch.items]
    for ref, indices, share in sketch.take_sets("digits_swapped"):
        item = sketch.items[indices[0]]
        for places in set.intersection(*(set(swaps[index]) for index in indices)):
            shift = sketch.zeros()
            for index in indices:
                shift[index] = sketch.items[index].indicated - swaps[index][places]
            yield Hypothesis(
                "digits_swapped",
                (ref,),
                shift=shift,
                weight=share * (1.0 if places[1] == places[0] + 1 else priors.APART_DIGITS),
                size=float(shift[indices[0]]),
                unit=READINGS[ref.reading].unit,
                words=f"{item.indicated:.7g} {swaps[indices[0]][places]:.7g}",
                support=frozenset(indices),
            )


def swapped(item: Item) -> dict[tuple[int, int], float]:
    """The numbers, in mm or kg, that the one written becomes when two of its digits change places, by their places."""
    text = item.written
    digits = [place for place, character in enumerate(text) if character.isdigit()][:9]
    first = digits[0] if digits else 0
    found = {}
    for one, other in itertools.combinations(range(len(digits)), 2):
        a, b = digits[one], digits[other]
        if text[a] == text[b] or (a == first and text[b] == "0" and text[a + 1 : a + 2] not in (".", ",")):
            continue
        changed = text[:a] + text[b] + text[a + 1 : b] + text[a] + text[b + 1 :]
        value = _number(changed, item.unit, READINGS[item.slug].quantity)
        if value is not None:
            found[one, other] = value
    return found


def _number(text: str, unit: str, quantity: str) -> float | None:
    try:
        if unit in ("mm", "kg"):
            return float(text)
    except ValueError:
        pass  # feet and inches within the text
    try:
        return float(parse_mass(text, unit) if quantity == "mass" else parse_length(text, unit))
    except (UnitError, ZeroDivisionError):
        return None


def wrong_unit(sketch: Sketch) -> Iterator[Hypothesis]:
    for ref, indices, share in sketch.take_sets("wrong_unit"):
        mass = READINGS[ref.reading].quantity == "mass"
        for factor, weight in priors.MASS_FACTORS if mass else priors.UNIT_FACTORS:
            yield _in_unit(sketch, (ref,), indices, factor, weight * share)
    lengths = [i for i, item in enumerate(sketch.items) if item.by_tape]
    readings = sketch.refs(lengths)
    if len(readings) > 2:
        for factor, weight in priors.UNIT_FACTORS[:4]:
            yield _in_unit(sketch, readings, lengths, factor, weight)


def _in_unit(
    sketch: Sketch, readings: tuple[ReadingRef, ...], indices: list[int], factor: float, weight: float
) -> Hypothesis:
    """The last place written, blown up by the factor, is one direction: takes are taken for rounded alike."""
    shift, rounding = sketch.zeros(), sketch.zeros()
    shift[indices] = sketch.values[indices] * (1.0 - factor)
    finest = priors.SIXTEENTH * priors.INCH if factor in (priors.INCH, priors.FOOT) else 0.0
    for index in indices:
        rounding[index] = math.hypot(sketch.items[index].step * factor, finest) / math.sqrt(12.0)
    return Hypothesis(
        "wrong_unit",
        readings,
        shift=shift,
        direction=rounding,
        weight=weight,
        size=float(shift[indices[0]]),
        unit=READINGS[readings[0].reading].unit,
        words=f"{factor:.10g}",
        support=frozenset(indices),
    )


# -- one for another


def sides_swapped(sketch: Sketch) -> Iterator[Hypothesis]:
    for mast in sketch.scene.masts:
        couples = [(ReadingRef(slug, mast, "port"), ReadingRef(slug, mast, "starboard")) for slug in SHEER_SIDES]
        yield from _exchanged(sketch, "sides_swapped", [[one] for one in couples], 1.0)
        yield from _exchanged(sketch, "sides_swapped", [couples[1:]], 2.0)
        yield from _exchanged(sketch, "sides_swapped", [couples], 1.0)


def section_swapped(sketch: Sketch) -> Iterator[Hypothesis]:
    for mast in sketch.scene.masts:
        couples = [
            (ReadingRef(f"section_fore_aft_{end}", mast), ReadingRef(f"section_transverse_{end}", mast))
            for end in ("lower", "upper")
        ]
        yield from _exchanged(sketch, "section_swapped", [[one] for one in couples], 1.0)
        yield from _exchanged(sketch, "section_swapped", [couples], 0.7)


def distances_swapped(sketch: Sketch) -> Iterator[Hypothesis]:
    for mast in sketch.scene.masts:
        couples = [
            (ReadingRef("band_to_sheer", mast, side), ReadingRef("mark_to_sheer", mast, side))
            for side in ("port", "starboard")
        ]
        yield from _exchanged(sketch, "distances_swapped", [[one] for one in couples], 1.0)
        yield from _exchanged(sketch, "distances_swapped", [couples], 2.0)


def _exchanged(sketch: Sketch, kind: str, ways: list[list[Couple]], weight: float) -> Iterator[Hypothesis]:
    """`ways`: sets of readings that were written in each other's place; a set with a reading missing is left out.

    So is one with two readings that are alike: nobody could see them exchanged. The takes of either keep their scatter.
    """
    for couples in ways:
        shift, indices = sketch.zeros(), []
        if not all(one in sketch.places and other in sketch.places for one, other in couples):
            continue
        for one, other in couples:
            first, second = sketch.places[one], sketch.places[other]
            apart = sketch.values[first].mean() - sketch.values[second].mean()
            if len(couples) > 1 and abs(apart) < priors.ALIKE_MM:
                break
            shift[first], shift[second] = apart, -apart
            indices += first + second
        else:
            size = abs(float(shift[indices[0]]))
            yield Hypothesis(kind, sketch.refs(indices), shift=shift, weight=weight, size=size)


def foil_doubling(sketch: Sketch) -> Iterator[Hypothesis]:
    for ref, indices in sketch.places.items():
        if ref.reading != "foil_fore_aft":
            continue
        for factor in (0.5, 2.0):
            shift, rounding = sketch.zeros(), sketch.zeros()
            shift[indices] = sketch.values[indices] * (1.0 - factor)
            rounding[indices] = 0.15 * max(factor, 1.0)
            yield Hypothesis(
                "foil_doubling",
                (ref,),
                shift=shift,
                direction=rounding,
                size=float(shift[indices[0]]),
                words=f"{factor:g}",
                support=frozenset(indices),
            )
