"""What rigs have in common, as logarithms of one reading over another: wide, to find slips, not odd boats.

Common practice, no source. Centre and standard deviation of the natural logarithm.
"""

from __future__ import annotations

from math import log

PROPORTIONS = (
    ("section_transverse_lower", "section_fore_aft_lower", log(0.62), 0.20),
    ("section_transverse_upper", "section_fore_aft_upper", log(0.65), 0.20),
    ("section_fore_aft_upper", "section_fore_aft_lower", log(0.75), 0.25),
    ("foot_distance", "luff_between_bands", log(0.36), 0.25),
    ("forestay_above_band", "luff_between_bands", log(0.90), 0.18),
    ("spinnaker_halyard_above_band", "luff_between_bands", log(0.98), 0.15),
    ("foretriangle_base", "luff_between_bands", log(0.31), 0.20),
    ("pole_length", "foretriangle_base", log(1.02), 0.09),
    ("balance_above_band", "luff_between_bands", log(0.42), 0.15),
    ("boom_depth", "section_fore_aft_lower", log(1.00), 0.40),
    ("foil_fore_aft", "section_fore_aft_lower", log(0.18), 0.40),
)
