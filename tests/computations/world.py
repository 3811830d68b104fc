"""A rig as it truly is, and what a measurer would read on it with everything slightly wrong.

Written from the geometry alone, with none of the product's formulas, so that it can judge them: each source of error
is put in where it happens (a band's edge taken too high, a sheer point too far up), never as a sensitivity.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

from computations.inputs import Reading, Visit

ALPHA, REFERENCE = 11.5e-6, 20.0


@dataclass(frozen=True)
class TrueRig:
    """Heights above the mast datum (the sheer abreast the mast), lengths in mm, masses in kg."""

    boom: float = 1316.0  # the lower band's top edge
    luff: float = 15284.0
    forestay: float = 16295.0
    halyard: float = 16416.0
    taper: float = 3206.0
    balance: float = 7517.0
    string: float = 1212.0
    mark: float = 803.0  # below the band
    base: float = 4482.0
    bow: float = 312.0
    tack: float = 5603.0
    foot: float = 5230.0
    pole: float = 4496.0
    sections: tuple[float, float, float, float] = (212.3, 121.1, 132.4, 95.2)
    foil: float = 31.3
    boom_depth: float = 180.2
    mast: float = 173.2
    slings: float = 9.2

    def beam(self, side: str) -> float:
        return {"port": 1700.0, "starboard": 1705.0}[side]


def dimensions(rig: TrueRig) -> dict[tuple[str, str], float]:
    """What the office would certify if nothing were uncertain: (slug, method) -> true figure."""
    mdl1, mdt1, mdl2, mdt2 = rig.sections
    upper = rig.boom + rig.luff
    straight = rig.luff - rig.taper
    found = {
        ("luff", ""): rig.luff,
        ("foot", ""): rig.foot,
        ("forestay_height", ""): rig.forestay,
        ("spinnaker_hoist", ""): rig.halyard,
        ("foretriangle_base", ""): rig.base,
        ("forestay_to_bow", ""): rig.bow,
        ("tack_reach", ""): rig.tack,
        ("pole_length", ""): rig.pole,
        ("boom_depth", ""): rig.boom_depth,
        ("section_fore_aft_lower", ""): mdl1,
        ("section_transverse_lower", ""): mdt1,
        ("section_fore_aft_upper", ""): mdl2,
        ("section_transverse_upper", ""): mdt2,
        ("taper_length", ""): rig.taper,
        ("foil", ""): 2 * rig.foil,
        ("mast_weight", ""): rig.mast,
        ("balance_height", ""): rig.balance - rig.boom,
        ("upper_band_above_sheer", ""): upper,
        ("forestay_length", ""): math.hypot(rig.forestay, rig.base),
        ("front_of_mast_to_bow", ""): rig.base + rig.bow,
        ("tack_reach_beyond_forestay", ""): rig.tack - rig.base,
        ("foretriangle_area", ""): rig.forestay * rig.base / 2e6,
        ("mainsail_triangle_area", ""): rig.luff * rig.foot / 2e6,
        ("mast_side_area", ""): (mdl1 * straight + (mdl1 + mdl2) / 2 * rig.taper) / 1e6,
        ("mast_front_area", ""): (mdt1 * straight + (mdt1 + mdt2) / 2 * rig.taper) / 1e6,
        ("mast_weight_moment", ""): rig.mast * rig.balance / 1000,
        ("luff_foot_ratio", ""): rig.luff / rig.foot,
        ("foretriangle_ratio", ""): rig.forestay / rig.base,
        ("hoist_ratio", ""): rig.forestay / upper,
    }
    found.update({("boom_above_sheer", method): rig.boom for method in ("string", "two_mark", "adopted")})
    return found


Errors = Mapping[tuple[str, ...], float]


def read(rig: TrueRig, template: Visit, errors: Errors) -> Visit:
    """The template's visit as read on this rig. `errors` in mm, K or kg by (kind, ...), 0 where not given."""
    e = defaultdict(float, errors)
    edge, upper_edge, deck = e["lower_band_edge",], e["upper_band_edge",], e["deck_intersection",]
    band = rig.boom + edge  # where this measurer takes the lower band's edge to be
    exact: dict[tuple[str, str], float] = {
        ("lower_band_width", ""): 26.0,
        ("upper_band_width", ""): 27.0,
        ("boom_band_width", ""): 26.0,
        ("luff_between_bands", ""): rig.boom + rig.luff + upper_edge - band,
        ("forestay_above_band", ""): rig.forestay - band,
        ("spinnaker_halyard_above_band", "masthead"): rig.halyard + e["sheave_edge",] - band,
        ("spinnaker_halyard_above_band", "fractional"): rig.halyard - 1100.0 - band,
        ("taper_length", ""): rig.taper + upper_edge,
        ("balance_above_band", ""): rig.balance + e["balance_point",] - band,
        ("string_to_band", ""): band - rig.string + e["string_straightness",],
        ("mark_spacing", ""): band - (rig.boom - rig.mark),
        ("foretriangle_base", ""): rig.base + deck,
        ("forestay_to_bow", ""): rig.bow - deck,
        ("bowsprit_tack_reach", ""): rig.tack,
        ("foot_distance", ""): rig.foot + e["boom_band_edge",],
        ("pole_length", ""): rig.pole,
        ("foil_fore_aft", ""): rig.foil,
        ("boom_depth", ""): rig.boom_depth,
        ("scale_reading", ""): rig.mast + rig.slings,
        ("sling_weight", ""): rig.slings,
    }
    names = ("section_fore_aft_lower", "section_transverse_lower", "section_fore_aft_upper", "section_transverse_upper")
    exact.update({(name, ""): section for name, section in zip(names, rig.sections, strict=True)})
    for side in ("port", "starboard"):
        sheer = e["sheer_point", side]
        exact["string_to_sheer", side] = rig.string - sheer
        exact["band_to_sheer", side] = math.hypot(rig.beam(side), band - sheer)
        exact["mark_to_sheer", side] = math.hypot(rig.beam(side), rig.boom - rig.mark - sheer)
    return replace(template, readings=tuple(_shown(one, exact, template, e) for one in template.readings))


def _shown(reading: Reading, exact: Mapping[tuple[str, str], float], template: Visit, e: Errors) -> Reading:
    """What the instrument shows for this length or load."""
    true = exact[reading.slug, reading.position]
    if reading.instrument == "T-07":
        temperature = (template.air_temperature_c or REFERENCE) + e["tape_temperature",]
        shown = true / (1 + ALPHA * (temperature - REFERENCE))
        limit = (0.3 + 0.2 * math.ceil(shown / 1000)) if shown > 0 else 0.3 + 0.2 * math.ceil(-shown / 1000)
        shown += limit * e["tape_scale",]  # in units of the class limit
    elif reading.instrument == "K-02":
        shown = true + e["calliper",]
    else:
        heaviest = exact["scale_reading", ""]
        shown = true + e["scale",] * true / heaviest
    shown += e["reading_end", reading.slug, reading.position, str(reading.take)]
    shown += e["tape_at_sheer", reading.slug, reading.position, str(reading.take)]
    return replace(reading, value=shown)
