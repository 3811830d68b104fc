"""The rig as points to scale: what was read, and a usual proportion (marked as such) where a figure is missing.

Millimetres; x forward from the front face of the forward mast, z up from the sheer abreast it. The proportions that
stand in for missing figures are common practice, no source: they shape a dotted line and are never printed as figures.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from computations.catalogue import DIMENSIONS
from computations.inputs import MAST_NAMES, Mast, Reading, Rig
from computations.results import DimensionResult


class Figure(NamedTuple):
    value: float
    expanded: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class RigFigures:
    """What the drawing shows: the figures by (slug, mast), what is wanted but missing, and the rig's description."""

    rig: Rig
    figures: Mapping[tuple[str, str], Figure]
    missing: frozenset[tuple[str, str]] = frozenset()
    outrigger_gap: float | None = None  # from the mast's front face forward to the attachment
    halyards: tuple[tuple[str, float], ...] = ()  # name, mm above the lower band

    def get(self, slug: str, mast: str) -> Figure | None:
        return self.figures.get((slug, mast))


def figures_from(dimensions: Iterable[Any], rig: Rig, readings: Iterable[Reading] = ()) -> RigFigures:
    """From derived dimensions, or from the plain rows (mappings) of a frozen certificate.

    Each row brings slug, mast, value, unit, expanded_uncertainty and, for the boom's height, method; of several methods
    the adopted one is drawn. `readings` add what no dimension holds: an outrigger's reach and each halyard.
    """
    found: dict[tuple[str, str], Figure] = {}
    missing: set[tuple[str, str]] = set()
    for row in dimensions:
        slug, mast, method = str(_field(row, "slug")), str(_field(row, "mast") or "main"), _field(row, "method") or ""
        key = (slug, mast)
        if slug not in DIMENSIONS or (key in found and method in ("string", "two_mark")):
            continue
        value = _field(row, "value")
        if value is None or not math.isfinite(value):
            missing.add(key)
            continue
        found[key] = Figure(float(value), _field(row, "expanded_uncertainty"), str(_field(row, "unit") or "mm"))
    gap, halyards = _from_readings(readings)
    return RigFigures(rig, found, frozenset(missing - found.keys()), gap, halyards)


def _field(row: Any, name: str) -> Any:
    if isinstance(row, DimensionResult):
        return getattr(row, name)
    return row.get(name) if isinstance(row, Mapping) else getattr(row, name, None)


def _from_readings(readings: Iterable[Reading]) -> tuple[float | None, tuple[tuple[str, float], ...]]:
    reach = width = None
    halyards = []
    for reading in readings:
        if reading.slug == "outrigger_reach":
            reach = reading.value
        elif reading.slug == "outrigger_mast_width":
            width = reading.value
        elif reading.slug == "spinnaker_halyard_above_band":
            halyards.append((reading.position, reading.value))
    gap = reach - width if reach is not None and width is not None else None
    return gap, tuple(halyards)


class Length(NamedTuple):
    """A length to draw, and whether it was read."""

    mm: float
    read: bool


@dataclass(frozen=True, slots=True)
class MastPlan:
    name: str
    x: float  # front face
    sheer: float  # z of the sheer abreast it
    boom_height: Length
    luff: Length
    foot: Length
    taper: Length
    depth_lower: Length
    depth_upper: Length
    boom_depth: Length
    balance: float | None
    spreaders: int
    separation_read: bool = True

    @property
    def lower_band(self) -> float:
        return self.sheer + self.boom_height.mm

    @property
    def upper_band(self) -> float:
        return self.lower_band + self.luff.mm

    @property
    def top(self) -> float:
        return self.upper_band + 0.02 * self.luff.mm


@dataclass(frozen=True, slots=True)
class Plan:
    masts: tuple[MastPlan, ...]  # from the bow aft
    base: Length
    bow_gap: Length
    forestay: Length  # height above the sheer on the front face
    hoist: Length | None
    tack: Length | None
    pole: Length | None
    outrigger: float | None
    inner_forestay: bool
    stern: float = 0.0

    @property
    def bow(self) -> float:
        return self.base.mm + self.bow_gap.mm

    @property
    def freeboard(self) -> float:
        return 0.085 * (self.bow - self.stern)

    def sheer(self, x: float) -> float:
        """The schematic sheer: level abreast the forward mast, rising to the bow and a little to the stern."""
        length = self.bow - self.stern
        if x >= 0:
            return 0.03 * length * (x / self.bow) ** 2
        return 0.012 * length * (x / self.stern) ** 2

    @property
    def foremost(self) -> float:
        return max(self.bow, *(length.mm for length in (self.tack, self.pole) if length), 0.0)

    @property
    def aftmost(self) -> float:
        return min(self.stern, *(mast.x - mast.depth_lower.mm - 1.05 * mast.foot.mm for mast in self.masts))

    @property
    def highest(self) -> float:
        heights = [mast.top for mast in self.masts]
        return max(*heights, self.forestay.mm, self.hoist.mm if self.hoist else 0.0)


def plan_of(figures: RigFigures) -> Plan:
    """Every point of the rig, from its figures and, where one is missing, from a usual proportion."""
    rig = figures.rig
    forward = rig.forward_mast
    ordered = sorted(rig.masts or (Mast(),), key=lambda mast: ("fore", *MAST_NAMES).index(mast.name))
    luff = _luff(figures, ordered[0].name)

    def length(slug: str, usual: float) -> Length:
        return _length(figures, slug, forward, usual)

    height = length("boom_above_sheer", 0.09 * luff).mm
    base = length("foretriangle_base", 0.28 * luff)
    gap = length("forestay_to_bow", 0.07 * base.mm)
    forestay = length("forestay_height", 0.97 * (luff + height))
    separation = _length(figures, "mast_separation", forward, 0.45 * luff)
    masts = [
        _mast(figures, mast, -separation.mm * number, luff, read=separation.read or not number)
        for number, mast in enumerate(ordered)
    ]
    stern = _stern(masts, base.mm + gap.mm)
    plan = Plan(
        masts=tuple(masts),
        base=base,
        bow_gap=gap,
        forestay=forestay,
        hoist=_wanted(figures, "spinnaker_hoist", 1.04 * forestay.mm, called_for=rig.spinnaker),
        tack=_wanted(figures, "tack_reach", 1.12 * base.mm + gap.mm, called_for=rig.bowsprit),
        pole=_wanted(figures, "pole_length", base.mm, called_for=rig.pole),
        outrigger=figures.outrigger_gap
        if figures.outrigger_gap is not None
        else (0.01 * luff if rig.outrigger else None),
        inner_forestay=bool(rig.inner_forestay),
        stern=stern,
    )
    return replace(plan, masts=tuple(replace(mast, sheer=plan.sheer(mast.x)) for mast in masts))


def _stern(masts: list[MastPlan], bow: float) -> float:
    """Where the schematic hull ends: long enough for the bow, the boom and the last mast."""
    first, last = masts[0], masts[-1]
    under_boom = -1.06 * (first.foot.mm + first.depth_lower.mm) if len(masts) == 1 else 0.0
    return min(-1.55 * bow, under_boom, 1.28 * last.x - 0.25 * last.foot.mm if len(masts) > 1 else 0.0)


def _length(figures: RigFigures, slug: str, mast: str, usual: float, *, least: float = 0.0) -> Length:
    figure = figures.get(slug, mast)
    if figure is None or figure.value <= least:
        return Length(usual, read=False)
    return Length(figure.value, read=True)


def _wanted(figures: RigFigures, slug: str, usual: float, *, called_for: bool | None) -> Length | None:
    """What not every rig has: drawn where it was read, dotted where the description calls for it, else not at all."""
    length = _length(figures, slug, figures.rig.forward_mast, usual)
    return length if length.read or called_for else None


def _luff(figures: RigFigures, mast: str) -> float:
    """The forward mast's luff, or what the other figures suggest it to be."""
    for slug, times in (("luff", 1.0), ("foot", 2.8), ("foretriangle_base", 3.6), ("forestay_height", 0.95)):
        figure = figures.get(slug, mast)
        if figure is not None and figure.value > 0:
            return figure.value * times
    return 12000.0


_USUAL_LUFF = {"sloop": 1.0, "cutter": 1.0, "ketch": 0.62, "yawl": 0.42, "schooner": 1.12}


def _mast(figures: RigFigures, mast: Mast, x: float, forward_luff: float, *, read: bool) -> MastPlan:
    def length(slug: str, usual: float) -> Length:
        return _length(figures, slug, mast.name, usual)

    usual_luff = forward_luff if x == 0 else forward_luff * _USUAL_LUFF.get(figures.rig.rig_type, 1.0)
    luff = length("luff", usual_luff)
    lower = length("section_fore_aft_lower", luff.mm / 75)
    balance = figures.get("balance_height", mast.name)
    taper = length("taper_length", 0.2 * luff.mm)
    return MastPlan(
        name=mast.name,
        x=x,
        sheer=0.0,
        boom_height=_length(figures, "boom_above_sheer", mast.name, 0.09 * luff.mm, least=-luff.mm),
        luff=luff,
        foot=length("foot", 0.36 * luff.mm),
        taper=Length(min(taper.mm, luff.mm), taper.read),
        depth_lower=lower,
        depth_upper=length("section_fore_aft_upper", 0.75 * lower.mm),
        boom_depth=length("boom_depth", 0.8 * lower.mm),
        balance=balance.value if balance is not None and 0 < balance.value < luff.mm else None,
        spreaders=max(0, min(mast.spreader_pairs or 0, 6)),
        separation_read=read,
    )
