"""Pairs of simulated visits to one boat, between which something happened, or two things, or nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from computations.inputs import Visit
from tests.computations.mishaps import FROM_LOWER, KINDS, MISTAKES, REAL, sign
from tests.computations.simulated import Habits, random_kit, random_truth, simulate

__all__ = ["KINDS", "pair"]


def random_habits(rng: np.random.Generator) -> Habits:
    methods = [("string",), ("two_mark",), ("string", "two_mark")][rng.integers(3)]
    return Habits(
        takes=int(rng.choice([1, 1, 1, 2, 3])),
        methods=methods,
        spacing=float(rng.choice([500, 500, 600, 800])),
        string_height=rng.uniform(120, 420),
        normal=bool(rng.random() < 0.3),
        named=bool(rng.random() < 0.9),
        metres=bool(rng.random() < 0.1),
    )


def next_habits(rng: np.random.Generator, before: Habits, kinds: tuple[str, ...]) -> Habits:
    """The next visit's: mostly alike; a method or spacing that is needed to see the fault is kept."""
    habits = replace(before, takes=int(rng.choice([1, 1, 1, 2, 3])), metres=bool(rng.random() < 0.1))
    if rng.random() < 0.15:
        habits.spacing = float(rng.choice([500, 600, 800]))
    if rng.random() < 0.15:
        habits.string_height += rng.uniform(-120, 120)
    if rng.random() < 0.25 and not set(kinds) & {"sides_swapped", "distances_swapped"}:
        habits.methods = [("string",), ("two_mark",), ("string", "two_mark")][rng.integers(3)]
    return habits


def without_some(rng: np.random.Generator, visit: Visit, kept: frozenset[str]) -> Visit:
    """A few readings were not taken this time."""
    some = {one.key[:3] for one in visit.readings if one.slug not in kept and rng.random() < 0.06}
    return replace(visit, readings=tuple(one for one in visit.readings if one.key[:3] not in some))


# What must be there for a thing to be seen at all.
NEEDED = {
    "band_edge": frozenset({"lower_band_width", "upper_band_width", "boom_band_width", *FROM_LOWER, "foot_distance"}),
    "section_swapped": frozenset(
        f"section_{way}_{end}" for way in ("fore_aft", "transverse") for end in ("lower", "upper")
    ),
    "foil_doubling": frozenset({"foil_fore_aft"}),
    "sides_swapped": frozenset({"band_to_sheer", "mark_to_sheer", "string_to_sheer", "mark_spacing"}),
    "distances_swapped": frozenset({"band_to_sheer", "mark_to_sheer", "mark_spacing"}),
    "mast_moved": frozenset({"foretriangle_base", "bowsprit_tack_reach"}),
}


def pair(rng: np.random.Generator, kinds: tuple[str, ...]) -> tuple[Visit, Visit]:
    """Two visits to one boat; between them everything named in `kinds` happened (nothing, where it is empty)."""
    truth, habits, kit = random_truth(rng, ketch=bool(rng.random() < 0.2)), random_habits(rng), random_kit(rng)
    if set(kinds) & {"sides_swapped", "distances_swapped"}:
        habits.methods = ("string", "two_mark") if rng.random() < 0.5 else ("two_mark",)
    if "sides_swapped" in kinds:  # a difference that can be seen
        beams = truth.main.half_beam
        beams["port"] = beams["starboard"] + sign(rng) * rng.uniform(40, 90)
    if "mast_moved" in kinds:
        truth.sprit_fitted = True
    before = simulate(rng, truth, kit, "before", habits)
    for kind, change in REAL.items():
        if kind in kinds:
            truth = change(rng, truth)
    if rng.random() < 0.2 and "tape_scale" not in kinds:
        kit = random_kit(rng, 8)
    after = simulate(rng, truth, kit, "after", next_habits(rng, habits, kinds))
    if rng.random() < 0.4 and "quantity_changed" not in kinds:
        after = without_some(rng, after, frozenset[str]().union(*(NEEDED.get(kind, frozenset()) for kind in kinds)))
    for kind, mistake in MISTAKES.items():  # first the tape's, then the pencil's
        if kind in kinds:
            after = mistake(rng, after)
    return before, after
