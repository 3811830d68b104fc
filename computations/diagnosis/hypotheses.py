"""Every single thing that may have happened, each with its prior."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from computations.diagnosis import pencil_faults, real, tape_faults
from computations.diagnosis.patterns import Hypothesis, Sketch
from computations.diagnosis.priors import KINDS
from computations.diagnosis.scene import Scene

Draw = Callable[[Sketch], Iterator[Hypothesis]]

_DRAWN: dict[str, Draw] = {
    "quantity_changed": real.quantity_changed,
    "lower_band_moved": real.lower_band_moved,
    "mast_moved": real.mast_moved,
    "new_mast": real.new_mast,
    "tape_scale": tape_faults.tape_scale,
    "tape_start": tape_faults.tape_start,
    "tape_start_all": tape_faults.tape_start_all,
    "band_edge": tape_faults.band_edge,
    "digits_swapped": pencil_faults.digits_swapped,
    "wrong_unit": pencil_faults.wrong_unit,
    "sides_swapped": pencil_faults.sides_swapped,
    "section_swapped": pencil_faults.section_swapped,
    "distances_swapped": pencil_faults.distances_swapped,
    "foil_doubling": pencil_faults.foil_doubling,
}
# Kinds whose weight as a whole depends on the scene: on what an identification says, on what else was read.
WEIGHED_AS_DRAWN = frozenset({"new_mast", "mast_moved"})


def hypotheses(scene: Scene) -> list[Hypothesis]:
    """All of them, each with the logarithm of its prior given that exactly one thing happened; those add up to 1."""
    sketch = Sketch(scene)
    made: list[Hypothesis] = []
    for kind, prior in KINDS.items():
        of_kind = list(_DRAWN[kind](sketch))
        if kind in WEIGHED_AS_DRAWN:
            whole = float(max(1, len(scene.masts))) if kind == "new_mast" else 1.0
        else:
            whole = sum(one.weight for one in of_kind)
        for one in of_kind:
            one.log_prior = math.log(prior * one.weight / whole)
        made += of_kind
    total = math.log(sum(math.exp(one.log_prior) for one in made)) if made else 0.0
    for one in made:
        one.log_prior -= total
    return made
