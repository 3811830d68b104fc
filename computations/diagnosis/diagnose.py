"""What probably happened between two visits: every hypothesis weighed on all readings at once, alone and in pairs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from computations.diagnosis import likelihood
from computations.diagnosis.hypotheses import P_JOINT, P_NOTHING, Hypothesis, hypotheses
from computations.diagnosis.scene import Floats, Scene
from computations.diagnosis.sentences import explain
from computations.results import ReadingRef

MOST_IN_PAIRS = 160  # hypotheses that are also weighed in pairs: the best alone
LEAST_PROBABILITY = 0.001
LEAST_SEEN = 12.0  # squared length, in standard deviations, of a shift that is worth a hypothesis
P_SINGLE = 1.0 - P_NOTHING - P_JOINT


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing, or two together (`kind` "joint" and two `parts`), and how probable it is."""

    kind: str
    probability: float
    readings: tuple[ReadingRef, ...] = ()
    size: float = 0.0
    unit: str = "mm"
    explanation: str = ""
    parts: tuple[Answer, ...] = ()


@dataclass(frozen=True, slots=True)
class _Weighed:
    """Parallel to a list of hypotheses: log posterior (not normalised) and sizes."""

    log_posterior: Floats
    sizes: Floats


def diagnose(scene: Scene) -> tuple[Answer, ...]:
    """Answers sorted by probability; they add up to 1 but for those below a thousandth."""
    if not len(scene.covariance):
        return (Answer("nothing_changed", 1.0, explanation=explain("nothing_changed", (), 0.0, "mm", "", ())),)
    made = hypotheses(scene)
    simple = [one for one in made if one.free is None]
    whole = [one for one in made if one.free is not None]
    differences, shifts, directions = _in_rows(scene, simple)
    log_priors = np.array([one.log_prior for one in simple])
    log_priors -= np.logaddexp.reduce(np.array([one.log_prior for one in made]))
    lower = likelihood.factor(scene.covariance)
    white = likelihood.whiten(lower, differences, shifts, directions)
    nothing = np.log(P_NOTHING) + white.constant - 0.5 * float(white.z @ white.z)
    alone, deviations = likelihood.singles(white)
    alone = np.where(_says_something(white), alone, -np.inf)
    answers: list[tuple[float, Answer]] = [(nothing, Answer("nothing_changed", 0.0))]
    answers += _alone(simple, np.log(P_SINGLE) + log_priors + alone, _sizes(simple, deviations))
    answers += _in_pairs(simple, white, log_priors, alone, _sizes(simple, deviations))
    for one in whole:
        answers += _with_whole(scene, one, simple, (differences, shifts, directions), log_priors, made)
    return _normalised(answers)


def _in_rows(scene: Scene, made: list[Hypothesis]) -> tuple[Floats, Floats, Floats]:
    """Differences (n,), and each hypothesis's shift and direction (h, n) as the rows see them.

    Shifts are taken exactly (a slant distance wrong by a metre is far from linear), directions to first order.
    """
    values = scene.values
    now = scene.rows(values[None, :])[0]
    shift = np.array([one.shift for one in made]).reshape(len(made), len(values))
    direction = np.array([one.direction for one in made]).reshape(len(made), len(values))
    step = 1e-3
    slope = (scene.rows(values + step * direction) - scene.rows(values - step * direction)) / (2 * step)
    return now, now - scene.rows(values - shift), slope


def _says_something(white: likelihood.Whitened) -> npt.NDArray[np.bool_]:
    """(h,) False for what would hardly be seen if it had happened, like sides exchanged that are alike: never claimed."""
    seen = np.einsum("hn,hn->h", white.shifts, white.shifts)
    return (seen > LEAST_SEEN) | (np.einsum("hn,hn->h", white.directions, white.directions) > 0.0)


def _sizes(made: list[Hypothesis], deviations: Floats) -> Floats:
    return np.array(
        [one.size + one.size_per_deviation * deviation for one, deviation in zip(made, deviations, strict=True)]
    )


def _answer(one: Hypothesis, size: float) -> Answer:
    return Answer(one.kind, 0.0, one.readings, float(size), one.unit, explanation=one.words)


def _alone(made: list[Hypothesis], log_posterior: Floats, sizes: Floats) -> list[tuple[float, Answer]]:
    return [(float(value), _answer(one, size)) for one, value, size in zip(made, log_posterior, sizes, strict=True)]


def _in_pairs(
    made: list[Hypothesis], white: likelihood.Whitened, log_priors: Floats, alone: Floats, sizes: Floats
) -> list[tuple[float, Answer]]:
    """Every two of the best hypotheses together, where they do not speak of the same readings."""
    chosen = np.argsort(-(log_priors + alone))[:MOST_IN_PAIRS]
    values = likelihood.pairs(white, chosen) + log_priors[chosen][:, None] + log_priors[chosen][None, :]
    values += np.log(2.0 * P_JOINT)
    values[~_compatible([made[index] for index in chosen])] = -np.inf
    first, second = np.triu_indices(len(chosen), 1)
    found = values[first, second]
    best = np.argsort(-found)[:400]
    rows = []
    for place in best[np.isfinite(found[best])]:
        one, other = made[chosen[first[place]]], made[chosen[second[place]]]
        parts = (_answer(one, sizes[chosen[first[place]]]), _answer(other, sizes[chosen[second[place]]]))
        rows.append((float(found[place]), _joint(parts)))
    return rows


def _joint(parts: Iterable[Answer]) -> Answer:
    ordered = tuple(
        sorted(parts, key=lambda part: (part.kind, [(ref.reading, ref.mast, ref.position) for ref in part.readings]))
    )
    return Answer("joint", 0.0, tuple(dict.fromkeys(ref for part in ordered for ref in part.readings)), parts=ordered)


def _compatible(made: list[Hypothesis]) -> npt.NDArray[np.bool_]:
    """(h, h) False where two hypotheses explain the same reading, or are the same thing twice."""
    items = max((max(one.support, default=0) for one in made), default=0) + 1
    support = np.zeros((len(made), items))
    for row, one in enumerate(made):
        support[row, list(one.support)] = 1.0
    overlap = (support @ support.T) > 0
    for row, one in enumerate(made):
        if not one.support:
            overlap[row] |= [other.kind == one.kind and not other.support for other in made]
    return ~overlap


def _with_whole(
    scene: Scene,
    whole: Hypothesis,
    simple: list[Hypothesis],
    rows: tuple[Floats, Floats, Floats],
    log_priors: Floats,
    made: list[Hypothesis],
) -> list[tuple[float, Answer]]:
    """A hypothesis that leaves a whole set of readings free, alone and with each simple one beside it."""
    assert whole.free is not None  # noqa: S101 - the caller sorted them
    differences, shifts, directions = rows
    step = 1e-3
    free = (scene.rows(scene.values + step * whole.free) - scene.rows(scene.values - step * whole.free)) / (2 * step)
    lower = likelihood.factor(scene.covariance + free.T @ free)
    white = likelihood.whiten(lower, differences, shifts, directions)
    prior = whole.log_prior - np.logaddexp.reduce(np.array([one.log_prior for one in made]))
    alone = np.log(P_SINGLE) + prior + white.constant - 0.5 * float(white.z @ white.z)
    beside, deviations = likelihood.singles(white)
    beside = beside + log_priors + prior + np.log(2.0 * P_JOINT)
    sizes = _sizes(simple, deviations)
    touched = set(whole.readings)
    answer = _answer(whole, 0.0)
    found = [(alone, answer)]
    for index in np.argsort(-beside)[:60]:
        if not touched.intersection(simple[index].readings):
            found.append((float(beside[index]), _joint((answer, _answer(simple[index], sizes[index])))))
    return found


def _key(answer: Answer) -> tuple[object, ...]:
    if answer.parts:
        return (answer.kind, *(_key(part) for part in answer.parts))
    return (answer.kind, frozenset(answer.readings))


def _normalised(found: list[tuple[float, Answer]]) -> tuple[Answer, ...]:
    """Variants of one answer added together, probabilities that add up to one, sentences written."""
    logs = np.array([value for value, _ in found])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    total: dict[tuple[object, ...], float] = {}
    best: dict[tuple[object, ...], tuple[float, Answer]] = {}
    for weight, (_, answer) in zip(weights, found, strict=True):
        key = _key(answer)
        total[key] = total.get(key, 0.0) + float(weight)
        if key not in best or weight > best[key][0]:
            best[key] = (float(weight), answer)
    rows = [(probability, best[key][1]) for key, probability in total.items() if probability >= LEAST_PROBABILITY]
    rows.sort(key=lambda row: -row[0])
    return tuple(_written(answer, probability) for probability, answer in rows)


def _written(answer: Answer, probability: float) -> Answer:
    parts = tuple(_written(part, probability) for part in answer.parts)
    words = answer.explanation  # until here: what the sentence needs besides
    return replace(
        answer,
        probability=probability,
        parts=parts,
        explanation=explain(
            answer.kind, answer.readings, answer.size, answer.unit, words, tuple(part.explanation for part in parts)
        ),
    )
