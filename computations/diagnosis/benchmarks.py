"""What a diagnosis is measured against: every hypothesis solved from scratch, each with its own covariance matrix."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from computations.benchmarks import full_visit
from computations.derivation import Derivation, derive
from computations.diagnosis.diagnose import diagnose
from computations.diagnosis.hypotheses import hypotheses
from computations.diagnosis.patterns import Hypothesis
from computations.diagnosis.scene import Floats, Scene
from computations.diagnosis.staging import scene_between

Pair = tuple[Callable[[], Any], Callable[[], Any]]


def one_diagnosis() -> Pair:
    """Two visits of 58 readings with one slip in the second. The peer weighs each hypothesis alone only, ours also all
    the couples of the best with any other: what is asked of both is the same scene and the same list of hypotheses.
    """
    before, now = derive(replace(full_visit(), key="before")), derive(_slipped())
    return lambda: diagnose(scene_between(before, now)), lambda: from_scratch(before, now)


def _slipped() -> Any:
    visit = full_visit()
    readings = tuple(
        replace(one, value=one.value + 99.0) if one.slug == "pole_length" else one for one in visit.readings
    )
    return replace(visit, key="now", readings=readings)


def from_scratch(before: Derivation, now: Derivation) -> list[float]:
    """The log-likelihood of each hypothesis alone."""
    scene = scene_between(before, now)
    return [_one(scene, one) for one in hypotheses(scene)]


def _one(scene: Scene, one: Hypothesis) -> float:
    values = scene.values if one.shift is None else scene.values - one.shift
    rest: Floats = scene.rows(values[None, :])[0]
    covariance = scene.covariance
    for free in (one.direction, one.free):
        if free is not None:
            moved = np.atleast_2d(free) @ scene.slopes.T
            covariance = covariance + moved.T @ moved
    _, log_determinant = np.linalg.slogdet(covariance)
    return -0.5 * float(rest @ np.linalg.solve(covariance, rest) + log_determinant + len(rest) * np.log(2 * np.pi))
