"""Scores of stated probabilities: share right, Brier score, log loss, calibration error, calibration curve."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from qc.batch import Batch, Part
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

IN_UNIT = "settling-in-unit"
BIN_EDGES = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.0 + 1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """How good the answers to one set of batches are; every batch has a weight, the weights add up to 1.

    Hidden is what no measurement of the batch can show: settling inside the units of which none was cut.
    """

    name: str
    kinds: tuple[str, ...]
    truths: tuple[Collection[str], ...]
    answers: tuple[Answer, ...]
    weights: NDArray[np.float64]
    hidden: tuple[bool, ...]

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

    def calibration_error(self, *, weighted: bool, shown: bool = False, faults: bool = False) -> float:
        """Mean distance between the stated probability of those named first and the share right, over the bins.

        Of all batches, of those `shown`, whose truth is not hidden, or of those of which `faults` are named first.
        """
        said, right = self._said, self._right
        weights = self.weights if weighted else np.full(said.size, 1.0 / said.size)
        kept = ~(np.array(self.hidden) & shown)
        kept &= np.array([one.first[0] != SOUND or not faults for one in self.answers])
        weights = weights * kept
        total = 0.0
        for low, high in pairwise(BIN_EDGES):
            inside = (said >= low) & (said < high)
            total += abs(float((weights[inside] * (said[inside] - right[inside])).sum()))
        return total / float(weights.sum())


def score(
    name: str, draw: Draw, weigh: Weigh, *, kinds: Sequence[str], seeds: Sequence[int], before: Mapping[str, float]
) -> Scores:
    """Draw one batch a kind and seed, weigh the causes of each, and keep the answers.

    `QC_STUDY_PROCESSES` sets how many batches are weighed at a time (1 when it is not set).
    """
    drawn = [(kind, *draw(kind, seed)) for kind in kinds for seed in seeds]
    with get_context("fork").Pool(int(os.environ.get("QC_STUDY_PROCESSES", "1"))) as pool:
        answers = pool.map(weigh, [batch for _, batch, _ in drawn], chunksize=4)
    weights = np.array([before.get(kind, 1.0) for kind, _, _ in drawn])
    return Scores(
        name=name,
        kinds=tuple(kind for kind, _, _ in drawn),
        truths=tuple(truth for _, _, truth in drawn),
        answers=tuple(answers),
        weights=weights / weights.sum(),
        hidden=tuple(
            kind == IN_UNIT and not any(a.part is not Part.WHOLE for a in batch.assays) for kind, batch, _ in drawn
        ),
    )


def with_unlisted(listed: Scores, others: Sequence[Scores], *, before: Mapping[str, float]) -> Scores:
    """The same, and beside them what is on no list in the share of the prior: right is something else, or its shape."""
    count, total = sum(len(one.kinds) for one in others), sum(before.get(kind, 0.0) for kind in {*listed.kinds})
    share = before[SOMETHING_ELSE] / (total + before[SOMETHING_ELSE])
    unlisted = np.full(count, share / count)
    truths = tuple((*truth, SOMETHING_ELSE) for one in others for truth in one.truths)
    return Scores(
        name=listed.name,
        kinds=(*listed.kinds, *(kind for one in others for kind in one.kinds)),
        truths=(*listed.truths, *truths),
        answers=(*listed.answers, *(answer for one in others for answer in one.answers)),
        weights=np.concatenate([listed.weights * (1.0 - share), unlisted]),
        hidden=(*listed.hidden, *[False] * count),
    )
