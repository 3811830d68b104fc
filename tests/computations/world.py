"""Rigs as they truly are, and what a measurer would read on them with everything slightly wrong.

Written from the geometry alone, with none of the product's formulas, so that it can judge them: each source of error
is put in where it happens (a band's edge taken too high, a sheer point too far up), never as a sensitivity. Errors may
be single numbers or columns of many draws.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from computations.inputs import Instrument, Reading, Visit

ALPHA, REFERENCE = 11.5e-6, 20.0
ROOT_3 = math.sqrt(3)
CLASSES = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}
SLANTS = ("band_to_sheer", "mark_to_sheer")
MASS = ("scale_reading", "sling_weight")
BY_CALLIPER = ("section_", "foil_", "boom_depth", "outrigger_mast_width")

Key = tuple[str, ...]
Errors = Mapping[Key, Any]


@dataclass(frozen=True)
class TrueMast:
    """Heights in mm above the mast datum (the sheer abreast the mast), masses in kg."""

    boom: float = 1316.0  # the lower band's top edge
    luff: float = 15284.0
    taper: float = 3206.0
    balance: float = 7517.0
    string: float = 1212.0
    mark: float = 803.0  # below the band
    foot: float = 5230.0
    sections: tuple[float, float, float, float] = (212.3, 121.1, 132.4, 95.2)
    boom_depth: float = 180.2
    weight: float = 173.2
    slings: float = 9.2
    half_beam: tuple[float, float] = (1700.0, 1705.0)


@dataclass(frozen=True)
class TrueRig:
    masts: Mapping[str, TrueMast] = field(default_factory=lambda: {"main": TrueMast()})
    forward: str = "main"
    forestay: float = 16295.0  # its line carried on to the mast's front face, above the sheer
    ahead: float = 0.0  # of the mast's front face: the forestay on its outrigger
    mast_width: float = 190.0  # at the outrigger
    halyards: Mapping[str, float] = field(default_factory=lambda: {"masthead": 16416.0, "fractional": 15316.0})
    base: float = 4482.0
    bow: float = 312.0
    tack: float = 5603.0
    pole: float = 4496.0
    foil: float = 31.3
    separation: float = 6200.0


def dimensions(rig: TrueRig) -> dict[tuple[str, str, str], float]:
    """What the office would certify if nothing were uncertain: (slug, mast, method) -> true figure."""
    found: dict[tuple[str, str, str], float] = {}
    for name, mast in rig.masts.items():
        mdl1, mdt1, mdl2, mdt2 = mast.sections
        straight = mast.luff - mast.taper
        of_mast = {
            "luff": mast.luff,
            "foot": mast.foot,
            "boom_depth": mast.boom_depth,
            "section_fore_aft_lower": mdl1,
            "section_transverse_lower": mdt1,
            "section_fore_aft_upper": mdl2,
            "section_transverse_upper": mdt2,
            "taper_length": mast.taper,
            "mast_weight": mast.weight,
            "balance_height": mast.balance - mast.boom,
            "upper_band_above_sheer": mast.boom + mast.luff,
            "mainsail_triangle_area": mast.luff * mast.foot / 2e6,
            "mast_side_area": (mdl1 * straight + (mdl1 + mdl2) / 2 * mast.taper) / 1e6,
            "mast_front_area": (mdt1 * straight + (mdt1 + mdt2) / 2 * mast.taper) / 1e6,
            "mast_weight_moment": mast.weight * mast.balance / 1000,
            "luff_foot_ratio": mast.luff / mast.foot,
        }
        found.update({(slug, name, ""): true for slug, true in of_mast.items()})
        found.update({("boom_above_sheer", name, method): mast.boom for method in ("string", "two_mark", "adopted")})
    of_boat = {
        "forestay_height": rig.forestay,
        "spinnaker_hoist": max(rig.halyards.values()),
        "foretriangle_base": rig.base,
        "forestay_to_bow": rig.bow,
        "tack_reach": rig.tack,
        "pole_length": rig.pole,
        "foil": 2 * rig.foil,
        "mast_separation": rig.separation,
        "forestay_length": math.hypot(rig.forestay, rig.base),
        "front_of_mast_to_bow": rig.base + rig.bow,
        "tack_reach_beyond_forestay": rig.tack - rig.base,
        "foretriangle_area": rig.forestay * rig.base / 2e6,
        "foretriangle_ratio": rig.forestay / rig.base,
        "hoist_ratio": rig.forestay / (rig.masts[rig.forward].boom + rig.masts[rig.forward].luff),
    }
    return found | {(slug, rig.forward, ""): true for slug, true in of_boat.items()}


def read(rig: TrueRig, template: Visit, errors: Errors) -> Visit:
    """The template's visit as read on this rig. `errors` by their key, 0 where not given."""
    shown = columns(rig, template, errors)
    return replace(
        template,
        readings=tuple(replace(one, value=float(value)) for one, value in zip(template.readings, shown, strict=True)),
    )


def columns(rig: TrueRig, template: Visit, errors: Errors) -> list[Any]:
    """What the instruments show at the template's readings: numbers, or columns where the errors are columns."""
    e: defaultdict[Key, Any] = defaultdict(float, errors)
    exact = _boat(rig, e)
    for name, mast in rig.masts.items():
        exact.update(_mast(name, mast, e))
    return [_shown(one, exact, template, e) for one in template.readings]


def _mast(name: str, mast: TrueMast, e: Mapping[Key, Any]) -> dict[Key, Any]:
    """Lengths and loads as this measurer finds them on one mast, before any instrument."""
    upper_edge = e["upper_band_edge", name]
    band = mast.boom + e["lower_band_edge", name]  # where this measurer takes the lower band's edge to be
    exact: dict[Key, Any] = {
        ("lower_band_width", ""): 26.0,
        ("upper_band_width", ""): 27.0,
        ("boom_band_width", ""): 26.0,
        ("luff_between_bands", ""): mast.boom + mast.luff + upper_edge - band,
        ("luff_to_sheave", ""): mast.boom + mast.luff + e["sheave_edge", name, ""] - band,
        ("taper_length", ""): mast.taper + upper_edge,
        ("balance_above_band", ""): mast.balance + e["balance_point", name] - band,
        ("string_to_band", ""): band - mast.string + e["string_straightness", name],
        ("mark_spacing", ""): band - (mast.boom - mast.mark),
        ("foot_distance", ""): mast.foot + e["boom_band_edge", name],
        ("boom_depth", ""): mast.boom_depth,
        ("scale_reading", ""): mast.weight + mast.slings,
        ("sling_weight", ""): mast.slings,
    }
    names = ("section_fore_aft_lower", "section_transverse_lower", "section_fore_aft_upper", "section_transverse_upper")
    exact.update({(slug, ""): section for slug, section in zip(names, mast.sections, strict=True)})
    for side, across in zip(("port", "starboard"), mast.half_beam, strict=True):
        sheer = e["sheer_point", name, side]
        exact["string_to_sheer", side] = mast.string - sheer
        exact["band_to_sheer", side] = np.hypot(across, band - sheer)
        exact["mark_to_sheer", side] = np.hypot(across, mast.boom - mast.mark - sheer)
    return {(slug, name, position): true for (slug, position), true in exact.items()}


def _boat(rig: TrueRig, e: Mapping[Key, Any]) -> dict[Key, Any]:
    """The same of what belongs to the boat's forward mast."""
    deck = e["deck_intersection", rig.forward]
    band = rig.masts[rig.forward].boom + e["lower_band_edge", rig.forward]
    attached = rig.forestay * (rig.base - rig.ahead) / rig.base  # on the same straight line, `ahead` of the mast
    exact: dict[Key, Any] = {
        ("forestay_above_band", ""): attached - band,
        ("outrigger_reach", ""): rig.mast_width + rig.ahead,
        ("outrigger_mast_width", ""): rig.mast_width,
        ("foretriangle_base", ""): rig.base + deck,
        ("forestay_to_bow", ""): rig.bow - deck,
        ("bowsprit_tack_reach", ""): rig.tack,
        ("pole_length", ""): rig.pole,
        ("foil_fore_aft", ""): rig.foil,
        ("mast_separation", ""): rig.separation,
    }
    for halyard, height in rig.halyards.items():
        exact["spinnaker_halyard_above_band", halyard] = height + e["sheave_edge", rig.forward, halyard] - band
    return {(slug, rig.forward, position): true for (slug, position), true in exact.items()}


def used(reading: Reading, template: Visit) -> Instrument:
    """The instrument it was read with; one of the usual kind where the sheet names none."""
    named = template.instrument(reading.instrument)
    if named is not None:
        return named
    if reading.slug in MASS:
        return Instrument("", "scale", limit_of_error=0.5)
    if reading.slug.startswith(BY_CALLIPER):
        return Instrument("", "calliper", limit_of_error=0.1)
    return Instrument("", accuracy_class="II")


def _shown(reading: Reading, exact: Mapping[Key, Any], template: Visit, e: Mapping[Key, Any]) -> Any:
    """What the instrument shows for this length or load."""
    true, instrument = exact[reading.key[:3]], used(reading, template)
    if instrument.kind == "calliper":
        shown = true + e["calliper", instrument.identifier]
    elif instrument.kind == "scale":
        shown = true + e["scale", instrument.identifier] * true / exact["scale_reading", reading.mast, ""]
    else:
        shown = _by_tape(true, instrument, template, e)
    ends = [e["reading_end", *map(str, reading.key), end] for end in ("near", "far")]
    return shown + ends[0] + ends[1] + e["tape_at_sheer", *map(str, reading.key)]


def _by_tape(true: Any, tape: Instrument, template: Visit, e: Mapping[Key, Any]) -> Any:
    air = REFERENCE if template.air_temperature_c is None else template.air_temperature_c
    shown = true / (1 + ALPHA * (air + e["tape_temperature",] - REFERENCE))
    error = e["tape_scale", tape.identifier]  # in units of the class limit, or of the certificate's u
    if tape.calibration_u is not None:
        assert tape.nominal_length_mm is not None
        return shown - shown / tape.nominal_length_mm * (tape.calibration_error + tape.calibration_u * error)
    a, b = CLASSES[tape.accuracy_class or "II"]
    return shown + (a + b * np.ceil(np.abs(shown) / 1000)) * error


HALF_WIDTHS = {
    "lower_band_edge": 0.5,
    "upper_band_edge": 0.5,
    "boom_band_edge": 0.5,
    "balance_point": 10.0,
    "string_straightness": 2.0,
}


def sources(template: Visit) -> dict[Key, float]:
    """Every source that acts on the template's readings, with its half-width as the office describes it.

    A certified tape's is in units of its u, and normal: see `certified`.
    """
    air = template.air_temperature_c
    found: dict[Key, float] = {("tape_temperature",): 15.0 if air is None else 3.0}
    for mast in template.rig.masts:
        found.update({(kind, mast.name): half_width for kind, half_width in HALF_WIDTHS.items()})
        found.update({("sheer_point", mast.name, side): 3.0 for side in ("port", "starboard")})
        found["sheave_edge", mast.name, ""] = 1.0
    found["deck_intersection", template.rig.forward_mast] = 3.0
    for one in template.readings:
        instrument = used(one, template)
        if one.slug == "spinnaker_halyard_above_band":
            found["sheave_edge", one.mast, one.position] = 1.0
        if instrument.kind in ("calliper", "scale"):
            found[instrument.kind, instrument.identifier] = instrument.limit_of_error or 0.0
            found["reading_end", *map(str, one.key), "near"] = 0.05
            continue
        found["tape_scale", instrument.identifier] = 1.0 if instrument.calibration_u is None else ROOT_3
        found.update({("reading_end", *map(str, one.key), end): 0.5 for end in ("near", "far")})
        if one.slug in SLANTS:
            found["tape_at_sheer", *map(str, one.key)] = 1.5
    return found


def certified(key: Key, template: Visit) -> bool:
    """A calibration certificate's error is normal whatever one believes of the others."""
    tape = template.instrument(key[1]) if key[0] == "tape_scale" else None
    return tape is not None and tape.calibration_u is not None


def draw(random: np.random.Generator, template: Visit, count: int | None = None, *, normal: bool) -> dict[Key, Any]:
    """One draw of every source, or `count` of them: normal at its u, or as it is described."""
    return {
        key: random.standard_normal(count) * (half_width / ROOT_3)
        if normal or certified(key, template)
        else random.uniform(-half_width, half_width, count)
        for key, half_width in sources(template).items()
    }
