"""How often each thing is met, and how large it is, before any reading is looked at.

Office judgement throughout (common practice, no source). Whoever changes a number here holds the rates and the
calibration in the tests against it.
"""

from __future__ import annotations

from types import MappingProxyType

from computations.catalogue import READINGS

P_NOTHING = 0.60
P_JOINT = 0.03  # two things in one visit
P_SINGLE = 1.0 - P_NOTHING - P_JOINT
KINDS: MappingProxyType[str, float] = MappingProxyType(
    {
        "quantity_changed": 0.12,
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
)
REAL_KINDS = ("quantity_changed", "lower_band_moved", "mast_moved", "new_mast")

# A measurer may be steadier or hastier than the assumed sources say: factor on all noise, and how often.
NOISE_SCALES = ((1.0, 0.75), (1.6, 0.18), (2.5, 0.07))

# Standard deviations of a real change, mm (kg for masses), and how often each size is met.
Spreads = tuple[tuple[float, float], ...]
LENGTH_SPREADS: Spreads = ((8.0, 0.25), (40.0, 0.45), (200.0, 0.25), (1000.0, 0.05))
SECTION_SPREADS: Spreads = ((1.0, 0.3), (5.0, 0.4), (25.0, 0.3))
MASS_SPREADS: Spreads = ((1.0, 0.2), (6.0, 0.5), (40.0, 0.3))
BALANCE_SPREADS: Spreads = ((25.0, 0.3), (80.0, 0.4), (300.0, 0.3))
BAND_SPREADS: Spreads = ((10.0, 0.25), (35.0, 0.5), (150.0, 0.25))
SCALE_SPREADS: Spreads = ((0.2e-3, 0.3), (0.8e-3, 0.5), (3.0e-3, 0.2))
# A new mast: everything on it differs by such spreads of lengths, sections, masses and balance; then how often.
NEW_MASTS = ((12.0, 1.5, 1.5, 30.0, 0.2), (60.0, 7.0, 8.0, 100.0, 0.5), (500.0, 30.0, 60.0, 500.0, 0.3))
NEW_MAST_AT_DECK_MM = 15.0  # how a new mast shifts what is measured from it to deck and boom
SAME_MAST_SAID = 0.2  # the identification says the same mast, unless nobody looked …
OTHER_MAST_SAID = 10.0  # … or it says another

TAPE_STARTS = (-1000.0, -100.0, 100.0, 1000.0)
INCH, FOOT = 25.4, 304.8
UNIT_FACTORS: Spreads = (
    (1 / INCH, 4.0), (INCH, 4.0), (1 / FOOT, 2.0), (FOOT, 2.0),
    (0.1, 1.0), (10.0, 1.0), (0.001, 1.0), (1000.0, 1.0),
)  # fmt: skip
POUND = 2.2046226218487757
MASS_FACTORS: Spreads = ((POUND, 1.0), (1 / POUND, 1.0))
SIXTEENTH = 1 / 16  # inches are read to it: what is written in them is no finer

# Where a reading has several takes: how often a fault is in all of them rather than in one.
ALL_TAKES: MappingProxyType[str, float] = MappingProxyType(
    {"tape_start": 0.6, "digits_swapped": 0.15, "wrong_unit": 0.6}
)
ALIKE_MM = 3.0  # sides that differ by less are not said to be exchanged together with others
APART_DIGITS = 0.15  # digits that are not neighbours, against neighbours
LEAST_LONG_MM = 1000.0
LONGEST_IN_HAND_MM = 2000.0  # shorter readings may be taken without the tape's beginning
BAND_WIDTH_MM = 25.0
STRING_HEIGHT_MM = 100.0  # how differently a string may hang from lifeline to lifeline
MARK_PLACE_MM = 150.0  # how differently the second mark may be placed
SIDES_MM = 20.0  # how far port and starboard of a hull may differ at the mast
PLACING_CALLIPER_MM = 0.15  # jaws are never set twice in quite the same place
PLACING_SCALE_KG = 0.2
PLACING_TAPE_MM = 0.6  # nor is a tape laid along quite the same line
# Where a boom is deepest, a sprit outermost, a pole square, a painted edge straight: all judged anew each time.
PLACED_BY_EYE = frozenset(
    {"boom_depth", "outrigger_mast_width", "bowsprit_tack_reach", "pole_length", "lower_band_width",
     "upper_band_width", "boom_band_width"}
)  # fmt: skip
PLACING_BY_EYE_MM = 0.9

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
IN_HAND = SMALL | {"boom_depth"}
MAST_READINGS = frozenset(
    {*FROM_LOWER_BAND, *SMALL - {"foil_fore_aft", "boom_band_width"}, "taper_length", "scale_reading", "sling_weight",
     "outrigger_reach"}
)  # fmt: skip
FROM_MAST_AT_DECK = frozenset({"foretriangle_base", "bowsprit_tack_reach", "foot_distance"})


def spreads_of(slug: str) -> Spreads:
    """Standard deviations of a real change of this reading, with their weights."""
    if READINGS[slug].quantity == "mass":
        return MASS_SPREADS
    if slug == "balance_above_band":
        return BALANCE_SPREADS
    return SECTION_SPREADS if slug in SMALL else LENGTH_SPREADS
