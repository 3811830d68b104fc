"""What makes a reading uncertain, and what shares it.

Each source is rectangular unless a calibration certificate or repeated takes say better: u = a / sqrt(3)
(JCGM 100:2008, 4.3.7). The half-widths are the office's judgement (common practice, no source), see `Assumptions`.
A source's coefficient on a reading is how far one standard uncertainty of it moves the reading, sign included: the
band's edge taken too high lengthens what is measured down from it and shortens what is measured up from it, so
that it cancels in a height above the sheer, as it does at the mast.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType

ROOT_3 = math.sqrt(3.0)

# With no temperature noted the tape may have been anywhere between a frosty and a hot day (common practice, no source).
UNKNOWN_TEMPERATURE_K = 15.0


@dataclass(frozen=True, slots=True)
class SourceKind:
    """`scope`: it lasts for one "reading", one "visit", or as long as the "instrument" keeps its calibration."""

    slug: str
    name: str
    shared_by: str
    scope: str
    unit: str = "mm"
    assumption: str = ""  # the field of `Assumptions` with its half-width


_KINDS = (
    SourceKind("reading_end", "Reading at the tape's ends", "nothing", "reading", assumption="reading_end_mm"),
    SourceKind("repeatability", "Repeatability of the takes", "nothing", "reading"),
    SourceKind(
        "tape_scale", "Scale of the tape", "every reading with that tape under the same calibration", "instrument"
    ),
    SourceKind(
        "tape_temperature",
        "Temperature of the tape",
        "every tape reading of the visit",
        "visit",
        unit="K",
        assumption="tape_temperature_k",
    ),
    SourceKind("spar_expansion", "Expansion of the spar", "every length along that mast", "visit"),
    SourceKind(
        "lower_band_edge", "Edge of the lower band", "every reading from that edge", "visit", assumption="band_edge_mm"
    ),
    SourceKind(
        "upper_band_edge", "Edge of the upper band", "every reading from that edge", "visit", assumption="band_edge_mm"
    ),
    SourceKind("boom_band_edge", "Edge of the boom band", "nothing", "reading", assumption="band_edge_mm"),
    SourceKind(
        "sheer_point",
        "Sheer point, along the mast",
        "that side's readings in both methods",
        "visit",
        assumption="sheer_point_mm",
    ),
    SourceKind("tape_at_sheer", "Tape held to the sheer point", "nothing", "reading", assumption="tape_at_sheer_mm"),
    SourceKind(
        "string_straightness",
        "Straightness of the string",
        "the string method",
        "reading",
        assumption="string_straightness_mm",
    ),
    SourceKind("sheave_edge", "Edge of the sheave or ring", "that halyard", "reading", assumption="sheave_edge_mm"),
    SourceKind(
        "deck_intersection",
        "Headstay at the deck",
        "J and SFJ",
        "visit",
        assumption="deck_intersection_mm",
    ),
    SourceKind("balance_point", "Balance point", "MCG", "reading", assumption="balance_point_mm"),
    SourceKind("calliper", "Calliper", "every reading with that calliper", "instrument", assumption="calliper_mm"),
    SourceKind("scale", "Weighing scale", "every weighing with that scale", "instrument", "kg", "scale_kg"),
)

SOURCES: MappingProxyType[str, SourceKind] = MappingProxyType({kind.slug: kind for kind in _KINDS})

# Visit-wide sources: (slug of the source, slug of the reading) -> sign. The two slant distances are not here: their
# coefficients are the slope of the tape, see `geometry` in the layout.
SIGNS: MappingProxyType[tuple[str, str], float] = MappingProxyType(
    {
        ("lower_band_edge", "luff_between_bands"): -1.0,
        ("lower_band_edge", "luff_to_sheave"): -1.0,
        ("lower_band_edge", "forestay_above_band"): -1.0,
        ("lower_band_edge", "spinnaker_halyard_above_band"): -1.0,
        ("lower_band_edge", "balance_above_band"): -1.0,
        ("lower_band_edge", "string_to_band"): 1.0,
        ("lower_band_edge", "mark_spacing"): 1.0,
        ("upper_band_edge", "luff_between_bands"): 1.0,
        ("upper_band_edge", "taper_length"): 1.0,
        ("sheer_point", "string_to_sheer"): -1.0,
        ("deck_intersection", "foretriangle_base"): 1.0,
        ("deck_intersection", "forestay_to_bow"): -1.0,
    }
)

# Found anew at every take, hence averaged over takes and, from three takes on, seen in their scatter.
PER_TAKE = ("reading_end", "tape_at_sheer")


@dataclass(frozen=True, slots=True, order=True)
class SourceKey:
    """One source: its kind and what tells it from others of its kind.

    For an instrument's source `owner` is the instrument and `detail` its calibration, the same in every visit.
    For all others `owner` is the visit, `detail` the mast, side or reading.
    """

    kind: str
    owner: str
    detail: tuple[str, ...] = ()

    @property
    def lasts(self) -> bool:
        """Whether another visit can share it."""
        return SOURCES[self.kind].scope == "instrument" and self.owner != ""
