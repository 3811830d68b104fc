"""One sentence a measurer understands for each thing that may have happened."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from computations.catalogue import READINGS
from computations.diagnosis.priors import FOOT, INCH, POUND
from computations.results import ReadingRef
from computations.rounding import format_number

_FACTORS = {
    1 / INCH: "in millimetres but taken as inches",
    INCH: "in inches but taken as millimetres",
    1 / FOOT: "in millimetres but taken as feet",
    FOOT: "in feet but taken as millimetres",
    0.1: "in millimetres but taken as centimetres",
    10.0: "in centimetres but taken as millimetres",
    0.001: "in millimetres but taken as metres",
    1000.0: "in metres but taken as millimetres",
    POUND: "in kilograms but taken as pounds",
    1 / POUND: "in pounds but taken as kilograms",
}
_EDGES = {"lower_band_width": "lower band", "upper_band_width": "upper band", "boom_band_width": "boom band"}
_COUPLED = {
    "headstay": "The headstay's place on the deck really moved by {amount}: {named} changed by as much, opposite ways.",
    "upper_band": "The upper band really moved by {amount}: {named} changed together.",
    "sisters": "{named} differs by {amount} from her sisters of the same design.",
}


def name_of(ref: ReadingRef) -> str:
    kind = READINGS.get(ref.reading)
    words = [kind.name if kind else ref.reading.replace("_", " ").capitalize()]
    words += [word for word in (ref.position, f"{ref.mast} mast" if ref.mast != "main" else "") if word]
    return ", ".join(words)


def named(readings: Sequence[ReadingRef], most: int = 3) -> str:
    """The readings as a sentence lists them; both sides of one are one."""
    names: dict[str, None] = {}
    for ref in readings:
        other = {"port": "starboard", "starboard": "port"}.get(ref.position)
        both = other and ReadingRef(ref.reading, ref.mast, other) in readings
        names[f"{name_of(ReadingRef(ref.reading, ref.mast))}, both sides" if both else name_of(ref)] = None
    listed = list(names)
    if len(listed) > most:
        return f"{'; '.join(listed[:most])} and {len(listed) - most} more"
    return "; ".join(listed)


def amount_of(size: float, unit: str) -> str:
    """With its sign: whole mm, tenths below 10, hundredths of mm/m."""
    decimals = 2 if unit == "mm/m" else 0 if abs(size) >= 10 else 1
    return f"{'+' if size > 0 else ''}{format_number(float(size), decimals)} {unit}"


def _bare(size: float, unit: str) -> str:
    return amount_of(abs(size), unit).removeprefix("+")


def explain(
    kind: str,
    readings: Sequence[ReadingRef],
    size: float = 0.0,
    unit: str = "mm",
    words: str = "",
    *,
    history: bool = True,
) -> str:
    """The sentence. `words` is what the hypothesis adds: a factor, the two numbers, the edge's band."""
    if kind == "nothing_changed":
        if history:
            return "Nothing changed: measuring noise explains every difference."
        return "Nothing contradicts itself: takes, sides, methods and proportions agree within measuring noise."
    return _SENTENCES[kind](named(readings), size, unit, words)


def explain_joint(parts: Sequence[str]) -> str:
    """Two things at once, in one sentence."""
    first, second = (part.rstrip(".") for part in parts)
    return f"Two things at once: {first[0].lower()}{first[1:]}; and {second[0].lower()}{second[1:]}."


def _quantity(names: str, size: float, unit: str, words: str) -> str:
    text = _COUPLED.get(words, "{named} really changed by {amount}.")
    return text.format(named=names, amount=amount_of(size, unit))


def _unit(names: str, size: float, unit: str, words: str) -> str:
    meaning = min(_FACTORS, key=lambda one: abs(one / float(words) - 1.0))
    return f"{names}: written {_FACTORS[meaning]}."


def _digits(names: str, size: float, unit: str, words: str) -> str:
    found, meant = (format_number(float(one), len(one.partition(".")[2])) for one in words.split())
    return f"{names}: two digits changed places, {found} for {meant} {unit}."


def _too(size: float) -> str:
    return "long" if size > 0 else "short"


Sentence = Callable[[str, float, str, str], str]
_SENTENCES: dict[str, Sentence] = {
    "quantity_changed": _quantity,
    "lower_band_moved": lambda names, size, unit, words: (
        f"The lower band was moved {_bare(size, unit)} {'up' if size > 0 else 'down'}: "
        f"what is measured from it changed by as much ({names})."
    ),
    "mast_moved": lambda names, size, unit, words: (
        f"The mast stands {_bare(size, unit)} further {'aft' if size > 0 else 'forward'} at deck ({names})."
    ),
    "new_mast": lambda names, size, unit, words: (
        f"Another {'mast' if words == 'main' else words + ' mast'}: its lengths, sections and bands differ ({names})."
    ),
    "tape_scale": lambda names, size, unit, words: (
        f"The tape reads {_bare(size, unit)} {'too much' if size > 0 else 'too little'}, stretched or not corrected "
        f"for temperature: every long reading changed in proportion ({names})."
    ),
    "tape_start": lambda names, size, unit, words: (
        f"{names}: the tape started from another mark, so the reading is {_bare(size, unit)} too {_too(size)}."
    ),
    "tape_start_all": lambda names, size, unit, words: (
        f"The tape started from another mark throughout: its readings are {_bare(size, unit)} too {_too(size)} "
        f"({names})."
    ),
    "band_edge": lambda names, size, unit, words: (
        f"{names}: taken at the wrong edge of the {_EDGES.get(words, 'band')}, {_bare(size, unit)} too {_too(size)}."
    ),
    "digits_swapped": _digits,
    "wrong_unit": _unit,
    "sides_swapped": lambda names, size, unit, words: (
        f"Port and starboard were written in each other's place: {names}."
    ),
    "section_swapped": lambda names, size, unit, words: (
        f"Fore-and-aft and transverse were written in each other's place: {names}."
    ),
    "distances_swapped": lambda names, size, unit, words: (
        f"The distances from the band and from the mark were written in each other's place: {names}."
    ),
    "foil_doubling": lambda names, size, unit, words: (
        f"{names}: {'doubled already when it was written' if words == '0.5' else 'half of it was written'}."
    ),
}
