"""Random rigs for `world.py`: proportions, equipment, instruments and takes drawn from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from computations.catalogue import applicable_readings
from computations.inputs import Instrument, Mast, Reading, Rig, Visit
from tests.computations.world import BY_CALLIPER, MASS, TrueMast, TrueRig

MASTS = {"sloop": ("main",), "cutter": ("main",), "ketch": ("main", "mizzen"), "schooner": ("fore", "main")}
HALYARDS = ((), ("masthead",), ("masthead", "fractional"))
STRING, TWO_MARK = ("string_to_sheer", "string_to_band"), ("mark_spacing", "band_to_sheer", "mark_to_sheer")
HEIGHTS = (STRING, TWO_MARK, STRING + TWO_MARK)


@dataclass(frozen=True)
class Manner:
    """What one kind of visit is like: which rig, which readings, how often and with what each is taken."""

    rig: Rig
    halyards: tuple[str, ...]
    outrigger: bool
    air_known: bool
    readings: tuple[tuple[str, str, str, int, str], ...]  # slug, mast, position, take, instrument
    instruments: tuple[Instrument, ...]


def random_manner(random: np.random.Generator) -> Manner:
    """One layout of formulas: many rigs may be measured in this manner."""
    kind = str(random.choice(list(MASTS), p=[0.4, 0.2, 0.2, 0.2]))
    halyards = HALYARDS[random.integers(1, 3)] if random.random() < 0.85 else ()
    fitted = {name: bool(random.random() < 0.7) for name in ("pole", "bowsprit", "headsail_foil", "weighed")}
    outrigger = bool(random.random() < 0.4)
    masts = tuple(Mast(name, upper_band=bool(random.random() < 0.85)) for name in MASTS[kind])
    rig = Rig(
        kind,
        masts=masts,
        outrigger=outrigger,
        spinnaker=bool(halyards),
        pole=fitted["pole"],
        bowsprit=fitted["bowsprit"],
        headsail_foil=fitted["headsail_foil"],
    )
    kit = random_kit(random)
    heights = {mast.name: HEIGHTS[random.integers(3)] for mast in masts}
    readings = []
    for slug, mast, position in applicable_readings(rig):
        if slug in (*MASS, "balance_above_band") and not fitted["weighed"]:
            continue
        if slug in STRING + TWO_MARK and slug not in heights[mast]:
            continue
        takes = int(random.choice([1, 1, 1, 2, 3, 4]))
        for named in halyards if slug == "spinnaker_halyard_above_band" else (position,):
            readings += [(slug, mast, named, take, kit.for_reading(slug)) for take in range(1, takes + 1)]
    return Manner(rig, halyards, outrigger, bool(random.random() < 0.9), tuple(readings), kit.instruments)


@dataclass(frozen=True)
class Kit:
    instruments: tuple[Instrument, ...]
    tape: str
    short: str  # what bands and booms are read with
    calliper: str

    def for_reading(self, slug: str) -> str:
        if slug in MASS:
            return "S-01" if any(one.identifier == "S-01" for one in self.instruments) else ""
        if slug.startswith(BY_CALLIPER):
            return self.calliper
        return self.short if slug.endswith("_width") else self.tape


def random_kit(random: np.random.Generator) -> Kit:
    """A class tape or a certified one; a rule, or the tape again; a calliper or the rule; or nothing that is named."""
    if random.random() < 0.1:
        return Kit((), "", "", "")
    if random.random() < 0.4:
        error, u = float(random.uniform(-6, 6)), float(random.uniform(0.2, 1.5))
        tape = Instrument("T-07", nominal_length_mm=30_000.0, calibration_error=error, calibration_u=u)
    else:
        tape = Instrument("T-07", accuracy_class=str(random.choice(["I", "II", "III"])), nominal_length_mm=30_000.0)
    others = (
        Instrument("R-02", "rule", accuracy_class="II", nominal_length_mm=2000.0),
        Instrument("K-02", "calliper", limit_of_error=float(random.choice([0.05, 0.1, 0.2]))),
        Instrument("S-01", "scale", limit_of_error=float(random.choice([0.2, 0.5, 1.0]))),
    )
    short = str(random.choice(["R-02", "T-07"]))
    return Kit((tape, *others), "T-07", short, str(random.choice(["K-02", "K-02", "K-02", "R-02"])))


def random_mast(random: np.random.Generator, luff: float) -> TrueMast:
    fore = luff * random.uniform(0.010, 0.016)
    aft = fore * random.uniform(0.6, 0.9)
    boom, beam = random.uniform(900, 1700), random.uniform(900, 1900)
    return TrueMast(
        boom=boom,
        luff=luff,
        taper=luff * random.uniform(0.1, 0.25),
        balance=boom + luff * random.uniform(0.35, 0.5),
        string=boom + random.uniform(-250, 250),
        mark=float(random.choice([500, 500, 600, 800])),
        foot=luff * random.uniform(0.28, 0.42),
        sections=(fore, fore * random.uniform(0.5, 0.75), aft, aft * random.uniform(0.5, 0.75)),
        boom_depth=random.uniform(90, 250),
        weight=random.uniform(30, 250),
        slings=random.uniform(1, 6),
        half_beam=(beam + random.normal(0, 4), beam + random.normal(0, 4)),
    )


def random_rig(random: np.random.Generator, manner: Manner) -> TrueRig:
    luff = random.uniform(7000, 18000)
    masts = {mast.name: random_mast(random, luff * random.uniform(0.6, 1.0)) for mast in manner.rig.masts}
    forward = masts[manner.rig.forward_mast]
    forestay = forward.boom + forward.luff * random.uniform(0.8, 1.02)
    base = forestay * random.uniform(0.25, 0.36)
    masthead = forward.boom + forward.luff * random.uniform(0.98, 1.05)
    heights = {"masthead": masthead, "fractional": masthead * random.uniform(0.8, 0.95)}
    return TrueRig(
        masts=masts,
        forward=manner.rig.forward_mast,
        forestay=forestay,
        ahead=random.uniform(40, 0.1 * base) if manner.outrigger else 0.0,
        mast_width=random.uniform(90, 220),
        halyards={name: heights[name] for name in manner.halyards or ("masthead",)},
        base=base,
        bow=random.uniform(60, 900),
        tack=base * random.uniform(1.1, 1.5),
        pole=base * random.uniform(0.97, 1.05),
        foil=random.uniform(18, 45),
        separation=luff * random.uniform(0.35, 0.5),
    )


def template_of(random: np.random.Generator, manner: Manner) -> Visit:
    """A visit in this manner, its readings still to be filled in."""
    return Visit(
        air_temperature_c=float(random.uniform(0, 35)) if manner.air_known else None,
        rig=manner.rig,
        instruments=manner.instruments,
        readings=tuple(
            Reading(slug, 0.0, mast, position, take, instrument)
            for slug, mast, position, take, instrument in manner.readings
        ),
    )
