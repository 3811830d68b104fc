"""How a figure is set on screen and paper: as many decimals as it is sure of, a sign where it is a change, its unit.

Numbers in, text out; no markup. Rounding and digits are `computations.rounding`.
"""

from __future__ import annotations

from computations import rounding

THIN = rounding.THIN_SPACE
UNIT_WORDS = {"m2": "m²", "kg.m": "kg·m", "1": "", "": "", "degC": "°C"}
# The most decimals worth printing, by unit, however small U is: a calliper reads to a tenth of a millimetre.
MOST_DECIMALS = {"mm": 2, "kg": 2, "kg.m": 1, "m2": 4, "1": 4}
MOST_DECIMALS_ELSE = 4
# And where neither an uncertainty nor the catalogue decides.
USUAL_DECIMALS = {"mm": 1, "kg": 1, "kg.m": 1, "m2": 3, "1": 4}


def unit_word(unit: str) -> str:
    """The unit as it is written: m2 becomes m², the number one nothing."""
    return UNIT_WORDS.get(unit, unit)


def decimals_for(expanded: float | None, unit: str = "mm", default: int | None = None) -> int:
    """Decimals that keep two significant digits of U (JCGM 100:2008, 7.2.6), within what the unit is printed to.

    `default` serves where no uncertainty decides: the catalogue's own number.
    """
    most = MOST_DECIMALS.get(unit, MOST_DECIMALS_ELSE)
    justified = None if expanded is None else rounding.decimals_of_uncertainty(expanded)
    if justified is None:
        return min(USUAL_DECIMALS.get(unit, most) if default is None else default, most)
    return min(most, max(0, justified))


def number(value: float, decimals: int, *, signed: bool = False) -> str:
    """15286.44 with one decimal: 15 286.4, its thousands set off by a thin space; `signed` shows a plus too."""
    rounded = rounding.to_decimals(value, decimals)
    text = rounding.written(rounded)
    return f"+{text}" if signed and rounded > 0 else text


def with_unit(text: str, unit: str) -> str:
    """The figure and its unit, kept together on one line."""
    word = unit_word(unit)
    return f"{text}{THIN}{word}" if word else text
