"""What probably happened between two visits: every hypothesis weighed on all readings at once, alone and in pairs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from computations.diagnosis.hypotheses import hypotheses
from computations.diagnosis.patterns import Hypothesis
from computations.diagnosis.scene import Scene
from computations.diagnosis.sentences import explain, explain_joint
from computations.diagnosis.weighing import Candidate, Weighing
from computations.results import ReadingRef

LEAST_PROBABILITY = 0.001
LEAST_ADDED = 1e-6  # variants less probable than this add nothing to their answer


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing, or two together (`kind` "joint" and two `parts`), and how probable it is.

    `size` is the change, or how much too great a reading was taken or written, in `unit`.
    """

    kind: str
    probability: float
    readings: tuple[ReadingRef, ...] = ()
    size: float = 0.0
    unit: str = "mm"
    explanation: str = ""
    parts: tuple[Answer, ...] = ()


def diagnose(scene: Scene) -> tuple[Answer, ...]:
    """Answers sorted by probability; they add up to 1 but for those below a thousandth."""
    if not len(scene.covariance):
        return (_nothing(1.0, scene),)
    found = Weighing(scene, hypotheses(scene)).candidates()
    logs = np.array([one.log for one in found])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    total: dict[object, float] = {}
    best: dict[object, tuple[float, Candidate]] = {}
    for index in np.argsort(-weights):
        weight = float(weights[index])
        if weight < LEAST_ADDED:
            break
        key = frozenset((part.kind, frozenset(part.readings)) for part in found[index].parts)
        total[key] = total.get(key, 0.0) + weight
        best.setdefault(key, (weight, found[index]))  # the most probable variant speaks for all
    answers = [
        _answer(best[key][1], probability, scene)
        for key, probability in total.items()
        if probability >= LEAST_PROBABILITY
    ]
    return tuple(sorted(answers, key=lambda answer: -answer.probability))


def _nothing(probability: float, scene: Scene) -> Answer:
    return Answer("nothing_changed", probability, explanation=explain("nothing_changed", (), history=scene.history))


def _answer(candidate: Candidate, probability: float, scene: Scene) -> Answer:
    if not candidate.parts:
        return _nothing(probability, scene)
    parts = tuple(
        sorted(
            (_part(one, size, probability) for one, size in zip(candidate.parts, candidate.sizes, strict=True)),
            key=lambda part: (part.kind, [(ref.reading, ref.mast, ref.position) for ref in part.readings]),
        )
    )
    if len(parts) == 1:
        return parts[0]
    readings = tuple(dict.fromkeys(ref for part in parts for ref in part.readings))
    words = explain_joint([part.explanation for part in parts])
    return Answer("joint", probability, readings, explanation=words, parts=parts)


def _part(one: Hypothesis, size: float, probability: float) -> Answer:
    words = explain(one.kind, one.readings, size, one.unit, one.words)
    return Answer(one.kind, probability, one.readings, size, one.unit, words)
