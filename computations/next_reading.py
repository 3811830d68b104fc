"""Which further reading would make the weakest dimension surer, and how sure it would then be.

Exact linear algebra on the sources, to first order: a further take shares out what each take does anew, a longer mark
spacing or the other method for the boom's height brings rows of its own, and the adopted height is combined anew by
covariance. No figure of this comes from a table; taking the reading and deriving again gives the U promised here as
far as the reading falls where the present ones say.

*Weakest* is the dimension whose U is the greatest share of what matters: the office's change limit for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from computations.catalogue import BOOM_HEIGHT_METHODS, DIMENSIONS, READINGS, ReadingKey
from computations.derivation import Derivation
from computations.foreseen import Effects, Foreseen
from computations.results import DimensionResult, ReadingRef
from computations.rounding import THIN_SPACE, to_decimals, to_significant, written

LEAST_GAIN = 0.02  # of U; less is not worth a walk to the boat (judgement, no source)
OPTIONS = 3
CLEAR_OF_DECK = 100.0  # mm that the second mark stays above the sheer (judgement, no source)
LONGEST_SPACING = 2000.0  # mm; more than a folding rule spans
STEP = 100.0
# Where no office has said what matters: 5 mm of a length, 1 mm of a section (common practice, no source).
USUAL_LIMITS = {
    kind.slug: 1.0 if kind.slug.startswith("section_") else 5.0 for kind in DIMENSIONS.values() if kind.unit == "mm"
}
METHOD_WORDS = {"string": "the string", "two_mark": "two marks"}


@dataclass(frozen=True, slots=True)
class Option:
    """One thing to do: `readings` are to be taken (anew), after which the dimension's U would be `expanded`."""

    kind: str  # repeat | repeat_method | longer_spacing | other_method
    sentence: str
    readings: tuple[ReadingRef, ...]
    expanded: float
    spacing_mm: float | None = None


@dataclass(frozen=True, slots=True)
class NextReadings:
    """The weakest dimension that can be made surer, with its options, the best first.

    `weakest` may differ from `dimension` where no reading helps the weakest one; `sentence` then says so.
    """

    dimension: DimensionResult
    limit: float
    options: tuple[Option, ...]
    weakest: DimensionResult
    sentence: str


def next_readings(derivation: Derivation, limits: Mapping[str, float]) -> NextReadings | None:
    """The best next readings; `limits` maps a dimension's slug to the least change that matters, in its unit.

    None where no dimension with a limit has an uncertainty, or nothing that can be done at the boat helps.
    """
    ranked = _ranked(derivation, limits)
    if not ranked:
        return None
    foreseen = Foreseen(derivation)
    ways = list(_ways(foreseen))
    for one in ranked:
        position = derivation.find(one.slug, one.mast, one.method or None)
        if position is None or not one.expanded_uncertainty:
            continue
        options = _options(foreseen, ways, position, one.expanded_uncertainty)
        if options:
            weakest = ranked[0]
            return NextReadings(one, limits[one.slug], options, weakest, _sentence(one, weakest, options[0]))
    return None


def readings_for(derivation: Derivation, name: str, mast: str = "main") -> NextReadings | None:
    """The same for one dimension by symbol or slug, whatever else is weak."""
    one = derivation.get(name, mast)
    if one is None or not one.expanded_uncertainty:
        return None
    position = derivation.find(name, mast)
    foreseen = Foreseen(derivation)
    options = () if position is None else _options(foreseen, list(_ways(foreseen)), position, one.expanded_uncertainty)
    return NextReadings(one, 0.0, options, one, _sentence(one, one, options[0])) if options else None


def _ranked(derivation: Derivation, limits: Mapping[str, float]) -> list[DimensionResult]:
    """Dimensions with U and a limit, the weakest first."""
    known = [
        one
        for one in derivation.dimensions
        if one.expanded_uncertainty and limits.get(one.slug, 0.0) > 0.0 and one.method in ("", "adopted")
    ]
    return sorted(known, key=lambda one: -(one.expanded_uncertainty or 0.0) / limits[one.slug])


def _options(foreseen: Foreseen, ways: list[_Way], position: int, now: float) -> tuple[Option, ...]:
    found: list[Option] = []
    for way in ways:
        expanded = foreseen.expanded(position, way.effects)
        if expanded is not None and expanded < (1.0 - LEAST_GAIN) * now:
            found.append(Option(way.kind, way.sentence, way.readings, expanded, way.spacing_mm))
    found.sort(key=lambda option: (option.expanded, len(option.readings)))
    kinds: dict[str, int] = {}
    chosen = []
    for option in found:
        # Of spacings only the best; single repeats may be several.
        if option.kind == "longer_spacing" and kinds.get(option.kind):
            continue
        kinds[option.kind] = kinds.get(option.kind, 0) + 1
        chosen.append(option)
    return tuple(chosen[:OPTIONS])


@dataclass(frozen=True, slots=True)
class _Way:
    kind: str
    sentence: str
    readings: tuple[ReadingRef, ...]
    effects: Effects
    spacing_mm: float | None = None


def _ways(foreseen: Foreseen) -> Iterator[_Way]:
    """Everything that could be read next."""
    for key in foreseen.keys:
        yield _Way("repeat", f"Read once more: {_named(key)}.", (ReadingRef(*key),), foreseen.with_takes([key]))
    for mast in foreseen.booms:
        for method, slugs in BOOM_HEIGHT_METHODS.items():
            keys = [key for key in foreseen.keys if key[0] in slugs and key[1] == mast]
            if method in foreseen.methods(mast):
                sentence = f"Read everything for the boom's height by {METHOD_WORDS[method]} once more."
                yield _Way("repeat_method", sentence, _refs(keys), foreseen.with_takes(keys))
        yield from _other_ways(foreseen, mast)


def _other_ways(foreseen: Foreseen, mast: str) -> Iterator[_Way]:
    methods = foreseen.methods(mast)
    if "two_mark" in methods:
        spacing = foreseen.spacing(mast)
        for longer in _spacings(foreseen, mast, spacing):
            sentence = (
                f"Set the second mark {_millimetres(longer)} below the band ({_millimetres(spacing)} now), "
                "and read from it to the sheer on both sides."
            )
            effects = foreseen.with_two_marks(mast, longer)
            keys = [key for key in effects.readings if key[0] in ("mark_spacing", "mark_to_sheer") and key[1] == mast]
            yield _Way("longer_spacing", sentence, _refs(keys), effects, longer)
    elif methods:
        spacings = list(_spacings(foreseen, mast, 0.0))
        if spacings:
            effects = foreseen.with_two_marks(mast, spacings[-1])
            keys = [key for key in effects.readings if key[0] in BOOM_HEIGHT_METHODS["two_mark"] and key[1] == mast]
            sentence = (
                f"Find the boom's height by two marks as well, {_millimetres(spacings[-1])} apart "
                f"(reckoned for a sheer point {_millimetres(foreseen.offset(mast))} out)."
            )
            yield _Way("other_method", sentence, _refs(keys), effects, spacings[-1])
    if methods == ("two_mark",):
        effects = foreseen.with_string(mast)
        keys = [key for key in effects.readings if key[0] in BOOM_HEIGHT_METHODS["string"] and key[1] == mast]
        yield _Way("other_method", "Find the boom's height by the string as well.", _refs(keys), effects)


def _spacings(foreseen: Foreseen, mast: str, present: float) -> Iterator[float]:
    """Whole hundreds above the present spacing, as far down as the second mark stays clear of the deck."""
    longest = min(foreseen.boom_height(mast) - CLEAR_OF_DECK, LONGEST_SPACING)
    number = math.floor(present / STEP) + 1
    while number * STEP <= longest:
        yield number * STEP
        number += 1


def _refs(keys: list[ReadingKey]) -> tuple[ReadingRef, ...]:
    return tuple(ReadingRef(*key) for key in keys)


def _named(key: ReadingKey) -> str:
    slug, mast, position = key
    return ", ".join(word for word in (READINGS[slug].name, position, mast if mast != "main" else "") if word)


def _millimetres(value: float) -> str:
    return f"{written(to_decimals(value, 0))}{THIN_SPACE}mm"


def _quoted(value: float, unit: str) -> str:
    return (
        f"± {written(to_significant(value, 2))}{THIN_SPACE}{unit}" if unit != "1" else f"± {to_significant(value, 2)}"
    )


def _sentence(one: DimensionResult, weakest: DimensionResult, best: Option) -> str:
    """ "Least sure: height of the foretriangle, ± 9.2 mm. … That would make it ± 6.9 mm."."""
    now = _quoted(one.expanded_uncertainty or 0.0, one.unit)
    said = f"Least sure for what matters: {DIMENSIONS[weakest.slug].name.lower()}"
    if weakest is not one:
        said += (
            f", {_quoted(weakest.expanded_uncertainty or 0.0, weakest.unit)}, which no further reading makes surer. "
        )
        said += f"Next: {DIMENSIONS[one.slug].name.lower()}"
    return f"{said}, {now}. {best.sentence} That would make it {_quoted(best.expanded, one.unit)}."
