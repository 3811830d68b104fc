"""Why a dimension has no value, in one sentence for the person who can do something about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from computations.catalogue import DIMENSIONS, READINGS, SIDES
from computations.graph import Node
from computations.plan import Outcome
from computations.results import ReadingRef

if TYPE_CHECKING:
    from computations.derivation import Derivation


def reading_name(ref: ReadingRef, *, masts: int = 1) -> str:
    """A reading as a sentence names it: "Base of the foretriangle (J)", "String down to the sheer, port"."""
    kind = READINGS.get(ref.reading)
    if kind is None:
        return ref.reading
    name = f"{kind.name} ({kind.symbol})" if kind.symbol else kind.name
    pieces = [name, ref.position, f"{ref.mast} mast" if masts > 1 and kind.per == "mast" else ""]
    return ", ".join(piece for piece in pieces if piece)


def why_no_value(outcome: Outcome[Node], derivation: Derivation) -> str:
    if outcome.missing:
        names = [reading_name(ref, masts=len(derivation.visit.rig.masts)) for ref in outcome.missing]
        return f"Still to be read: {'; '.join(names)}."
    for slug in outcome.after:
        earlier = derivation.find(slug, outcome.mast)
        if earlier is not None and derivation.value_at(earlier) is None:
            return why_no_value(derivation.outcomes[earlier], derivation)
    if outcome.slug == "boom_above_sheer":
        return _boom_height(outcome, derivation)
    if outcome.slug == "forestay_height":
        return "The forestay's attachment stands as far forward of the mast as its deck point: look at J, GO and MW."
    name = DIMENSIONS[outcome.slug].name
    return f"{name} has no finite value with these readings: one of them is zero or far too large."


def _boom_height(outcome: Outcome[Node], derivation: Derivation) -> str:
    if outcome.method == "adopted":
        for method in ("string", "two_mark"):
            way = derivation.find("BAS", outcome.mast, method)
            if way is not None and derivation.value_at(way) is None:
                return why_no_value(derivation.outcomes[way], derivation)
        return (
            "The two methods for the boom's height do not agree within their uncertainty, so none is adopted: "
            "take the readings again, or choose one method with a written reason."
        )
    if outcome.method == "two_mark":
        details = derivation.details
        at = {key: float(value) for key, value in zip(details.keys, details.corrected, strict=True)}
        spacing = at["mark_spacing", outcome.mast, ""]
        if spacing <= 0:
            return "The spacing of the second mark must be greater than zero."
        for side in SIDES:
            a, b = at["band_to_sheer", outcome.mast, side], at["mark_to_sheer", outcome.mast, side]
            if a + b < spacing or abs(a - b) > spacing:
                return (
                    f"On {side} no triangle has these three sides: lower band to sheer {a:.0f} mm, "
                    f"second mark to sheer {b:.0f} mm, spacing {spacing:.0f} mm."
                )
    return "The boom's height has no finite value with these readings."
