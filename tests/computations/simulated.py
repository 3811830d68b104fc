"""Invented rigs and invented visits, drawn from a seed: the truth is known, so answers can be judged.

The physics is written out anew here (no formula of the product is used): points on the boat, one error per source.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field, replace

import numpy as np

from computations.inputs import Instrument, Mast, Reading, Rig, Visit

DAY = dt.date(2026, 5, 4)
STEEL = 11.5e-6


@dataclass
class Spar:
    """A mast: heights in mm from its lower band, which stands `boom_height` over the sheer abreast of it."""

    boom_height: float
    luff: float
    sections: dict[str, float]
    taper: float
    foot: float
    boom_depth: float
    half_beam: dict[str, float]
    bands: dict[str, float]
    identification: str = "M-1"


@dataclass
class Truth:
    """A sloop or a ketch: true lengths in mm, weights in kg."""

    spars: dict[str, Spar]
    forestay: float
    halyards: dict[str, float]
    foil: float
    weight: float
    slings: float
    balance: float
    base: float
    to_bow: float
    sprit: float
    pole: float
    separation: float = 0.0
    sprit_fitted: bool = True
    weighed: bool = True

    @property
    def main(self) -> Spar:
        return self.spars["main"]


def random_spar(rng: np.random.Generator, luff: float, name: str) -> Spar:
    fore = luff * rng.uniform(0.010, 0.016)
    aft = fore * rng.uniform(0.6, 0.9)
    beam = rng.uniform(900, 1900)
    return Spar(
        boom_height=rng.uniform(900, 1700),
        luff=luff,
        sections={
            "section_fore_aft_lower": fore,
            "section_transverse_lower": fore * rng.uniform(0.5, 0.75),
            "section_fore_aft_upper": aft,
            "section_transverse_upper": aft * rng.uniform(0.5, 0.75),
        },
        taper=luff * rng.uniform(0.1, 0.25),
        foot=luff * rng.uniform(0.28, 0.42),
        boom_depth=rng.uniform(90, 250),
        half_beam={"port": beam + rng.normal(0, 4), "starboard": beam + rng.normal(0, 4)},
        bands={
            f"{name}_band_width": float(rng.choice([25, 26, 28, 30, 40, 50])) for name in ("lower", "upper", "boom")
        },
        identification=f"{name}-1",
    )


def random_truth(rng: np.random.Generator, *, ketch: bool = False) -> Truth:
    luff = rng.uniform(7000, 18000)
    base = luff * rng.uniform(0.28, 0.36)
    spars = {"main": random_spar(rng, luff, "main")}
    if ketch:
        spars["mizzen"] = random_spar(rng, luff * rng.uniform(0.5, 0.75), "mizzen")
    halyards = {"masthead": luff * rng.uniform(0.98, 1.05)}
    if rng.random() < 0.4:
        halyards["fractional"] = luff * rng.uniform(0.8, 0.95)
    return Truth(
        spars=spars,
        forestay=luff * rng.uniform(0.8, 1.02),
        halyards=halyards,
        foil=rng.uniform(18, 45),
        weight=rng.uniform(30, 250),
        slings=rng.uniform(1, 6),
        balance=luff * rng.uniform(0.35, 0.5),
        base=base,
        to_bow=rng.uniform(20, 900),
        sprit=base * rng.uniform(1.1, 1.5),
        pole=base * rng.uniform(0.97, 1.05),
        separation=luff * rng.uniform(0.35, 0.5) if ketch else 0.0,
        sprit_fitted=bool(rng.random() < 0.6),
        weighed=bool(rng.random() < 0.6),
    )


@dataclass
class Kit:
    """What a measurer brings. `errors` are its own, mm per m or mm or kg; they last as long as its calibration."""

    tape: Instrument
    rule: Instrument = field(
        default_factory=lambda: Instrument("R-02", "rule", "II", nominal_length_mm=2000.0, calibration="c2")
    )
    calliper: Instrument = field(
        default_factory=lambda: Instrument("C-01", "calliper", limit_of_error=0.1, calibration="c3")
    )
    scale: Instrument = field(default_factory=lambda: Instrument("S-01", "scale", limit_of_error=0.5, calibration="c4"))
    errors: dict[str, float] = field(default_factory=dict)


def random_kit(rng: np.random.Generator, number: int = 7) -> Kit:
    tape = Instrument(f"T-{number:02d}", "steel_tape", "II", nominal_length_mm=30000.0, calibration="c1")
    errors = {
        "tape": rng.uniform(-0.2, 0.2),
        "rule": rng.uniform(-0.3, 0.3),
        "calliper": rng.uniform(-0.1, 0.1),
        "scale": rng.uniform(-0.5, 0.5),
    }
    return Kit(tape, errors=errors)


@dataclass
class Habits:
    """How one visit is done."""

    takes: int = 1
    methods: tuple[str, ...] = ("string", "two_mark")
    spacing: float = 500.0
    string_height: float = 200.0
    normal: bool = False  # errors normal at their stated u, not rectangular
    named: bool = True  # instruments are named on the sheet
    metres: bool = False  # long lengths are written in metres


class Visiting:
    """One visit with every source drawn as it is described, shared by what shares it."""

    def __init__(self, rng: np.random.Generator, truth: Truth, kit: Kit, habits: Habits) -> None:
        self.rng, self.truth, self.kit, self.habits = rng, truth, kit, habits
        self.temperature = float(rng.uniform(2, 30))
        self.tape_temperature = self.temperature + self.error(3)
        self.readings: list[Reading] = []

    def error(self, half: float) -> float:
        if self.habits.normal:
            return float(self.rng.normal(0, half / math.sqrt(3)))
        return float(self.rng.uniform(-half, half))

    def tape(self, slug: str, length: float, mast: str, position: str = "", extra: float = 0.0) -> None:
        for take in range(1, self.habits.takes + 1):
            shown = (length + extra) / (1 + STEEL * (self.tape_temperature - 20.0))
            shown -= self.kit.errors["tape"] * shown / 1000.0
            shown += self.error(0.5) + self.error(0.25)
            if slug in ("band_to_sheer", "mark_to_sheer"):
                shown += self.error(1.5)
            self._write(slug, round(shown), mast, position, take, self.kit.tape.identifier)

    def _write(self, slug: str, value: float, mast: str, position: str, take: int, instrument: str) -> None:
        text, unit = (f"{value / 1000:.3f}", "m") if self.habits.metres and value > 1000 else (str(value), "")
        named = instrument if self.habits.named else ""
        self.readings.append(Reading(slug, float(value), mast, position, take, named, text, unit))

    def short(self, slug: str, length: float, mast: str, instrument: Instrument) -> None:
        if instrument.kind == "rule":
            self._write(slug, round(length + self.error(0.5)), mast, "", 1, instrument.identifier)
            return
        error = self.kit.errors["scale" if instrument.kind == "scale" else "calliper"]
        self._write(slug, round(length + error + self.error(0.05), 1), mast, "", 1, instrument.identifier)

    def spar(self, name: str, spar: Spar) -> None:
        lower, upper = self.error(0.5), self.error(0.5)
        truth, kit = self.truth, self.kit
        for slug, width in spar.bands.items():
            self.short(slug, width, name, kit.rule)
        self.tape("luff_between_bands", spar.luff, name, extra=upper - lower)
        for slug, size in spar.sections.items():
            self.short(slug, size, name, kit.calliper)
        self.tape("taper_length", spar.taper, name, extra=upper)
        self.tape("foot_distance", spar.foot, name, extra=self.error(0.5))
        self.short("boom_depth", spar.boom_depth, name, kit.rule)
        self.heights(name, spar, lower)
        if name == "main":
            self.tape("forestay_above_band", truth.forestay, name, extra=-lower)
            for halyard, height in truth.halyards.items():
                self.tape("spinnaker_halyard_above_band", height, name, halyard, self.error(1) - lower)
            self.short("foil_fore_aft", truth.foil, name, kit.calliper)
            if truth.weighed:
                self.short("scale_reading", truth.weight + truth.slings, name, kit.scale)
                self.short("sling_weight", truth.slings, name, kit.scale)
                self.tape("balance_above_band", truth.balance, name, extra=self.error(10) - lower)

    def heights(self, name: str, spar: Spar, lower: float) -> None:
        sheer = {side: self.error(3) for side in ("port", "starboard")}
        height, habits = spar.boom_height, self.habits
        if "string" in habits.methods:
            string = habits.string_height + self.rng.normal(0, 10)
            for side, point in sheer.items():
                self.tape("string_to_sheer", string, name, side, -point)
            self.tape("string_to_band", height - string, name, extra=lower + self.error(2))
        if "two_mark" in habits.methods:
            mark = height - habits.spacing
            self.tape("mark_spacing", habits.spacing, name, extra=lower)
            for side, across in spar.half_beam.items():
                self.tape("band_to_sheer", math.hypot(across, height + lower - sheer[side]), name, side)
                self.tape("mark_to_sheer", math.hypot(across, mark - sheer[side]), name, side)

    def deck(self) -> None:
        truth, at_deck = self.truth, self.error(3)
        self.tape("foretriangle_base", truth.base, "main", extra=at_deck)
        self.tape("forestay_to_bow", truth.to_bow, "main", extra=-at_deck)
        if truth.sprit_fitted:
            self.tape("bowsprit_tack_reach", truth.sprit, "main")
        if truth.separation:
            self.tape("mast_separation", truth.separation, "main")
        self.tape("pole_length", truth.pole, "main")


def simulate(rng: np.random.Generator, truth: Truth, kit: Kit, key: str, habits: Habits) -> Visit:
    visiting = Visiting(rng, truth, kit, habits)
    for name, spar in truth.spars.items():
        visiting.spar(name, spar)
    visiting.deck()
    masts = tuple(
        Mast(name, mast_identification=spar.identification, material="aluminium") for name, spar in truth.spars.items()
    )
    rig = Rig("ketch" if len(masts) > 1 else "sloop", masts=masts, spinnaker=True, pole=True)
    return Visit(
        key=key,
        boat="Invented",
        date=DAY,
        air_temperature_c=visiting.temperature,
        rig=rig,
        instruments=(kit.tape, kit.rule, kit.calliper, kit.scale) if habits.named else (),
        readings=tuple(visiting.readings),
    )


def with_number(reading: Reading, value: float) -> Reading:
    """The reading with another number, written as it was written."""
    if reading.unit_written == "m":
        value = float(round(value))
        return replace(reading, value=value, written=f"{value / 1000:.3f}")
    decimals = len(reading.written.partition(".")[2])
    text = f"{value:.{decimals}f}"
    return replace(reading, value=float(text), written=text)
