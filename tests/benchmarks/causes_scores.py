"""Scores of stated probabilities: share right, Brier score, log loss, calibration error, calibration curve."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from qc.batch import Batch
from qc.causes.model import CAUSE_IDS

Draw = Callable[[str, int], Batch]
Weigh = Callable[[Batch], Mapping[str, float]]

BIN_EDGES = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.0 + 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """How good the probabilities of one set of batches are; every batch has a weight, the weights add up to 1."""

    name: str
    chances: NDArray[np.float64]
    truth: NDArray[np.int64]
    weights: NDArray[np.float64]

    @property
    def _right(self) -> NDArray[np.bool_]:
        return self.chances.argmax(axis=1) == self.truth

    @property
    def right(self) -> float:
        """Share of batches whose likeliest cause is the true one, every cause weighing the same."""
        return float(self._right.mean())

    @property
    def right_by_cause(self) -> dict[str, float]:
        return {id: float(self._right[self.truth == at].mean()) for at, id in enumerate(CAUSE_IDS) if at in self.truth}

    @property
    def brier(self) -> float:
        """Mean squared distance of the probabilities from 1 for the true cause and 0 for the others."""
        return float(((self.chances - np.eye(len(CAUSE_IDS))[self.truth]) ** 2).sum(axis=1).mean())

    @property
    def log_loss(self) -> float:
        """Mean of minus the logarithm of the probability of the true cause [nat]."""
        at_truth = self.chances[np.arange(self.truth.size), self.truth]
        return float(-np.log(np.maximum(at_truth, 1e-12)).mean())

    def curve(self, *, weighted: bool) -> list[tuple[float, float, int]]:
        """Per bin of the top probability: mean probability, share right, number of batches."""
        top = self.chances.max(axis=1)
        weights = self.weights if weighted else np.full(top.size, 1.0 / top.size)
        found = []
        for low, high in pairwise(BIN_EDGES):
            inside = (top >= low) & (top < high)
            if inside.any():
                share = weights[inside] / weights[inside].sum()
                said, was = float((share * top[inside]).sum()), float((share * self._right[inside]).sum())
                found.append((said, was, int(inside.sum())))
        return found

    def calibration_error(self, *, weighted: bool) -> float:
        """Mean distance between the stated top probability and the share right, over the bins."""
        top = self.chances.max(axis=1)
        weights = self.weights if weighted else np.full(top.size, 1.0 / top.size)
        total = 0.0
        for low, high in pairwise(BIN_EDGES):
            inside = (top >= low) & (top < high)
            total += abs(float((weights[inside] * (top[inside] - self._right[inside])).sum()))
        return total / float(weights.sum())


def score(name: str, draw: Draw, weigh: Weigh, *, seeds: Sequence[int], before: Mapping[str, float]) -> Scores:
    """Draw one batch a cause and seed, weigh the causes of each, and keep the probabilities."""
    chances, truth, weights = [], [], []
    for at, id in enumerate(CAUSE_IDS):
        for seed in seeds:
            found = weigh(draw(id, seed))
            chances.append([found[one] for one in CAUSE_IDS])
            truth.append(at)
            weights.append(before[id] / len(seeds))
    return Scores(name=name, chances=np.array(chances), truth=np.array(truth), weights=np.array(weights))
