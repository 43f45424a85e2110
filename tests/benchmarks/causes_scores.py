"""Scores of stated probabilities: share right, Brier score, log loss, calibration error, calibration curve."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from qc.batch import Batch
from qc.causes.model import SOMETHING_ELSE
from qc.results import SOUND


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is said of a batch: the probability of every cause, and the causes that are named first, together."""

    chances: Mapping[str, float]
    first: tuple[str, ...]

    @property
    def said(self) -> float:
        """The probability of those named first."""
        return sum(self.chances[id] for id in self.first)

    def blames(self, least: float, *, but: Collection[str] = ()) -> bool:
        """Whether one fault of the list, of those that are not right, is given more than this probability."""
        return any(self.chances[id] > least for id in self.chances if id not in (SOUND, SOMETHING_ELSE, *but))


# A batch of a kind by a seed, with the causes that are right for it: none for a kind of which there is no model.
Draw = Callable[[str, int], tuple[Batch, Collection[str]]]
Weigh = Callable[[Batch], Answer]

BIN_EDGES = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.0 + 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """How good the answers to one set of batches are; every batch has a weight, the weights add up to 1."""

    name: str
    kinds: tuple[str, ...]
    truths: tuple[Collection[str], ...]
    answers: tuple[Answer, ...]
    weights: NDArray[np.float64]

    @property
    def _right(self) -> NDArray[np.bool_]:
        return np.array([bool({*one.first} & {*truth}) for one, truth in zip(self.answers, self.truths, strict=True)])

    @property
    def _said(self) -> NDArray[np.float64]:
        return np.array([one.said for one in self.answers])

    @property
    def right(self) -> float:
        """Share of batches whose true cause is among those named first, every kind weighing the same."""
        return float(self._right.mean())

    @property
    def alone(self) -> float:
        """Share of batches whose likeliest single cause is the true one."""
        tops = [max(one.chances, key=one.chances.__getitem__) for one in self.answers]
        return float(np.mean([top in truth for top, truth in zip(tops, self.truths, strict=True)]))

    @property
    def named(self) -> float:
        """How many causes are named first, in the mean."""
        return float(np.mean([len(one.first) for one in self.answers]))

    def blamed(self, least: float, *, kind: str = "") -> float:
        """Share of batches, or of those of a kind, of which one fault of the list is given more than this."""
        pairs = zip(self.answers, self.kinds, strict=True)
        return float(np.mean([one.blames(least) for one, of in pairs if kind in ("", of)]))

    def misled(self, least: float, *, kind: str = "") -> float:
        """The same without the faults that are right, or of the very shape of what happened."""
        every = zip(self.answers, self.kinds, self.truths, strict=True)
        return float(np.mean([one.blames(least, but=truth) for one, of, truth in every if kind in ("", of)]))

    @property
    def by_kind(self) -> dict[str, float]:
        """Share right of each kind."""
        kinds = np.array(self.kinds)
        return {kind: float(self._right[kinds == kind].mean()) for kind in dict.fromkeys(self.kinds)}

    @property
    def brier(self) -> float:
        """Mean squared distance of the probabilities from 1 for the true cause and 0 for the others."""
        each = [
            sum((chance - (id in truth)) ** 2 for id, chance in one.chances.items())
            for one, truth in zip(self.answers, self.truths, strict=True)
        ]
        return float(np.mean(each))

    def curve(self, *, weighted: bool) -> list[tuple[float, float, int]]:
        """Per bin of the probability of those named first: its mean, share right, number of batches."""
        said, right = self._said, self._right
        weights = self.weights if weighted else np.full(said.size, 1.0 / said.size)
        found = []
        for low, high in pairwise(BIN_EDGES):
            inside = (said >= low) & (said < high)
            if inside.any():
                share = weights[inside] / weights[inside].sum()
                found.append(
                    (float((share * said[inside]).sum()), float((share * right[inside]).sum()), int(inside.sum()))
                )
        return found

    def calibration_error(self, *, weighted: bool) -> float:
        """Mean distance between the stated probability of those named first and the share right, over the bins."""
        said, right = self._said, self._right
        weights = self.weights if weighted else np.full(said.size, 1.0 / said.size)
        total = 0.0
        for low, high in pairwise(BIN_EDGES):
            inside = (said >= low) & (said < high)
            total += abs(float((weights[inside] * (said[inside] - right[inside])).sum()))
        return total / float(weights.sum())


def score(
    name: str, draw: Draw, weigh: Weigh, *, kinds: Sequence[str], seeds: Sequence[int], before: Mapping[str, float]
) -> Scores:
    """Draw one batch a kind and seed, weigh the causes of each, and keep the answers."""
    drawn = [(kind, *draw(kind, seed)) for kind in kinds for seed in seeds]
    weights = np.array([before.get(kind, 1.0) for kind, _, _ in drawn])
    return Scores(
        name=name,
        kinds=tuple(kind for kind, _, _ in drawn),
        truths=tuple(truth for _, _, truth in drawn),
        answers=tuple(weigh(batch) for _, batch, _ in drawn),
        weights=weights / weights.sum(),
    )
