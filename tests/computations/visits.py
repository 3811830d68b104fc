"""Visits for the tests: one full invented visit, and changes to it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from computations.inputs import Instrument, Mast, Reading, Rig, Visit

TAPE = Instrument(
    "T-07",
    "steel_tape",
    accuracy_class="II",
    nominal_length_mm=30_000.0,
    calibration="C-2026-014",
    calibrated_on=dt.date(2026, 1, 20),
    due_on=dt.date(2027, 1, 20),
)
CALLIPER = Instrument(
    "K-02", "calliper", limit_of_error=0.1, nominal_length_mm=400.0, calibrated_on=dt.date(2026, 1, 20)
)
SCALE = Instrument("S-01", "scale", limit_of_error=0.2, calibrated_on=dt.date(2026, 1, 20))

BY_TAPE = {
    ("lower_band_width", ""): 26.0,
    ("upper_band_width", ""): 27.0,
    ("luff_between_bands", ""): 15286.0,
    ("forestay_above_band", ""): 14981.0,
    ("spinnaker_halyard_above_band", "masthead"): 15102.0,
    ("spinnaker_halyard_above_band", "fractional"): 13994.0,
    ("taper_length", ""): 3207.0,
    ("balance_above_band", ""): 6203.0,
    ("string_to_sheer", "port"): 1211.0,
    ("string_to_sheer", "starboard"): 1214.0,
    ("string_to_band", ""): 104.0,
    ("mark_spacing", ""): 803.0,
    ("band_to_sheer", "port"): 2151.0,
    ("band_to_sheer", "starboard"): 2153.0,
    ("mark_to_sheer", "port"): 1776.0,
    ("mark_to_sheer", "starboard"): 1778.0,
    ("foretriangle_base", ""): 4483.0,
    ("forestay_to_bow", ""): 312.0,
    ("bowsprit_tack_reach", ""): 5604.0,
    ("foot_distance", ""): 5231.0,
    ("boom_band_width", ""): 26.0,
    ("pole_length", ""): 4497.0,
}
BY_CALLIPER = {
    ("section_fore_aft_lower", ""): 212.3,
    ("section_transverse_lower", ""): 121.1,
    ("section_fore_aft_upper", ""): 132.4,
    ("section_transverse_upper", ""): 95.2,
    ("foil_fore_aft", ""): 31.3,
    ("boom_depth", ""): 180.2,
}
BY_SCALE = {("scale_reading", ""): 182.4, ("sling_weight", ""): 9.2}

RIG = Rig(
    masts=(Mast(material="aluminium", band_contrast=True, state="ashore"),), spinnaker=True, pole=True, bowsprit=True,
    headsail_foil=True,
)  # fmt: skip


def full_visit(takes: int = 1, key: str = "spring", mast: str = "main") -> Visit:
    """Every reading of a sloop; with several takes the tape's readings differ by a millimetre now and then."""
    readings = [
        Reading(slug, value + shift, mast, position, take + 1, instrument)
        for table, instrument in ((BY_TAPE, "T-07"), (BY_CALLIPER, "K-02"), (BY_SCALE, "S-01"))
        for (slug, position), value in table.items()
        for take in range(takes)
        for shift in [float((take + len(slug)) % 2) if instrument == "T-07" and take else 0.0]
    ]
    return Visit(
        key=key,
        boat="Kittiwake",
        sail_number="ZZZ 41",
        date=dt.date(2026, 4, 3),
        place="Sandhaven",
        measurer="measurer",
        air_temperature_c=8.0,
        rig=RIG,
        instruments=(TAPE, CALLIPER, SCALE),
        readings=tuple(readings),
    )


def with_value(visit: Visit, slug: str, value: float, position: str = "", take: int | None = None) -> Visit:
    """The same visit with one reading (or one take of it) changed."""
    return replace(
        visit,
        readings=tuple(
            replace(one, value=value)
            if (one.slug, one.position) == (slug, position) and take in (None, one.take)
            else one
            for one in visit.readings
        ),
    )


def without(visit: Visit, *slugs: str) -> Visit:
    return replace(visit, readings=tuple(one for one in visit.readings if one.slug not in slugs))


def ketch() -> Visit:
    """Two masts: the mizzen carries luff, boom and a boom height by the string."""
    mizzen = {
        ("luff_between_bands", ""): 9120.0,
        ("foot_distance", ""): 2893.0,
        ("string_to_sheer", "port"): 902.0,
        ("string_to_sheer", "starboard"): 905.0,
        ("string_to_band", ""): -37.0,
    }
    extra = [Reading(slug, value, "mizzen", position, 1, "T-07") for (slug, position), value in mizzen.items()]
    extra.append(Reading("mast_separation", 6204.0, instrument="T-07"))
    visit = full_visit()
    rig = replace(RIG, rig_type="ketch", masts=(*RIG.masts, Mast("mizzen", band_contrast=True)))
    return replace(visit, rig=rig, readings=(*visit.readings, *extra))
