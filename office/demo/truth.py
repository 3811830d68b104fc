"""The truth about a demo boat, and what a measurer's instruments would show of it on a day."""

from __future__ import annotations

import datetime as dt
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from computations.catalogue import READINGS, ReadingKey, boom_height_alternatives, required_readings
from computations.inputs import PREPARATION_ITEMS, Rig
from office.demo.designs import DemoBoat, DesignPlan
from surveys.logsheet import LogSheet, Row

EXPANSION = 11.5e-6  # steel, per K
SLINGS = 3.4  # kg
CLEAR = {"lower_band_width": 31.0, "upper_band_width": 29.0, "boom_band_width": 27.0}


@dataclass
class Truth:
    """True lengths (mm), masses (kg) by catalogue key, but for the boom's height, which is seen through two methods."""

    lengths: dict[ReadingKey, float]
    boom_height: dict[str, float]
    half_beam: dict[tuple[str, str], float]

    def move_band(self, mast: str, up: float) -> None:
        """The lower band is painted anew, so much higher."""
        self.boom_height[mast] += up
        for key in self.lengths:
            if key[1] == mast and key[0] in (
                "luff_between_bands", "forestay_above_band", "spinnaker_halyard_above_band", "balance_above_band"
            ):  # fmt: skip
                self.lengths[key] -= up


def draw_truth(boat: DemoBoat, rig: Rig, dice: random.Random) -> Truth:
    """A boat as she was really built: the design's figures, each a little off."""
    lengths: dict[ReadingKey, float] = {}
    heights, beams = {}, {}
    for name, mast in boat.plan.masts.items():
        heights[name] = dice.gauss(mast.boom_height, 9.0)
        for side in ("port", "starboard"):
            beams[name, side] = dice.gauss(boat.plan.half_beam * (1.0 if name == "main" else 0.8), 3.0)
    for slug, name, position in required_readings(rig):
        where = "masthead" if slug == "spinnaker_halyard_above_band" else position
        lengths[slug, name, where] = dice.gauss(*_drawn(boat.plan, slug, name))
    for name, mast in boat.plan.masts.items():
        lengths["scale_reading", name, ""] = dice.gauss(mast.weight, mast.weight * 0.03) + SLINGS
        lengths["sling_weight", name, ""] = SLINGS
        lengths["balance_above_band", name, ""] = dice.gauss(mast.luff * 0.42, 60.0)
    return Truth(lengths, heights, beams)


def _drawn(plan: DesignPlan, slug: str, mast_name: str) -> tuple[float, float]:
    """What the drawing says of one reading, and how far the yard strays from it (standard deviation)."""
    mast = plan.masts[mast_name]
    figures = {
        **{name: (width, 0.6) for name, width in CLEAR.items()},
        "luff_between_bands": (mast.luff, 11.0),
        "luff_to_sheave": (mast.luff, 11.0),
        "forestay_above_band": (mast.luff * plan.forestay_share, 10.0),
        "outrigger_reach": (mast.section * 0.8 + 96.0, 2.0),
        "outrigger_mast_width": (mast.section * 0.8, 0.8),
        "spinnaker_halyard_above_band": (mast.luff * max(plan.forestay_share, 0.99) + 60.0, 10.0),
        "section_fore_aft_lower": (mast.section, 0.7),
        "section_transverse_lower": (mast.section * 0.62, 0.6),
        "section_fore_aft_upper": (mast.section * 0.78, 0.7),
        "section_transverse_upper": (mast.section * 0.55, 0.6),
        "taper_length": (mast.luff * 0.17, 9.0),
        "foil_fore_aft": (27.5, 0.4),
        "foretriangle_base": (plan.base, 8.0),
        "forestay_to_bow": (plan.base * 0.045, 4.0),
        "bowsprit_tack_reach": (plan.base * 1.34, 10.0),
        "mast_separation": (plan.separation, 9.0),
        "foot_distance": (mast.foot, 8.0),
        "boom_depth": (mast.section * 0.95, 1.0),
        "pole_length": (plan.base * 1.01, 7.0),
    }
    return figures[slug]


@dataclass
class Kit:
    """One measurer's instruments and what is wrong with them, which only a calibration would tell."""

    tape: str
    rule: str
    calliper: str
    scale: str
    tape_error: float = 0.0  # indicated minus true, mm/m
    rule_error: float = 0.0

    def for_reading(self, slug: str) -> str:
        kinds = READINGS[slug].instrument_kinds
        if "scale" in kinds:
            return self.scale
        if kinds[0] == "calliper":
            return self.calliper
        return self.rule if kinds[0] == "rule" or slug == "boom_depth" else self.tape


@dataclass
class Day:
    """The circumstances of one visit."""

    boat: DemoBoat
    rig: Rig
    truth: Truth
    kit: Kit
    measurer: str
    place: str
    date: dt.date
    air: float
    dice: random.Random
    methods: tuple[str, ...] = ("string", "two_mark")
    weighed: bool = True
    in_feet: bool = False
    interest: str = "none"
    share: float = 1.0  # how much of the set has been read so far
    written: dict[str, str] = field(default_factory=dict)  # slug -> what was written by mistake


def log_sheet(day: Day) -> LogSheet:
    """The sheet the measurer hands in."""
    return LogSheet.of([*_conditions(day), *_description(day), *_readings(day)])


def _conditions(day: Day) -> Iterator[Row]:
    values = {
        "boat": day.boat.name,
        "sail_number": day.boat.sail_number,
        "design": day.boat.plan.name,
        "date": day.date.isoformat(),
        "place": day.place,
        "measurer": day.measurer,
        "interest": day.interest,
    }
    for item, value in values.items():
        yield Row("visit", item, value)
    yield Row("visit", "air_temperature", f"{day.air:.1f}", "degC")


def _description(day: Day) -> Iterator[Row]:
    yield Row("rig", "rig_type", day.rig.rig_type)
    for mast in day.rig.masts:
        yield Row("rig", "band_contrast", "yes", mast=mast.name)
        yield Row("rig", "mast_state", "ashore", mast=mast.name)
        for item in PREPARATION_ITEMS:
            yield Row("rig", item, "yes", mast=mast.name)


def _readings(day: Day) -> Iterator[Row]:
    rows = [*_lengths(day), *_boom_heights(day)]
    rows.sort(key=lambda row: row.order)
    return iter(rows[: math.ceil(len(rows) * day.share)])


def _lengths(day: Day) -> Iterator[Row]:
    shared = {name: day.dice.uniform(-0.5, 0.5) for name in ("lower", "upper")}
    deck = day.dice.uniform(-3.0, 3.0)
    extra = {
        "luff_between_bands": shared["upper"] - shared["lower"],
        "forestay_above_band": -shared["lower"],
        "spinnaker_halyard_above_band": day.dice.uniform(-1.0, 1.0) - shared["lower"],
        "balance_above_band": day.dice.uniform(-10.0, 10.0),
        "foretriangle_base": deck,
        "forestay_to_bow": -deck,
    }
    for (slug, mast, position), true in day.truth.lengths.items():
        if slug in ("scale_reading", "sling_weight", "balance_above_band") and not day.weighed:
            continue
        takes = 3 if slug == "foretriangle_base" and day.dice.random() < 0.15 else 1
        for take in range(1, takes + 1):
            yield _row(day, slug, mast, position, true + extra.get(slug, 0.0), take)


def _boom_heights(day: Day) -> Iterator[Row]:
    for mast in boom_height_alternatives(day.rig):
        sheer = {side: day.dice.uniform(-3.0, 3.0) for side in ("port", "starboard")}
        height, string = day.truth.boom_height[mast.mast], 240.0 + day.dice.uniform(-8.0, 8.0)
        bend = day.dice.uniform(-2.0, 2.0)
        values: dict[ReadingKey, float] = {
            ("string_to_band", mast.mast, ""): height - string + bend,
            ("mark_spacing", mast.mast, ""): 600.0,
        }
        for side, slip in sheer.items():
            across = day.truth.half_beam[mast.mast, side]
            values["string_to_sheer", mast.mast, side] = string - slip
            values["band_to_sheer", mast.mast, side] = math.hypot(across, height - slip) + day.dice.uniform(-1.5, 1.5)
            values["mark_to_sheer", mast.mast, side] = math.hypot(across, height - 600.0 - slip) + day.dice.uniform(
                -1.5, 1.5
            )
        for method, keys in mast.methods:
            if method in day.methods:
                for slug, name, side in keys:
                    yield _row(day, slug, name, side, values[slug, name, side], 1)


def _row(day: Day, slug: str, mast: str, position: str, true: float, take: int) -> Row:
    kind, instrument = READINGS[slug], day.kit.for_reading(slug)
    unit = kind.unit
    if instrument == day.kit.tape:
        shown = (
            true
            * (1.0 + day.kit.tape_error / 1000.0)
            / (1.0 + EXPANSION * (day.air + day.dice.uniform(-2.0, 2.0) - 20.0))
        )
        text = str(round(shown + day.dice.uniform(-0.7, 0.7)))
    elif instrument == day.kit.rule:
        text = str(round(true * (1.0 + day.kit.rule_error / 1000.0) + day.dice.uniform(-0.5, 0.5)))
    else:
        text = f"{true + day.dice.uniform(-0.08, 0.08):.1f}"
    if slug in day.written and mast == "main":
        text = day.written[slug].format(text=text, swapped=_swapped(text))
    elif day.in_feet and instrument == day.kit.tape and float(text) > 1000.0:
        text, unit = _feet(float(text)), "in"
    return Row("reading", slug, text, unit if unit != kind.unit else "", mast, position, take, instrument)


def _swapped(text: str) -> str:
    """The number with two neighbouring digits exchanged: the first pair that differs, the leading digit last."""
    at = next(at for at in (*range(1, len(text) - 1), 0) if text[at] != text[at + 1])
    return text[:at] + text[at + 1] + text[at] + text[at + 2 :]


def _feet(length: float) -> str:
    sixteenths = round(length / 25.4 * 16)
    feet, rest = divmod(sixteenths, 12 * 16)
    inches, parts = divmod(rest, 16)
    divisor = math.gcd(parts, 16)
    return f"{feet} ft {inches} in" if not parts else f"{feet} ft {inches} {parts // divisor}/{16 // divisor} in"
