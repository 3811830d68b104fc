"""How often a diagnosis is right, on simulated pairs whose truth is known; the same pairs every time."""

from __future__ import annotations

from collections import Counter
from functools import cache

import numpy as np
import pytest

from computations.derivation import derive
from computations.diagnosis.diagnose import Answer, diagnose
from computations.diagnosis.staging import scene_between
from tests.computations.pairs import KINDS, pair

SINGLES = 18  # pairs of each kind
QUANTITIES = 200
FAULTLESS = 150
JOINT = 80


def answers(rng: np.random.Generator, kinds: tuple[str, ...]) -> tuple[Answer, ...]:
    before, after = pair(rng, kinds)
    return diagnose(scene_between(derive(before), derive(after)))


@cache
def singles() -> list[tuple[str, tuple[Answer, ...]]]:
    found = []
    for number, kind in enumerate(KINDS):
        rng = np.random.default_rng([11, number])
        found += [(kind, answers(rng, (kind,))) for _ in range(SINGLES)]
    return found


@cache
def faultless() -> list[tuple[Answer, ...]]:
    rng = np.random.default_rng(12)
    return [answers(rng, ()) for _ in range(FAULTLESS)]


@cache
def joint() -> list[tuple[tuple[str, ...], tuple[Answer, ...]]]:
    rng = np.random.default_rng(13)
    found = []
    for _ in range(JOINT):
        kinds = tuple(str(kind) for kind in rng.choice(KINDS, 2, replace=False))
        found.append((kinds, answers(rng, kinds)))
    return found


def named(answer: Answer) -> list[str]:
    return sorted(part.kind for part in answer.parts)


def test_the_most_probable_answer_is_right():
    right = [given[0].kind == kind for kind, given in singles()]
    assert np.mean(right) >= 0.95


def test_no_kind_is_left_behind():
    right = Counter(kind for kind, given in singles() if given[0].kind == kind)
    short = {kind: right[kind] for kind in KINDS if right[kind] < 0.9 * SINGLES}
    assert short.keys() <= {"quantity_changed"}, short


def test_real_changes_of_one_quantity():
    """Some real changes happen to be just a band's width, 100 mm or two digits changed: those look like the slip."""
    rng = np.random.default_rng(14)
    given = [answers(rng, ("quantity_changed",)) for _ in range(QUANTITIES)]
    assert np.mean([one[0].kind == "quantity_changed" for one in given]) >= 0.9
    assert np.mean(["quantity_changed" in [answer.kind for answer in one[:3]] for one in given]) >= 0.99


def test_the_truth_is_among_the_first_three():
    among = [kind in [one.kind for one in given[:3]] for kind, given in singles()]
    assert np.mean(among) >= 0.99


def test_it_is_quiet_on_faultless_pairs():
    claimed = [given[0].kind for given in faultless() if given[0].kind != "nothing_changed"]
    assert len(claimed) <= 0.01 * FAULTLESS + 1, claimed  # 1 % of these few, and one for luck


def test_two_things_at_once_are_named_in_full():
    assert np.mean([named(given[0]) == sorted(kinds) for kinds, given in joint()]) >= 0.85


@pytest.mark.parametrize(("low", "high"), [(0.3, 0.8), (0.8, 0.95), (0.95, 1.0)])
def test_probabilities_mean_what_they_say(low: float, high: float):
    given = [(one[0].probability, one[0].kind == kind) for kind, one in singles()]
    given += [(one[0].probability, one[0].kind == "nothing_changed") for one in faultless()]
    given += [(one[0].probability, named(one[0]) == sorted(kinds)) for kinds, one in joint()]
    inside = [(probability, right) for probability, right in given if low <= probability <= high]
    expected, found = (float(np.mean([row[column] for row in inside])) for column in (0, 1))
    spread = np.sqrt(expected * (1 - expected) / len(inside))
    assert len(inside) >= 5
    assert abs(found - expected) <= 0.03 + 2.5 * spread


def test_answers_are_sorted_and_add_up():
    for _, given in singles():
        probabilities = [one.probability for one in given]
        assert probabilities == sorted(probabilities, reverse=True)
        assert 0.9 < sum(probabilities) <= 1.0 + 1e-9


def test_every_answer_names_readings_and_says_a_sentence():
    for _, given in singles():
        for one in given:
            assert one.explanation.endswith(".")
            assert bool(one.readings) == (one.kind != "nothing_changed")
            assert len(one.parts) == (2 if one.kind == "joint" else 0)
