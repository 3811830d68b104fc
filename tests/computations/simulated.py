"""Invented rigs, invented visits and invented mistakes, drawn from a seed: the truth is known, so answers can be judged.

The physics is written out anew here (no formula of the product is used): points on the boat, one error per source.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field, replace

import numpy as np

from computations.inputs import Instrument, Mast, Reading, Rig, Visit

DAY = dt.date(2026, 5, 4)


@dataclass
class Truth:
    """A sloop: true lengths in mm, the mast foot at x = 0, heights from the sheer abreast the mast."""

    boom_height: float
    half_beam: dict[str, float]
    luff: float
    forestay: float
    halyards: dict[str, float]
    sections: dict[str, float]
    taper: float
    foil: float
    weight: float
    slings: float
    balance: float
    base: float
    to_bow: float
    sprit: float
    foot: float
    boom_depth: float
    pole: float
    bands: dict[str, float]
    string_height: float = 200.0
    spacing: float = 500.0
    mast_identification: str = "M-1"
    methods: tuple[str, ...] = ("string", "two_mark")
    sprit_fitted: bool = True


def random_truth(rng: np.random.Generator) -> Truth:
    luff = rng.uniform(7000, 18000)
    base = luff * rng.uniform(0.28, 0.36)
    fore = rng.uniform(90, 240)
    aft = fore * rng.uniform(0.6, 0.9)
    methods = [("string",), ("two_mark",), ("string", "two_mark")][rng.integers(3)]
    return Truth(
        boom_height=rng.uniform(900, 1700),
        half_beam={"port": (beam := rng.uniform(900, 1900)) + rng.normal(0, 4), "starboard": beam + rng.normal(0, 4)},
        luff=luff,
        forestay=luff * rng.uniform(0.8, 1.02),
        halyards={"masthead": luff * rng.uniform(0.98, 1.05)},
        sections={
            "section_fore_aft_lower": fore,
            "section_transverse_lower": fore * rng.uniform(0.5, 0.75),
            "section_fore_aft_upper": aft,
            "section_transverse_upper": aft * rng.uniform(0.5, 0.75),
        },
        taper=luff * rng.uniform(0.1, 0.25),
        foil=rng.uniform(18, 45),
        weight=rng.uniform(30, 250),
        slings=rng.uniform(1, 6),
        balance=luff * rng.uniform(0.35, 0.5),
        base=base,
        to_bow=rng.uniform(20, 900),
        sprit=base * rng.uniform(1.1, 1.5),
        foot=luff * rng.uniform(0.28, 0.42),
        boom_depth=rng.uniform(90, 250),
        pole=base * rng.uniform(0.97, 1.05),
        bands={"lower_band_width": 30.0, "upper_band_width": 28.0, "boom_band_width": 26.0},
        string_height=rng.uniform(120, 420),
        spacing=float(rng.choice([500, 600, 800])),
        methods=methods,
        sprit_fitted=bool(rng.random() < 0.7),
    )


@dataclass
class Kit:
    tape: Instrument = field(
        default_factory=lambda: Instrument("T-07", "steel_tape", "II", nominal_length_mm=30000.0, calibration="c1")
    )
    rule: Instrument = field(
        default_factory=lambda: Instrument("R-02", "rule", "II", nominal_length_mm=2000.0, calibration="c2")
    )
    calliper: Instrument = field(
        default_factory=lambda: Instrument("C-01", "calliper", limit_of_error=0.1, calibration="c3")
    )
    scale: Instrument = field(default_factory=lambda: Instrument("S-01", "scale", limit_of_error=0.5, calibration="c4"))
    errors: dict[str, float] = field(default_factory=dict)

    def drawn(self, rng: np.random.Generator) -> Kit:
        """The kit's own errors, which last as long as its calibration."""
        errors = {
            "tape": rng.uniform(-0.2, 0.2),
            "rule": rng.uniform(-0.3, 0.3),
            "calliper": rng.uniform(-0.1, 0.1),
            "scale": rng.uniform(-0.5, 0.5),
        }
        return replace(self, errors=errors)


def simulate(rng: np.random.Generator, truth: Truth, kit: Kit, key: str, takes: int = 1) -> Visit:
    """One visit with every source drawn as it is described: rectangular, shared by what shares it."""

    def box(half: float) -> float:
        return float(rng.uniform(-half, half))

    temperature = float(rng.uniform(2, 30))
    tape_temperature = temperature + box(3)
    lower, upper = box(0.5), box(0.5)
    sheer = {side: box(3) for side in ("port", "starboard")}
    deck = box(3)
    spacing, string = truth.spacing, truth.string_height + rng.normal(0, 10)
    readings: list[Reading] = []

    def tape(slug: str, length: float, position: str = "", extra: float = 0.0, ends: float = 0.5) -> None:
        for take in range(1, takes + 1):
            indicated = (length + extra) / (1 + 11.5e-6 * (tape_temperature - 20.0))
            indicated -= kit.errors.get("tape", 0.0) * indicated / 1000.0
            value = round(
                indicated + box(ends) + (box(1.5) if slug.endswith("_to_sheer") and slug != "string_to_sheer" else 0.0)
            )
            readings.append(
                Reading(slug, float(value), position=position, take=take, instrument="T-07", written=str(value))
            )

    def short(slug: str, length: float, instrument: str, error: float) -> None:
        value = round(
            (length + error + (box(0.5) if instrument == "R-02" else 0.0)) * (10 if instrument == "C-01" else 1)
        )
        text = f"{value / 10:.1f}" if instrument == "C-01" else str(value)
        readings.append(Reading(slug, float(text), instrument=instrument, written=text))

    for slug, width in truth.bands.items():
        short(slug, width, "R-02", 0.0)
    tape("luff_between_bands", truth.luff, extra=upper - lower)
    tape("forestay_above_band", truth.forestay, extra=-lower)
    for name, height in truth.halyards.items():
        tape("spinnaker_halyard_above_band", height, name, extra=box(1) - lower)
    for slug, size in truth.sections.items():
        short(slug, size, "C-01", kit.errors.get("calliper", 0.0))
    tape("taper_length", truth.taper, extra=upper)
    short("foil_fore_aft", truth.foil, "C-01", kit.errors.get("calliper", 0.0))
    for slug, mass in (("scale_reading", truth.weight + truth.slings), ("sling_weight", truth.slings)):
        text = f"{mass + kit.errors.get('scale', 0.0) + box(0.05):.1f}"
        readings.append(Reading(slug, float(text), instrument="S-01", written=text))
    tape("balance_above_band", truth.balance, extra=box(10) - lower)
    height = truth.boom_height
    if "string" in truth.methods:
        bend = box(2)
        for side in ("port", "starboard"):
            tape("string_to_sheer", string, side, extra=-sheer[side])
        tape("string_to_band", height - string, extra=lower + bend)
    if "two_mark" in truth.methods:
        mark = height - spacing
        tape("mark_spacing", spacing, extra=lower)
        for side in ("port", "starboard"):
            across = truth.half_beam[side]
            tape("band_to_sheer", math.hypot(across, height + lower - sheer[side]), side)
            tape("mark_to_sheer", math.hypot(across, mark - sheer[side]), side)
    tape("foretriangle_base", truth.base, extra=deck)
    tape("forestay_to_bow", truth.to_bow, extra=-deck)
    if truth.sprit_fitted:
        tape("bowsprit_tack_reach", truth.sprit)
    tape("foot_distance", truth.foot, extra=box(0.5))
    short("boom_depth", truth.boom_depth, "R-02", 0.0)
    tape("pole_length", truth.pole)
    rig = Rig(
        masts=(Mast(mast_identification=truth.mast_identification, material="aluminium"),), spinnaker=True, pole=True
    )
    return Visit(
        key=key, boat="Invented", date=DAY, air_temperature_c=temperature, rig=rig,
        instruments=(kit.tape, kit.rule, kit.calliper, kit.scale), readings=tuple(readings),
    )  # fmt: skip


# -- what may happen between two visits: each takes (rng, truth) or (rng, visit) and gives it changed, with the readings at fault

FROM_LOWER = ("luff_between_bands", "forestay_above_band", "spinnaker_halyard_above_band", "balance_above_band")


def with_value(reading: Reading, value: float) -> Reading:
    value = round(value, 1) if "." in reading.written else float(round(value))
    text = f"{value:.1f}" if "." in reading.written else str(int(value))
    return replace(reading, value=float(text), written=text)


def altered(visit: Visit, changes: dict[int, float]) -> Visit:
    return replace(
        visit,
        readings=tuple(with_value(one, changes[i]) if i in changes else one for i, one in enumerate(visit.readings)),
    )


def find(visit: Visit, slug: str, position: str = "") -> int | None:
    return next((i for i, one in enumerate(visit.readings) if one.slug == slug and one.position == position), None)


REAL_QUANTITIES = (
    "luff",
    "forestay",
    "base",
    "to_bow",
    "sprit",
    "foot",
    "pole",
    "boom_depth",
    "balance",
    "taper",
    "foil",
)


def change_quantity(rng: np.random.Generator, truth: Truth) -> Truth:
    name = REAL_QUANTITIES[rng.integers(len(REAL_QUANTITIES))]
    if name == "sprit" and not truth.sprit_fitted:
        name = "foot"
    amount = {"foil": rng.uniform(2, 8), "balance": rng.uniform(80, 300)}.get(name, rng.uniform(15, 80))
    return replace(truth, **{name: getattr(truth, name) + rng.choice([-1, 1]) * amount})


def move_band(rng: np.random.Generator, truth: Truth) -> Truth:
    up = rng.choice([-1, 1]) * rng.uniform(15, 60)
    return replace(
        truth, boom_height=truth.boom_height + up, luff=truth.luff - up, forestay=truth.forestay - up,
        halyards={name: height - up for name, height in truth.halyards.items()}, balance=truth.balance - up,
    )  # fmt: skip


def move_mast(rng: np.random.Generator, truth: Truth) -> Truth:
    aft = rng.choice([-1, 1]) * rng.uniform(20, 120)
    return replace(truth, base=truth.base + aft, sprit=truth.sprit + aft, sprit_fitted=True)


def new_mast(rng: np.random.Generator, truth: Truth, *, named: bool = True) -> Truth:
    def other(value: float) -> float:
        return value * (1 + rng.normal(0, 0.006))

    return replace(
        truth, boom_height=truth.boom_height + rng.normal(0, 15), luff=other(truth.luff), forestay=other(truth.forestay),
        halyards={name: other(height) for name, height in truth.halyards.items()},
        sections={name: size + rng.normal(0, 6) for name, size in truth.sections.items()}, taper=other(truth.taper) + rng.normal(0, 60),
        weight=truth.weight * rng.uniform(0.8, 1.2), balance=other(truth.balance) + rng.normal(0, 100),
        mast_identification="M-2" if named else truth.mast_identification,
    )  # fmt: skip


def tape_scale(rng: np.random.Generator, visit: Visit) -> Visit:
    stretch = rng.choice([-1, 1]) * rng.uniform(0.5e-3, 1.5e-3)
    return altered(
        visit, {i: one.value * (1 + stretch) for i, one in enumerate(visit.readings) if one.instrument == "T-07"}
    )


def _any_by_tape(rng: np.random.Generator, visit: Visit, least: float = 0.0) -> int:
    among = [i for i, one in enumerate(visit.readings) if one.instrument == "T-07" and abs(one.value) >= least]
    return int(rng.choice(among))


def tape_start(rng: np.random.Generator, visit: Visit) -> Visit:
    index = _any_by_tape(rng, visit)
    return altered(visit, {index: visit.readings[index].value + rng.choice([-1000.0, -100.0, 100.0, 1000.0])})


def tape_start_all(rng: np.random.Generator, visit: Visit) -> Visit:
    start = rng.choice([-1000.0, -100.0, 100.0, 1000.0])
    return altered(visit, {i: one.value + start for i, one in enumerate(visit.readings) if one.instrument == "T-07"})


def band_edge(rng: np.random.Generator, visit: Visit) -> Visit:
    slug, width = [
        ("luff_between_bands", 28.0),
        ("foot_distance", 26.0),
        ("forestay_above_band", 30.0),
        ("luff_between_bands", 30.0),
    ][rng.integers(4)]
    index = find(visit, slug)
    assert index is not None
    return altered(visit, {index: visit.readings[index].value + rng.choice([-1, 1]) * width})


def digits_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    while True:
        index = int(rng.integers(len(visit.readings)))
        text = visit.readings[index].written
        place = int(rng.integers(len(text) - 1))
        if not (text[place].isdigit() and text[place + 1].isdigit()) or text[place] == text[place + 1]:
            continue
        other = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
        if other.startswith("0") or abs(float(other) - visit.readings[index].value) < 9.0:
            continue
        return replace(
            visit,
            readings=tuple(
                replace(one, value=float(other), written=other) if i == index else one
                for i, one in enumerate(visit.readings)
            ),
        )


def wrong_unit(rng: np.random.Generator, visit: Visit) -> Visit:
    index = _any_by_tape(rng, visit)
    factor = rng.choice([25.4, 1 / 25.4, 1 / 304.8])
    reading = visit.readings[index]
    value = round(reading.value * factor, 2)
    text = f"{value:.2f}"
    return replace(
        visit,
        readings=tuple(
            replace(reading, value=value, written=text) if i == index else one for i, one in enumerate(visit.readings)
        ),
    )


def _exchange(visit: Visit, couples: list[tuple[int | None, int | None]]) -> Visit:
    changes: dict[int, float] = {}
    for one, other in couples:
        assert one is not None
        assert other is not None
        changes |= {one: visit.readings[other].value, other: visit.readings[one].value}
    return altered(visit, changes)


def sides_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    slugs = (
        ["band_to_sheer", "mark_to_sheer"] if find(visit, "band_to_sheer", "port") is not None else ["string_to_sheer"]
    )
    return _exchange(visit, [(find(visit, slug, "port"), find(visit, slug, "starboard")) for slug in slugs])


def section_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    end = rng.choice(["lower", "upper"])
    return _exchange(visit, [(find(visit, f"section_fore_aft_{end}"), find(visit, f"section_transverse_{end}"))])


def distances_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    sides = [["port"], ["starboard"], ["port", "starboard"]][rng.integers(3)]
    return _exchange(
        visit, [(find(visit, "band_to_sheer", side), find(visit, "mark_to_sheer", side)) for side in sides]
    )


def foil_doubling(rng: np.random.Generator, visit: Visit) -> Visit:
    index = find(visit, "foil_fore_aft")
    assert index is not None
    return altered(visit, {index: visit.readings[index].value * rng.choice([0.5, 2.0])})


REAL = {
    "quantity_changed": change_quantity,
    "lower_band_moved": move_band,
    "mast_moved": move_mast,
    "new_mast": new_mast,
}
MISTAKES = {
    "tape_scale": tape_scale,
    "tape_start": tape_start,
    "tape_start_all": tape_start_all,
    "band_edge": band_edge,
    "digits_swapped": digits_swapped,
    "wrong_unit": wrong_unit,
    "sides_swapped": sides_swapped,
    "section_swapped": section_swapped,
    "distances_swapped": distances_swapped,
    "foil_doubling": foil_doubling,
}
KINDS = (*REAL, *MISTAKES)


def pair(rng: np.random.Generator, kinds: tuple[str, ...]) -> tuple[Visit, Visit]:
    """Two visits to one boat; between them everything named in `kinds` happened (nothing, where it is empty)."""
    truth = random_truth(rng)
    if set(kinds) & {"sides_swapped", "distances_swapped"}:
        truth.methods = ("string", "two_mark") if rng.random() < 0.5 else ("two_mark",)  # noqa: PLR2004
    if "sides_swapped" in kinds:  # a difference that can be seen
        truth.half_beam["port"] = truth.half_beam["starboard"] + rng.choice([-1, 1]) * rng.uniform(40, 90)
    if "mast_moved" in kinds:
        truth.sprit_fitted = True
    kit = Kit().drawn(rng)
    before = simulate(rng, truth, kit, "before")
    after_truth = truth
    for kind in kinds:
        if kind in REAL:
            after_truth = REAL[kind](rng, after_truth)
    after = simulate(rng, after_truth, kit, "after")
    for kind in kinds:
        if kind in MISTAKES:
            after = MISTAKES[kind](rng, after)
    return before, after
