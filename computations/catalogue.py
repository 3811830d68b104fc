"""The catalogue: the single place where a reading or a dimension is declared.

Forms, log sheets, checks, certificates and the drawing are built from these two tables. Whatever is
listed here is only said here: the plain name that leads, the symbol a measurer writes, the unit and the
resolution, where and in which order it is taken, and which uncertainty sources act on it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

from computations.inputs import Mast, Rig

Rule = Callable[[Rig, Mast], bool]
ReadingKey = tuple[str, str, str]  # slug, mast, position ("" where any or none)

SIDES = ("port", "starboard")
STATIONS = {
    "ashore": "Mast ashore, horizontal on supports",
    "afloat": "Mast stepped, boat afloat or ashore",
    "boom_and_pole": "Boom and pole",
}
# The methods of measuring: what a person is authorised for, and what a visit's readings show to have been used.
METHODS = {
    "tape": "Lengths by tape or rule",
    "calliper": "Sections by calliper or rule",
    "string": "Boom above the sheer by the string",
    "two_mark": "Boom above the sheer by two marks",
    "weighing": "Weight and balance of a mast",
}
TAPES = ("steel_tape", "rule")
SECTIONS = ("calliper", "rule")


def _always(rig: Rig, mast: Mast) -> bool:
    return True


def _never(rig: Rig, mast: Mast) -> bool:
    return False


def _upper_band(rig: Rig, mast: Mast) -> bool:
    return mast.upper_band


def _no_upper_band(rig: Rig, mast: Mast) -> bool:
    return not mast.upper_band


def _outrigger(rig: Rig, mast: Mast) -> bool:
    return rig.outrigger


def _spinnaker(rig: Rig, mast: Mast) -> bool:
    return rig.spinnaker is True


def _may_spinnaker(rig: Rig, mast: Mast) -> bool:
    return rig.spinnaker is not False


def _pole(rig: Rig, mast: Mast) -> bool:
    return rig.pole is True


def _may_pole(rig: Rig, mast: Mast) -> bool:
    return rig.pole is not False


def _bowsprit(rig: Rig, mast: Mast) -> bool:
    return rig.bowsprit is True


def _may_bowsprit(rig: Rig, mast: Mast) -> bool:
    return rig.bowsprit is not False


def _foil(rig: Rig, mast: Mast) -> bool:
    return rig.headsail_foil is True


def _may_foil(rig: Rig, mast: Mast) -> bool:
    return rig.headsail_foil is not False


def _several_masts(rig: Rig, mast: Mast) -> bool:
    return len(rig.masts) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingKind:
    """One kind of reading.

    `per` is "boat" where only the boat's forward mast has it. `applies` says whether the rig can have it at all,
    `required` whether its description calls for it: what the description leaves open is accepted, never demanded.
    `sources` are the geometric uncertainty sources that act on it; the instrument brings its own besides.
    `along_spar` marks lengths that grow with the mast's own temperature. `method` is one of METHODS.
    """

    slug: str
    name: str
    how: str
    station: str
    order: int
    symbol: str = ""
    feeds: tuple[str, ...] = ()
    quantity: str = "length"
    unit: str = "mm"
    resolution: float = 1.0
    sides: tuple[str, ...] = ()
    named_position: bool = False
    per: str = "mast"
    may_be_negative: bool = False
    instrument_kinds: tuple[str, ...] = TAPES
    sources: tuple[str, ...] = ()
    along_spar: bool = False
    method: str = "tape"
    optional: bool = False
    applies: Rule = _always
    required: Rule = _always

    @property
    def decided_by_description(self) -> bool:
        """Whether a rig may be described as having no such thing."""
        return self.applies is not _always or self.required not in (_always, _never)


@dataclass(frozen=True, slots=True, kw_only=True)
class DimensionKind:
    """One derived dimension. `reading` names the reading whose mean it simply is, else "".

    `decimals` is how many are printed where no uncertainty decides it.
    """

    slug: str
    name: str
    symbol: str = ""
    unit: str = "mm"
    per: str = "mast"
    decimals: int = 0
    reading: str = ""
    note: str = ""

    @property
    def label(self) -> str:
        """What files call it: the symbol where there is one, else the slug."""
        return self.symbol or self.slug


_READINGS = (
    # Mast ashore
    ReadingKind(
        slug="lower_band_width",
        name="Width of the lower band",
        how="Width of the lower band along the mast.",
        station="ashore",
        order=10,
        instrument_kinds=("rule", "steel_tape", "calliper"),
    ),
    ReadingKind(
        slug="upper_band_width",
        name="Width of the upper band",
        how="Width of the upper band along the mast.",
        station="ashore",
        order=20,
        instrument_kinds=("rule", "steel_tape", "calliper"),
        applies=_upper_band,
        required=_upper_band,
    ),
    ReadingKind(
        slug="luff_between_bands",
        name="Luff between the bands",
        symbol="P",
        feeds=("P",),
        how="From the top edge of the lower band to the bottom edge of the upper band.",
        station="ashore",
        order=30,
        sources=("lower_band_edge", "upper_band_edge"),
        along_spar=True,
        applies=_upper_band,
        required=_upper_band,
    ),
    ReadingKind(
        slug="luff_to_sheave",
        name="Luff to the halyard sheave",
        feeds=("P",),
        how="From the top edge of the lower band up to the highest point of the main halyard sheave; "
        "only where there is no upper band.",
        station="ashore",
        order=40,
        sources=("lower_band_edge", "sheave_edge"),
        along_spar=True,
        applies=_no_upper_band,
        required=_no_upper_band,
    ),
    ReadingKind(
        slug="forestay_above_band",
        name="Forestay above the lower band",
        feeds=("IG",),
        how="From the top edge of the lower band to where the forestay's centreline meets the front face of the mast.",
        station="ashore",
        order=50,
        per="boat",
        sources=("lower_band_edge",),
        along_spar=True,
    ),
    ReadingKind(
        slug="outrigger_reach",
        name="Reach of the forestay's outrigger",
        symbol="GO",
        feeds=("IG",),
        how="From the mast's aft face forward to the forestay attachment on its outrigger or tang.",
        station="ashore",
        order=60,
        per="boat",
        applies=_outrigger,
        required=_outrigger,
    ),
    ReadingKind(
        slug="outrigger_mast_width",
        name="Mast width at the outrigger",
        symbol="MW",
        feeds=("IG",),
        how="Fore-and-aft width of the mast at the height of the forestay's attachment.",
        station="ashore",
        order=70,
        method="calliper",
        per="boat",
        instrument_kinds=("calliper", "rule", "steel_tape"),
        resolution=0.1,
        applies=_outrigger,
        required=_outrigger,
    ),
    ReadingKind(
        slug="spinnaker_halyard_above_band",
        name="Spinnaker halyard above the lower band",
        feeds=("ISP",),
        how="From the top edge of the lower band to where the halyard leaves the mast: a sheave's highest point, "
        "a ring's lowest; one for each halyard that is raced with, named in the position.",
        station="ashore",
        order=80,
        per="boat",
        named_position=True,
        sources=("lower_band_edge", "sheave_edge"),
        along_spar=True,
        applies=_may_spinnaker,
        required=_spinnaker,
    ),
    ReadingKind(
        slug="section_fore_aft_lower",
        name="Fore-and-aft section at the lower band",
        symbol="MDL1",
        feeds=("MDL1",),
        how="Fore-and-aft section of the mast at the lower band, track included.",
        station="ashore",
        order=90,
        method="calliper",
        resolution=0.1,
        instrument_kinds=SECTIONS,
    ),
    ReadingKind(
        slug="section_transverse_lower",
        name="Transverse section at the lower band",
        symbol="MDT1",
        feeds=("MDT1",),
        how="Transverse section of the mast at the lower band.",
        station="ashore",
        order=100,
        method="calliper",
        resolution=0.1,
        instrument_kinds=SECTIONS,
    ),
    ReadingKind(
        slug="section_fore_aft_upper",
        name="Fore-and-aft section at the upper band",
        symbol="MDL2",
        feeds=("MDL2",),
        how="Fore-and-aft section of the mast at the upper band; at the sheave where there is no band.",
        station="ashore",
        order=110,
        method="calliper",
        resolution=0.1,
        instrument_kinds=SECTIONS,
        required=_upper_band,
    ),
    ReadingKind(
        slug="section_transverse_upper",
        name="Transverse section at the upper band",
        symbol="MDT2",
        feeds=("MDT2",),
        how="Transverse section of the mast at the upper band; at the sheave where there is no band.",
        station="ashore",
        order=120,
        method="calliper",
        resolution=0.1,
        instrument_kinds=SECTIONS,
        required=_upper_band,
    ),
    ReadingKind(
        slug="taper_length",
        name="Length of the taper",
        feeds=("taper_length",),
        how="From the bottom edge of the upper band down to where the taper starts; 0 where the mast has none.",
        station="ashore",
        order=130,
        sources=("upper_band_edge",),
        along_spar=True,
        required=_upper_band,
    ),
    ReadingKind(
        slug="foil_fore_aft",
        name="Headsail foil, front to back",
        feeds=("FSP",),
        how="Chord of the headsail foil on the forestay, front to back.",
        station="ashore",
        order=140,
        method="calliper",
        per="boat",
        resolution=0.1,
        instrument_kinds=SECTIONS,
        applies=_may_foil,
        required=_foil,
    ),
    ReadingKind(
        slug="scale_reading",
        name="Scale with the mast hanging",
        feeds=("MWT",),
        how="What the scale shows with the mast hanging level, slings and shackles included.",
        station="ashore",
        order=150,
        method="weighing",
        quantity="mass",
        unit="kg",
        resolution=0.1,
        instrument_kinds=("scale",),
        optional=True,
        required=_never,
    ),
    ReadingKind(
        slug="sling_weight",
        name="Slings and shackles alone",
        feeds=("MWT",),
        how="What the scale shows with the slings and shackles alone (tare).",
        station="ashore",
        order=160,
        method="weighing",
        quantity="mass",
        unit="kg",
        resolution=0.1,
        instrument_kinds=("scale",),
        optional=True,
        required=_never,
    ),
    ReadingKind(
        slug="balance_above_band",
        name="Balance point above the lower band",
        symbol="MCG",
        feeds=("MCG",),
        how="From the top edge of the lower band to the point at which mast and rigging hang level and free.",
        station="ashore",
        order=170,
        method="weighing",
        sources=("lower_band_edge", "balance_point"),
        along_spar=True,
        optional=True,
        required=_never,
    ),
    # Mast stepped. The BAS readings are asked for as alternatives, see `boom_height_alternatives`.
    ReadingKind(
        slug="string_to_sheer",
        name="String down to the sheer",
        feeds=("BAS",),
        how="Square distance from the string, stretched athwartships between the lifelines so that it brushes the "
        "mast's front face, down to the sheer point, found with a plumb bob hung from that lifeline.",
        station="afloat",
        order=210,
        method="string",
        sides=SIDES,
        sources=("sheer_point",),
        required=_never,
    ),
    ReadingKind(
        slug="string_to_band",
        name="String up to the lower band",
        feeds=("BAS",),
        how="Height of the lower band's top edge over the string; negative if the band is below it.",
        station="afloat",
        order=220,
        method="string",
        may_be_negative=True,
        sources=("lower_band_edge", "string_straightness"),
        required=_never,
    ),
    ReadingKind(
        slug="mark_spacing",
        name="Spacing of the second mark",
        feeds=("BAS",),
        how="From the lower band's top edge down to a second mark on the mast: 500 mm by custom, longer is better.",
        station="afloat",
        order=230,
        method="two_mark",
        sources=("lower_band_edge",),
        required=_never,
    ),
    ReadingKind(
        slug="band_to_sheer",
        name="Lower band to the sheer point",
        feeds=("BAS",),
        how="Slant distance from the lower band's top edge to the sheer point.",
        station="afloat",
        order=240,
        method="two_mark",
        sides=SIDES,
        sources=("lower_band_edge", "sheer_point", "tape_at_sheer"),
        required=_never,
    ),
    ReadingKind(
        slug="mark_to_sheer",
        name="Second mark to the sheer point",
        feeds=("BAS",),
        how="Slant distance from the second mark to the same sheer point.",
        station="afloat",
        order=250,
        method="two_mark",
        sides=SIDES,
        sources=("sheer_point", "tape_at_sheer"),
        required=_never,
    ),
    ReadingKind(
        slug="foretriangle_base",
        name="Base of the foretriangle",
        symbol="J",
        feeds=("J",),
        how="Level distance from the front of the mast to where the headstay meets the deck.",
        station="afloat",
        order=260,
        per="boat",
        sources=("deck_intersection",),
    ),
    ReadingKind(
        slug="forestay_to_bow",
        name="Forestay to the bow",
        symbol="SFJ",
        feeds=("SFJ",),
        how="Level distance from the headstay at the deck to the foremost point of the hull, fittings excluded.",
        station="afloat",
        order=270,
        per="boat",
        sources=("deck_intersection",),
    ),
    ReadingKind(
        slug="bowsprit_tack_reach",
        name="Reach of the bowsprit's tack point",
        symbol="TPS",
        feeds=("TPS",),
        how="Shortest level distance (swing the tape) from the front of the mast to the outermost tack point of "
        "the fully extended bowsprit.",
        station="afloat",
        order=280,
        per="boat",
        applies=_may_bowsprit,
        required=_bowsprit,
    ),
    ReadingKind(
        slug="mast_separation",
        name="Distance between the masts",
        feeds=("mast_separation",),
        how="From the front of the forward mast to the front of the after mast.",
        station="afloat",
        order=290,
        per="boat",
        applies=_several_masts,
        required=_several_masts,
    ),
    # Boom and pole
    ReadingKind(
        slug="foot_distance",
        name="Foot along the boom",
        symbol="E",
        feeds=("E",),
        how="From the aft face of the mast or of its track to where the boom band begins.",
        station="boom_and_pole",
        order=310,
        sources=("boom_band_edge",),
    ),
    ReadingKind(
        slug="boom_depth",
        name="Depth of the boom",
        symbol="BD",
        feeds=("BD",),
        how="Greatest vertical section of the boom.",
        station="boom_and_pole",
        order=320,
        method="calliper",
        resolution=0.1,
        instrument_kinds=("calliper", "rule", "steel_tape"),
    ),
    ReadingKind(
        slug="boom_band_width",
        name="Width of the boom band",
        how="Width of the band round the boom.",
        station="boom_and_pole",
        order=330,
        instrument_kinds=("rule", "steel_tape", "calliper"),
    ),
    ReadingKind(
        slug="pole_length",
        name="Spinnaker pole",
        symbol="SPL",
        feeds=("SPL",),
        how="Pole set level and square to the hull: from the centreline of the boat to its outboard end.",
        station="boom_and_pole",
        order=340,
        per="boat",
        applies=_may_pole,
        required=_pole,
    ),
)

_DIMENSIONS = (
    DimensionKind(
        slug="luff",
        symbol="P",
        name="Luff",
        note="Between the bands, or up to the sheave where there is no upper band.",
    ),
    DimensionKind(slug="foot", symbol="E", name="Foot", reading="foot_distance"),
    DimensionKind(
        slug="boom_above_sheer",
        symbol="BAS",
        name="Boom above the sheer",
        note="Height of the lower band's top edge over the sheer points, by the string, two marks, or both together.",
    ),
    DimensionKind(
        slug="forestay_height",
        symbol="IG",
        name="Height of the foretriangle",
        per="boat",
        note="The forestay's line carried on to the mast's front face, above the sheer.",
    ),
    DimensionKind(
        slug="spinnaker_hoist",
        symbol="ISP",
        name="Spinnaker hoist",
        per="boat",
        note="The highest halyard that is raced with, above the sheer.",
    ),
    DimensionKind(
        slug="foretriangle_base", symbol="J", name="Base of the foretriangle", per="boat", reading="foretriangle_base"
    ),
    DimensionKind(
        slug="forestay_to_bow", symbol="SFJ", name="Forestay to the bow", per="boat", reading="forestay_to_bow"
    ),
    DimensionKind(
        slug="tack_reach", symbol="TPS", name="Reach of the tack point", per="boat", reading="bowsprit_tack_reach"
    ),
    DimensionKind(slug="pole_length", symbol="SPL", name="Spinnaker pole", per="boat", reading="pole_length"),
    DimensionKind(slug="boom_depth", symbol="BD", name="Depth of the boom", decimals=1, reading="boom_depth"),
    DimensionKind(
        slug="section_fore_aft_lower",
        symbol="MDL1",
        name="Fore-and-aft section at the lower band",
        decimals=1,
        reading="section_fore_aft_lower",
    ),
    DimensionKind(
        slug="section_transverse_lower",
        symbol="MDT1",
        name="Transverse section at the lower band",
        decimals=1,
        reading="section_transverse_lower",
    ),
    DimensionKind(
        slug="section_fore_aft_upper",
        symbol="MDL2",
        name="Fore-and-aft section at the upper band",
        decimals=1,
        reading="section_fore_aft_upper",
    ),
    DimensionKind(
        slug="section_transverse_upper",
        symbol="MDT2",
        name="Transverse section at the upper band",
        decimals=1,
        reading="section_transverse_upper",
    ),
    DimensionKind(slug="taper_length", name="Length of the taper", reading="taper_length"),
    DimensionKind(
        slug="foil", symbol="FSP", name="Headsail foil", per="boat", decimals=1, note="Twice the foil's chord."
    ),
    DimensionKind(slug="mast_weight", symbol="MWT", name="Weight of the mast", unit="kg", decimals=1),
    DimensionKind(slug="balance_height", symbol="MCG", name="Balance point of the mast", reading="balance_above_band"),
    DimensionKind(slug="mast_separation", name="Distance between the masts", per="boat", reading="mast_separation"),
    DimensionKind(slug="upper_band_above_sheer", name="Upper band above the sheer"),
    DimensionKind(
        slug="forestay_length", name="Length of the forestay", per="boat", note="Straight, unloaded, from mast to deck."
    ),
    DimensionKind(slug="front_of_mast_to_bow", name="Front of the mast to the bow", per="boat"),
    DimensionKind(slug="tack_reach_beyond_forestay", name="Tack point beyond the forestay", per="boat"),
    DimensionKind(slug="foretriangle_area", name="Area of the foretriangle", unit="m2", per="boat", decimals=3),
    DimensionKind(slug="mainsail_triangle_area", name="Area of the mainsail triangle", unit="m2", decimals=3),
    DimensionKind(
        slug="mast_side_area",
        name="Side area of the mast",
        unit="m2",
        decimals=4,
        note="Between the bands, seen from the side.",
    ),
    DimensionKind(
        slug="mast_front_area",
        name="Front area of the mast",
        unit="m2",
        decimals=4,
        note="Between the bands, seen from ahead.",
    ),
    DimensionKind(
        slug="mast_weight_moment",
        name="Moment of the mast's weight",
        unit="kg.m",
        decimals=1,
        note="About the sheer.",
    ),
    DimensionKind(slug="luff_foot_ratio", name="Luff to foot", unit="1", decimals=4),
    DimensionKind(
        slug="foretriangle_ratio", name="Height to base of the foretriangle", unit="1", per="boat", decimals=4
    ),
    DimensionKind(
        slug="hoist_ratio",
        name="Height of the foretriangle to upper band",
        unit="1",
        per="boat",
        decimals=4,
        note="Both above the sheer.",
    ),
)

READINGS: MappingProxyType[str, ReadingKind] = MappingProxyType(
    {kind.slug: kind for kind in sorted(_READINGS, key=lambda kind: kind.order)}
)
DIMENSIONS: MappingProxyType[str, DimensionKind] = MappingProxyType({kind.slug: kind for kind in _DIMENSIONS})

_READING_BY_SYMBOL = {kind.symbol.casefold(): kind for kind in _READINGS if kind.symbol}
_DIMENSION_BY_SYMBOL = {kind.symbol.casefold(): kind for kind in _DIMENSIONS if kind.symbol}


def reading_by_item(text: str) -> ReadingKind | None:
    """The reading a log sheet's item means: its slug, or the symbol the reading itself bears (in any case)."""
    item = text.strip()
    return READINGS.get(item) or _READING_BY_SYMBOL.get(item.casefold()) or READINGS.get(item.casefold())


def dimension_by_name(text: str) -> DimensionKind | None:
    """The dimension a slug or symbol means."""
    name = text.strip()
    return DIMENSIONS.get(name) or _DIMENSION_BY_SYMBOL.get(name.casefold()) or DIMENSIONS.get(name.casefold())


def masts_with(kind: ReadingKind | DimensionKind, rig: Rig) -> tuple[Mast, ...]:
    """The masts that bear this reading or dimension: every mast, or only the boat's forward one."""
    if kind.per == "mast":
        return rig.masts
    return tuple(mast for mast in rig.masts if mast.name == rig.forward_mast)


def applicable_readings(rig: Rig) -> list[ReadingKey]:
    """Every reading this rig can have, in the order a measurer walks; a halyard's own name is left open ("")."""
    return [
        (kind.slug, mast.name, side)
        for kind in READINGS.values()
        for mast in masts_with(kind, rig)
        if kind.applies(rig, mast)
        for side in kind.sides or ("",)
    ]


def required_readings(rig: Rig) -> list[ReadingKey]:
    """What the rig's description calls for, in the order a measurer walks.

    Position "" of a halyard means at least one, whatever its name. The readings for the boom's height are
    not in this list, because either method will do: see `boom_height_alternatives`.
    """
    return [
        (kind.slug, mast.name, side)
        for kind in READINGS.values()
        for mast in masts_with(kind, rig)
        if kind.applies(rig, mast) and kind.required(rig, mast)
        for side in kind.sides or ("",)
    ]


BOOM_HEIGHT_METHODS: MappingProxyType[str, tuple[str, ...]] = MappingProxyType(
    {
        "string": ("string_to_sheer", "string_to_band"),
        "two_mark": ("mark_spacing", "band_to_sheer", "mark_to_sheer"),
    }
)


@dataclass(frozen=True, slots=True)
class Alternatives:
    """At least one of the methods must be complete. `methods` maps its name to the readings it takes."""

    mast: str
    methods: tuple[tuple[str, tuple[ReadingKey, ...]], ...]


def boom_height_alternatives(rig: Rig) -> list[Alternatives]:
    """For each mast the two complete sets of readings, either of which gives the boom's height above the sheer."""
    return [
        Alternatives(
            mast=mast.name,
            methods=tuple(
                (
                    method,
                    tuple((slug, mast.name, side) for slug in slugs for side in READINGS[slug].sides or ("",)),
                )
                for method, slugs in BOOM_HEIGHT_METHODS.items()
            ),
        )
        for mast in rig.masts
    ]
