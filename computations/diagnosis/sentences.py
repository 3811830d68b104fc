"""One sentence a measurer understands for each thing that may have happened."""

from __future__ import annotations

from computations.catalogue import READINGS
from computations.results import ReadingRef

_FACTORS = {
    1 / 25.4: "in millimetres but taken as inches",
    25.4: "in inches but taken as millimetres",
    1 / 304.8: "in millimetres but taken as feet",
    304.8: "in feet but taken as millimetres",
    0.1: "in millimetres but taken as centimetres",
    10.0: "in centimetres but taken as millimetres",
    0.001: "in millimetres but taken as metres",
    1000.0: "in metres but taken as millimetres",
    2.2046226218487757: "in kilograms but taken as pounds",
    1 / 2.2046226218487757: "in pounds but taken as kilograms",
}
_EDGES = {"lower_band_width": "lower band", "upper_band_width": "upper band", "boom_band_width": "boom band"}
_SIDED = "port and starboard"


def name_of(ref: ReadingRef) -> str:
    kind = READINGS.get(ref.reading)
    words = [kind.name if kind else ref.reading.replace("_", " ").capitalize()]
    words += [word for word in (ref.position, ref.mast if ref.mast != "main" else "") if word]
    return ", ".join(words)


def _named(readings: tuple[ReadingRef, ...], most: int = 3) -> str:
    names = list(dict.fromkeys(name_of(ref) for ref in readings))
    if len(names) > most:
        return f"{'; '.join(names[:most])} and {len(names) - most} more"
    return "; ".join(names)


def _amount(size: float, unit: str) -> str:
    return (
        f"{size:+.2f} {unit}" if unit == "mm/m" else f"{size:+.0f} {unit}" if abs(size) >= 10 else f"{size:+.1f} {unit}"
    )


def explain(
    kind: str, readings: tuple[ReadingRef, ...], size: float, unit: str, words: str, parts: tuple[str, ...]
) -> str:
    """The sentence. `words` is what the hypothesis adds: a factor, the two numbers, the edge's band."""
    if kind == "joint":
        return " And: ".join(parts)
    named, amount = _named(readings), _amount(size, unit)
    up = "higher" if size > 0 else "lower"
    sentences = {
        "nothing_changed": "Nothing changed: measuring noise explains every difference.",
        "quantity_changed": f"{named} really changed by {amount}.",
        "lower_band_moved": f"The lower band was moved {abs(size):.0f} mm {up}: every height above it changed by what the boom's height gained.",
        "mast_moved": f"The mast stands {abs(size):.0f} mm further {'aft' if size > 0 else 'forward'} at deck: {named} changed together.",
        "new_mast": "Another mast: its lengths, sections and bands all differ.",
        "tape_scale": f"The tape reads {abs(size):.2f} mm/m {'long' if size > 0 else 'short'}, stretched or not corrected for temperature: {named} changed in proportion.",
        "tape_start": f"{named}: the tape started from another mark; the reading is {abs(size):.0f} mm too {'long' if size > 0 else 'short'}.",
        "tape_start_all": f"Every reading with this tape is {abs(size):.0f} mm too {'long' if size > 0 else 'short'}: it started from another mark.",
        "band_edge": f"{named}: taken to the wrong edge of the {_EDGES.get(words, 'band')} ({amount}).",
        "digits_swapped": f"{named}: two digits changed places, {' for '.join(words.split())}.",
        "sides_swapped": f"Port and starboard were exchanged: {named}.",
        "section_swapped": f"Fore-and-aft and transverse were exchanged: {named}.",
        "distances_swapped": f"The distances from band and mark were exchanged: {named}.",
    }
    if kind == "wrong_unit":
        factor = float(words)
        meaning = min(_FACTORS, key=lambda one: abs(one / factor - 1.0))
        return f"{named}: written {_FACTORS[meaning]}."
    if kind == "foil_doubling":
        return f"{named}: {'doubled already when it was written' if words == '0.5' else 'half the chord was written'}."
    return sentences[kind]
