"""What may happen between two simulated visits: real changes of the truth, and mistakes in the second visit's sheet.

Each is done in several ways, as different measurers would do it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from computations.inputs import Reading, Visit
from tests.computations.simulated import Truth, random_spar, with_number

STARTS = (-1000.0, -100.0, 100.0, 1000.0)
SMALL = ("section", "foil", "_width")
FROM_LOWER = ("luff_between_bands", "forestay_above_band", "spinnaker_halyard_above_band", "balance_above_band")


def sign(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


# -- real changes


def change_quantity(rng: np.random.Generator, truth: Truth) -> Truth:
    name = str(rng.choice(["luff", "foot", "boom_depth", "taper", "section", "forestay", "halyard", "foil", "weight",
                           "balance", "base", "to_bow", "sprit", "pole"]))  # fmt: skip
    if name in ("weight", "balance") and not truth.weighed:
        name = "pole"
    if name == "sprit" and not truth.sprit_fitted:
        name = "base"
    amount = sign(rng) * float(np.exp(rng.uniform(np.log(12), np.log(250))))
    if name in ("luff", "foot", "boom_depth", "taper"):
        mast = str(rng.choice(list(truth.spars)))
        spar = truth.spars[mast]
        amount = sign(rng) * rng.uniform(8, 40) if name == "boom_depth" else amount
        return replace(truth, spars={**truth.spars, mast: replace(spar, **{name: getattr(spar, name) + amount})})
    if name == "section":
        spar = truth.main
        slug = str(rng.choice(list(spar.sections)))
        sections = {**spar.sections, slug: spar.sections[slug] + sign(rng) * rng.uniform(2, 12)}
        return replace(truth, spars={**truth.spars, "main": replace(spar, sections=sections)})
    if name == "halyard":
        one = str(rng.choice(list(truth.halyards)))
        return replace(truth, halyards={**truth.halyards, one: truth.halyards[one] + amount})
    if amount < -0.3 * (before := float(getattr(truth, name))):
        amount = -0.3 * before
    amount = {"foil": sign(rng) * rng.uniform(2, 7), "weight": sign(rng) * rng.uniform(4, 25),
              "balance": sign(rng) * rng.uniform(60, 300)}.get(name, amount)  # fmt: skip
    return replace(truth, **{name: getattr(truth, name) + amount})


def move_band(rng: np.random.Generator, truth: Truth) -> Truth:
    up = sign(rng) * rng.uniform(12, 80)
    spar = replace(truth.main, boom_height=truth.main.boom_height + up, luff=truth.main.luff - up)
    return replace(
        truth,
        spars={**truth.spars, "main": spar},
        forestay=truth.forestay - up,
        halyards={name: height - up for name, height in truth.halyards.items()},
        balance=truth.balance - up,
    )


def move_mast(rng: np.random.Generator, truth: Truth) -> Truth:
    aft = sign(rng) * rng.uniform(15, 150)
    separation = truth.separation - aft if truth.separation else 0.0
    return replace(truth, base=truth.base + aft, sprit=truth.sprit + aft, separation=separation)


def new_mast(rng: np.random.Generator, truth: Truth) -> Truth:
    apart = float(rng.choice([0.002, 0.006, 0.02]))

    def other(value: float) -> float:
        return float(value * (1 + rng.normal(0, apart)))

    old, made = truth.main, random_spar(rng, other(truth.main.luff), "main")
    sections = {name: size + rng.normal(0, 5) for name, size in old.sections.items()}
    spar = replace(
        old,
        luff=made.luff,
        boom_height=old.boom_height + rng.normal(0, 15),
        sections=made.sections if rng.random() < 0.3 else sections,
        taper=made.taper if rng.random() < 0.5 else other(old.taper),
        bands={**old.bands, **{name: width for name, width in made.bands.items() if not name.startswith("boom")}},
        identification=str(rng.choice(["main-2", "main-2", "main-1", ""])),
    )
    return replace(
        truth,
        spars={**truth.spars, "main": spar},
        forestay=other(truth.forestay),
        halyards={name: other(height) for name, height in truth.halyards.items()},
        weight=truth.weight * rng.uniform(0.85, 1.15),
        balance=other(truth.balance) + rng.normal(0, 60),
    )


# -- mistakes in the sheet


def altered(visit: Visit, changes: dict[int, float]) -> Visit:
    return replace(
        visit,
        readings=tuple(with_number(one, changes[i]) if i in changes else one for i, one in enumerate(visit.readings)),
    )


def takes_of(visit: Visit, *slugs: str, mast: str = "", position: str = "") -> list[int]:
    return [
        i
        for i, one in enumerate(visit.readings)
        if one.slug in slugs and mast in ("", one.mast) and position in ("", one.position)
    ]


def by_tape(one: Reading) -> bool:
    if one.instrument:
        return one.instrument.startswith("T-")
    return not one.slug.startswith(("section", "foil", "boom_depth", "scale", "sling")) and "_width" not in one.slug


def one_reading(rng: np.random.Generator, visit: Visit, *, least: float = 0.0, all_takes: float = 0.6) -> list[int]:
    """All takes of a reading by tape, or one of them."""
    among = [i for i, one in enumerate(visit.readings) if by_tape(one) and abs(one.value) >= least]
    index = int(rng.choice(among))
    chosen = visit.readings[index]
    if rng.random() < all_takes:
        return takes_of(visit, chosen.slug, mast=chosen.mast, position=chosen.position)
    return [index]


def tape_scale(rng: np.random.Generator, visit: Visit) -> Visit:
    longest = max(one.value for one in visit.readings)
    if rng.random() < 0.25 and longest > 12000 and visit.air_temperature_c is not None:
        return replace(visit, air_temperature_c=visit.air_temperature_c + sign(rng) * rng.uniform(25, 35))
    stretch = sign(rng) * rng.uniform(0.5e-3, 2e-3)
    return altered(visit, {i: one.value * (1 + stretch) for i, one in enumerate(visit.readings) if by_tape(one)})


def tape_start(rng: np.random.Generator, visit: Visit) -> Visit:
    start = float(rng.choice(STARTS))
    return altered(visit, {i: visit.readings[i].value + start for i in one_reading(rng, visit)})


def tape_start_all(rng: np.random.Generator, visit: Visit) -> Visit:
    start = float(rng.choice(STARTS))
    least = float(rng.choice([-1e9, -1e9, 600.0, 1200.0]))
    return altered(
        visit,
        {i: one.value + start for i, one in enumerate(visit.readings) if by_tape(one) and one.value >= least},
    )


def band_edge(rng: np.random.Generator, visit: Visit) -> Visit:
    mast = str(rng.choice([one.name for one in visit.rig.masts]))
    slugs, band = [
        (("luff_between_bands",), "upper"),
        (("luff_between_bands",), "lower"),
        (("foot_distance",), "boom"),
        (("forestay_above_band",), "lower"),
        (("spinnaker_halyard_above_band",), "lower"),
        (FROM_LOWER, "lower"),
    ][rng.integers(6)]
    if slugs[0] not in ("luff_between_bands", "foot_distance") or len(slugs) > 1:
        mast = "main"
    width = visit.readings[takes_of(visit, f"{band}_band_width", mast=mast)[0]].value
    amount = sign(rng) * width
    return altered(visit, {i: visit.readings[i].value + amount for i in takes_of(visit, *slugs, mast=mast)})


def digits_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    while True:
        index = int(rng.integers(len(visit.readings)))
        one = visit.readings[index]
        text = one.written
        pairs = [(i, j) for i, j in zip(range(len(text)), range(1, len(text)), strict=False)]
        pairs = [(i, j) for i, j in pairs if (text[i] + text[j]).isdigit() and text[i] != text[j]]
        if not pairs:
            continue
        i, j = pairs[rng.integers(len(pairs))]
        other = text[:i] + text[j] + text[i] + text[j + 1 :]
        value = float(other) * (1000 if one.unit_written == "m" else 1)
        least = 60.0 if one.slug.startswith("balance") else 0.9 if "." in text and not one.unit_written else 9.0
        if other.startswith("0") or abs(value - one.value) < least - 1e-6 or one.slug == "scale_reading":
            continue
        changed = replace(one, value=value, written=other)
        return replace(visit, readings=(*visit.readings[:index], changed, *visit.readings[index + 1 :]))


def wrong_unit(rng: np.random.Generator, visit: Visit) -> Visit:
    factor = float(rng.choice([25.4, 1 / 25.4, 1 / 304.8, 304.8]))
    decimals = int(rng.choice([1, 2, 3]))
    indices = one_reading(rng, visit, least=300.0)
    readings = list(visit.readings)
    for i in indices:
        value = round(readings[i].value * factor, decimals)
        readings[i] = replace(readings[i], value=value, written=f"{value:.{decimals}f}", unit_written="")
    return replace(visit, readings=tuple(readings))


def _exchange(visit: Visit, couples: list[tuple[list[int], list[int]]]) -> Visit:
    changes: dict[int, float] = {}
    for ones, others in couples:
        for one, other in zip(ones, others, strict=True):
            changes |= {one: visit.readings[other].value, other: visit.readings[one].value}
    return altered(visit, changes)


def sides(visit: Visit, slug: str) -> tuple[list[int], list[int]]:
    port, starboard = (takes_of(visit, slug, mast="main", position=side) for side in ("port", "starboard"))
    return port, starboard


def sides_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    two_mark = bool(takes_of(visit, "band_to_sheer"))
    slugs = ["band_to_sheer", "mark_to_sheer"] if two_mark else ["string_to_sheer"]
    if two_mark and rng.random() < 0.3:
        slugs += ["string_to_sheer"]
    return _exchange(visit, [sides(visit, slug) for slug in slugs])


def section_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    ends = [["lower"], ["upper"], ["lower", "upper"]][rng.integers(3)]
    mast = str(rng.choice([one.name for one in visit.rig.masts]))
    ways = ("section_fore_aft", "section_transverse")
    couples = [[takes_of(visit, f"{way}_{end}", mast=mast) for way in ways] for end in ends]
    return _exchange(visit, [(one, other) for one, other in couples])


def distances_swapped(rng: np.random.Generator, visit: Visit) -> Visit:
    chosen = [["port"], ["starboard"], ["port", "starboard"]][rng.integers(3)]
    slugs = ("band_to_sheer", "mark_to_sheer")
    couples = [[takes_of(visit, slug, mast="main", position=side) for slug in slugs] for side in chosen]
    return _exchange(visit, [(one, other) for one, other in couples])


def foil_doubling(rng: np.random.Generator, visit: Visit) -> Visit:
    factor = float(rng.choice([0.5, 2.0]))
    return altered(visit, {i: visit.readings[i].value * factor for i in takes_of(visit, "foil_fore_aft")})


REAL: dict[str, Callable[[np.random.Generator, Truth], Truth]] = {
    "quantity_changed": change_quantity,
    "lower_band_moved": move_band,
    "mast_moved": move_mast,
    "new_mast": new_mast,
}
MISTAKES: dict[str, Callable[[np.random.Generator, Visit], Visit]] = {
    "tape_scale": tape_scale,
    "tape_start_all": tape_start_all,
    "tape_start": tape_start,
    "band_edge": band_edge,
    "foil_doubling": foil_doubling,
    "sides_swapped": sides_swapped,
    "section_swapped": section_swapped,
    "distances_swapped": distances_swapped,
    "digits_swapped": digits_swapped,
    "wrong_unit": wrong_unit,
}
KINDS = (*REAL, *MISTAKES)
