"""Every hypothesis weighed on all rows at once: alone, two together, and a whole mast with one thing beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from computations.diagnosis import likelihood
from computations.diagnosis.likelihood import Noise, Whitened
from computations.diagnosis.patterns import Hypothesis
from computations.diagnosis.priors import KINDS, P_JOINT, P_NOTHING, P_SINGLE
from computations.diagnosis.scene import Floats, Scene

FIRST_OF_TWO = 40  # the best alone are also weighed with every other
MOST_COUPLES = 150
BESIDE_WHOLE = 30
FAR_BEHIND = 14.0  # in logarithms: what lies further behind the best is not looked at more closely
LEAST_GAINED = 5.0  # in logarithms over nothing at all: a whole that explains less needs no company
# A hypothesis that would hardly be seen had it happened is never claimed: least squared length, in noise, of its shift
# or of one standard deviation of its size.
LEAST_SEEN = 12.0
LEAST_SEEN_FREE = 4.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing, two, or none, with the logarithm of its probability (not normalised) and the sizes found."""

    log: float
    parts: tuple[Hypothesis, ...] = ()
    sizes: tuple[float, ...] = ()


class Weighing:
    """Whitened hypotheses of one scene. `simple` have at most one free size; the others are weighed one by one."""

    def __init__(self, scene: Scene, made: list[Hypothesis]) -> None:
        self.scene = scene
        self.wholes = [one for one in made if one.free is not None]
        self.simple = [one for one in made if one.free is None]
        self.differences = scene.rows(scene.values[None, :])[0]
        self.shift_items, self.shifts, self.directions = self._in_rows()
        self.noise = likelihood.noise_of(scene.covariance)
        self.white = self._white(self.noise)
        self.log_priors = np.array([one.log_prior for one in self.simple])
        self.log_priors[~self._seen()] = -np.inf

    def _in_rows(self) -> tuple[Floats, Floats, Floats]:
        """Shifts (h, r) of the readings; shifts and directions (h, n) as the rows see them.

        Shifts are taken exactly (a slant distance wrong by a metre is far from linear), directions to first order.
        """
        scene = self.scene
        shift = np.zeros((len(self.simple), len(scene.items)))
        direction = np.zeros_like(shift)
        for row, one in enumerate(self.simple):
            if one.shift is not None:
                shift[row] = one.shift
            if one.direction is not None:
                direction[row] = one.direction
        return shift, self.differences - scene.rows(scene.values - shift), likelihood.product(direction, scene.slopes.T)

    def _white(self, noise: Noise) -> Whitened:
        return Whitened(
            noise.white(self.differences), noise.white(self.shifts), noise.white(self.directions), noise.constant
        )

    def _seen(self) -> npt.NDArray[np.bool_]:
        shift = np.einsum("hn,hn->h", self.white.shifts, self.white.shifts)
        free = np.einsum("hn,hn->h", self.white.directions, self.white.directions)
        certain = self.shift_items.any(axis=1)
        seen: npt.NDArray[np.bool_] = np.where(certain, shift > LEAST_SEEN, free > LEAST_SEEN_FREE)
        return seen

    def candidates(self) -> list[Candidate]:
        """All that is worth a probability."""
        white = self.white
        nothing = Candidate(float(np.log(P_NOTHING)) + likelihood.nothing(white.z, white.constant))
        alone, deviations = likelihood.singles(white)
        alone = alone + self.log_priors
        found = [nothing]
        for index in np.flatnonzero(alone > alone.max(initial=-np.inf) - 2.0 * FAR_BEHIND):
            one = self.simple[index]
            found.append(
                Candidate(float(np.log(P_SINGLE) + alone[index]), (one,), (_size(one, float(deviations[index])),))
            )
        best = max(one.log for one in found)
        found += self._couples(alone, best)
        for whole in self.wholes:
            found += self._whole(whole, nothing)
        return found

    def _couples(self, alone: Floats, best: float) -> list[Candidate]:
        """The best alone with every other, where they do not speak of the same readings; the best of those exactly."""
        first = np.argsort(-alone)[:FIRST_OF_TWO]
        first = first[np.isfinite(alone[first])]
        if not len(first):
            return []
        prior = np.log(2.0 * P_JOINT) + self.log_priors
        logs = likelihood.grid(self.white, first) + prior[None, :] + self.log_priors[first, None]
        logs[~self._compatible(first)] = -np.inf
        rank = np.full(len(alone), len(first))
        rank[first] = np.arange(len(first))
        logs[rank[None, :] <= np.arange(len(first))[:, None]] = -np.inf  # each two once
        flat = logs.ravel()
        chosen = np.argpartition(-flat, min(MOST_COUPLES, len(flat) - 1))[:MOST_COUPLES]
        # Without bent rows these are exact already; with them the list is taken a little longer.
        behind = FAR_BEHIND * (2.0 if self.scene.bent else 1.0)
        chosen = chosen[flat[chosen] > max(best, float(flat.max())) - behind]
        one, other = first[chosen // len(alone)], chosen % len(alone)
        logs_exact, sizes_one, sizes_other = likelihood.couples(self.white, one, other, self._rest(one, other))
        logs_exact = logs_exact + prior[other] + self.log_priors[one]
        return [
            self._two(int(i), int(j), float(log), (float(a), float(b)))
            for i, j, log, a, b in zip(one, other, logs_exact, sizes_one, sizes_other, strict=True)
        ]

    def _rest(self, one: likelihood.Indices, other: likelihood.Indices) -> Floats:
        """(c, n) what is left of the differences after both shifts, exactly."""
        if not self.scene.bent:
            return self.white.z - self.white.shifts[one] - self.white.shifts[other]
        mended = self.scene.values - self.shift_items[one] - self.shift_items[other]
        return self.noise.white(self.scene.rows(mended))

    def _two(self, one: int, other: int, log: float, deviations: tuple[float, float]) -> Candidate:
        parts = (self.simple[one], self.simple[other])
        return Candidate(log, parts, (_size(parts[0], deviations[0]), _size(parts[1], deviations[1])))

    def _compatible(self, first: likelihood.Indices) -> npt.NDArray[np.bool_]:
        """(f, h) False where two explain the same reading, or are the same thing twice."""
        support = np.zeros((len(self.simple), len(self.scene.items)))
        codes = {kind: code for code, kind in enumerate(KINDS)}
        kinds = np.array([codes[one.kind] for one in self.simple])
        loose = np.ones(len(self.simple), dtype=bool)
        for row, one in enumerate(self.simple):
            if one.support:
                support[row, list(one.support)] = 1.0
                loose[row] = False
        overlap = likelihood.product(support, support[first].T).T > 0
        same = (kinds[first, None] == kinds[None, :]) & (loose[first, None] | loose[None, :])
        compatible: npt.NDArray[np.bool_] = ~(overlap | same)
        return compatible

    def _whole(self, whole: Hypothesis, nothing: Candidate) -> list[Candidate]:
        """A hypothesis that leaves a whole set of readings free, alone and with each simple one beside it."""
        if whole.free is None:
            return []
        free = whole.free @ self.scene.slopes.T
        noise = likelihood.noise_of(self.scene.covariance + free.T @ free)
        log = float(np.log(P_SINGLE)) + whole.log_prior
        log += likelihood.nothing(noise.white(self.differences), noise.constant)
        found = [Candidate(log, (whole,), (whole.size,))]
        if log < nothing.log + LEAST_GAINED:
            return found
        logs, deviations = likelihood.singles(self._white(noise))
        logs = logs + self.log_priors + whole.log_prior + np.log(2.0 * P_JOINT)
        for index in np.argsort(-logs)[:BESIDE_WHOLE]:
            one = self.simple[index]
            if np.isfinite(logs[index]) and not whole.support & one.support:
                sizes = (whole.size, _size(one, float(deviations[index])))
                found.append(Candidate(float(logs[index]), (whole, one), sizes))
        return found


def _size(one: Hypothesis, deviations: float) -> float:
    return one.size + one.size_per_deviation * deviations
