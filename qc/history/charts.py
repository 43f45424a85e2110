"""Charts of one figure from batch to batch: limits that hold from the first batches on, and what counts as a signal.

Each batch is compared with those before it alone: its Q statistic is standard normal as long as nothing changes,
whatever the true mean and spread, so that the false alarms are those of known parameters however few batches there are.
Terms as in ISO 7870-2 (individuals), ISO 7870-4 (CUSUM) and ISO 7870-6 (EWMA).
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from functools import cache
from math import sqrt
from typing import Any

import numpy as np
from msgspec import Struct

from qc.history.change import best_split, split_score, split_squares

D2 = 1.128
"""Mean range of two over their SD, as the tables print it (ISO 7870-2, Montgomery; exact 2 / sqrt(pi))."""
D3 = 0.8525
# So many batches in a row beyond the limit, on one side, are a new level and no longer single batches.
RUN_OF_POINTS = 3
# A split is looked for while a level has few batches, where the others see a change late; with fewer none can be seen.
MOST_SPLIT, FEWEST_SPLIT = 100, 5
ALIKE = 1e-12
SCORE_OF_95 = 1.959964
"""The normal score that 2.5 % lie above."""


class SignalRules(Struct, frozen=True, kw_only=True):
    """What counts as a signal, as a normal score; strictly beyond.

    One batch beyond the limit; EWMA or CUSUM of the scores beyond theirs; two levels that tell the batches far better
    than one, which sees a change after few batches best. All together give a series of which nothing changes a false
    signal once in about 1,000 batches: a test draws such series.
    """

    point: float = 3.8
    ewma_weight: float = 0.2
    ewma: float = 3.6
    cusum_slack: float = 0.5
    cusum: float = 7.4
    split: float = 3.95


RULES = SignalRules()


class BatchValue(Struct, frozen=True, kw_only=True):
    """One batch in a series.

    Parameters
    ----------
    value : float
        What is followed.
    size : float
        Variance of the value from sampling the units of the batch, as a multiple of `within`: 1 / n for a mean.
    within : float
        Variance within the batch.
    """

    value: float
    size: float = 0.0
    within: float = 0.0


class SoFar:
    """What is known of a series so far, and how the next batch compares with it.

    Batches of unequal size count by the inverse of their variance, between batches plus sampling. Where all have the
    same size, the score is the Q statistic for unknown mean and variance of Quesenberry (1991), Journal of Quality
    Technology 23, 213 (formula from memory). Arrays are taken too, one series an element.

    Parameters
    ----------
    squares, free : float, int
        Sum of squares and degrees of freedom of earlier levels: a new level has a new mean, and the spread it had.
    """

    def __init__(self, *, squares: float = 0.0, free: int = 0) -> None:
        self.count, self.weight = 0, 0.0
        self._earlier, self._free = squares, free
        self.mean: Any = 0.0
        self.squares: Any = 0.0
        self._between: Any = 0.0
        self._size = self._within = 0.0
        self._last: BatchValue | None = None

    def relative(self, size: float) -> Any:
        """Variance of a batch of that size over the variance of a usual one [-]."""
        if self.count < 2 or abs(size - self._size / self.count) < ALIKE:
            return 1.0
        between = np.maximum(self._between / (self.count - 1), 0.0)
        usual = between + self._within / self.count * self._size / self.count
        return np.where(
            usual > 0.0, (between + self._within / self.count * size) / np.where(usual > 0.0, usual, 1.0), 1.0
        )

    def score(self, point: BatchValue) -> Any:
        """How the next batch compares with those before it, standard normal if nothing changed; None for two."""
        if self.count < 1 or self.free < 1 or not np.asarray(self.squares + self._earlier > 0.0).all():
            return None
        special = _special()
        t = (point.value - self.mean) / self.spread(point.size)
        # By the lower tail, which keeps its digits far out.
        return -np.sign(t) * special.ndtri(special.stdtr(self.free, -np.abs(t)))

    @property
    def free(self) -> int:
        """Degrees of freedom of the spread."""
        return self.count - 1 + self._free

    def spread(self, size: float) -> Any:
        """SD of the distance of the next batch from the mean so far, of a batch of that size."""
        return np.sqrt((self.squares + self._earlier) / self.free * (self.relative(size) + 1.0 / self.weight))

    def reach(self, size: float, score: float) -> float:
        """How far from the mean so far a batch lies that has this score."""
        return float(_t_of_score(self.free, score) * self.spread(size))

    def add(self, point: BatchValue) -> None:
        """Count a batch with those before."""
        share = self.relative(point.size)
        if self._last is not None:
            sampling = (point.size * point.within + self._last.size * self._last.within) / 2.0
            self._between = self._between + (point.value - self._last.value) ** 2 / 2.0 - sampling
        self.count, self.weight = self.count + 1, self.weight + 1.0 / share
        away = point.value - self.mean
        self.mean = self.mean + away / share / self.weight
        self.squares = self.squares + away * (point.value - self.mean) / share
        self._size, self._within, self._last = self._size + point.size, self._within + point.within, point


@cache
def _t_of_score(free: int, score: float) -> float:
    """The t with the same probability below it as a normal score; the series of a product ask for the same ones."""
    return float(_special().stdtrit(free, _special().ndtr(score)))


@cache
def _special() -> Any:
    """Loaded once and asked for at each batch: the statement alone would cost as much as a score."""
    from scipy import special

    return special


class Watch:
    """EWMA and CUSUM of a series of scores; arrays are taken too."""

    def __init__(self, rules: SignalRules = RULES) -> None:
        self.rules, self.count = rules, 0
        self.ewma: Any = 0.0
        self.upper: Any = 0.0
        self.lower: Any = 0.0

    @property
    def ewma_limit(self) -> float:
        """The exact limit of the EWMA after so many scores."""
        weight = self.rules.ewma_weight
        return self.rules.ewma * sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * self.count)))

    def take(self, score: Any) -> Any:
        """Count a score; whether EWMA or CUSUM lies beyond its limit."""
        rules = self.rules
        self.count += 1
        self.ewma = self.ewma + rules.ewma_weight * (score - self.ewma)
        self.upper = np.maximum(self.upper + score - rules.cusum_slack, 0.0)
        self.lower = np.maximum(self.lower - score - rules.cusum_slack, 0.0)
        beyond = np.maximum(self.upper, self.lower) > rules.cusum
        return beyond | (np.abs(self.ewma) > self.ewma_limit)


class Followed(Struct, frozen=True, kw_only=True):
    """A series as it was followed.

    Parameters
    ----------
    scores, low, high : tuple of float or None
        Q statistic of each batch, and between which values it would have been no signal; None up to the second of a
        level.
    beyond : tuple of int
        Places of single batches beyond the limit.
    levels : tuple of int
        Where each level begins; the first at 0.
    seen : tuple of int
        At which batch each new level was seen.
    level, spread, free : float, float, int
        The level now, the SD of the distance of the next batch from it if nothing changes, and its degrees of freedom.
    """

    scores: tuple[float | None, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    beyond: tuple[int, ...]
    levels: tuple[int, ...]
    seen: tuple[int, ...]
    level: float
    spread: float
    free: int

    def outlook(self, score: float) -> float:
        """The value that the next batch lies below with the probability of a normal score, if nothing changes."""
        return self.level + _t_of_score(self.free, score) * self.spread


def follow(points: Sequence[BatchValue], *, rules: SignalRules = RULES) -> Followed:
    """Follow a series from its first batch; after a signal it goes on from the level that began there.

    A batch beyond the limit alone is set aside and is not counted with the others; three in a row on one side are a new
    level. Where EWMA or CUSUM signals, the new level begins where the change most likely was.
    """
    reference, watch = SoFar(), Watch(rules)
    values, weights = np.array([point.value for point in points]), np.zeros(len(points))
    scores: list[float | None] = []
    ends: list[tuple[float | None, float | None]] = []
    beyond, above, levels, seen = list[int](), set[int](), [0], list[int]()
    squares, free = 0.0, 0
    for place, point in enumerate(points):
        found = reference.score(point)
        score = None if found is None else float(found)
        scores.append(score)
        reach = None if score is None else reference.reach(point.size, rules.point)
        mean = float(reference.mean)
        ends.append((None, None) if reach is None else (mean - reach, mean + reach))
        begins, up = None, score is not None and score > 0.0
        if score is not None and abs(score) > rules.point:
            beyond.append(place)
            above |= {place} if up else set()
            begins = _run(beyond, above, last=place)
        else:
            weights[place] = 1.0 / float(reference.relative(point.size))
            reference.add(point)
            first = max(levels[-1], place + 1 - 2 * MOST_SPLIT)
            told = {"weights": weights[first : place + 1]}
            newest = values[first : place + 1]
            signal = score is not None and bool(watch.take(score))
            few = FEWEST_SPLIT <= reference.count <= MOST_SPLIT
            if signal or (few and split_score(newest, **told) > rules.split):
                begins = first + best_split(newest, **told)
                # Those beyond the limit weigh nothing here; both sides are multiplied out.
                before, after = slice(first, begins), slice(begins, place + 1)
                sums = [float(weights[part] @ values[part]) for part in (before, after)]
                up = sums[1] * weights[before].sum() > sums[0] * weights[after].sum()
                # Batches next to it that were beyond the limit on the same side belong to the new level.
                while begins not in (place, first) and begins in beyond:
                    begins += 1
                while begins - 1 in beyond and (begins - 1 in above) == up:
                    begins -= 1
        if begins is not None:
            # One that lies off to the other side is no batch of the new level either.
            aside = [one for one in beyond if one >= begins and (one in above) != up]
            beyond = [one for one in beyond if one < begins or one in aside]
            levels.append(begins)
            seen.append(place)
            counted = weights[levels[-2] : begins]
            count = int(np.count_nonzero(counted))
            squares += float(split_squares(values[levels[-2] : begins], weights=counted)[1]) if count else 0.0
            free += max(count - 1, 0)
            reference, watch = SoFar(squares=squares, free=free), Watch(rules)
            for again in (one for one in range(begins, place + 1) if one not in aside):
                weights[again] = 1.0 / float(reference.relative(points[again].size))
                reference.add(points[again])
    low, high = zip(*ends, strict=True) if ends else ((), ())
    usual = float(np.mean([point.size for point in points])) if points else 0.0
    return Followed(
        level=float(reference.mean),
        spread=float(reference.spread(usual)) if reference.count and reference.free > 0 else 0.0,
        free=reference.free,
        scores=tuple(scores),
        low=low,
        high=high,
        beyond=tuple(beyond),
        levels=tuple(levels),
        seen=tuple(seen),
    )


def _run(beyond: Sequence[int], above: Set[int], *, last: int) -> int | None:
    """Where a run of batches beyond the limit on one side began, once it is long enough for a level."""
    run = range(last - RUN_OF_POINTS + 1, last + 1)
    if list(beyond[-RUN_OF_POINTS:]) != list(run):
        return None
    return run[0] if len({one in above for one in run}) == 1 else None


class Individuals(Struct, frozen=True, kw_only=True):
    """The ordinary chart of individuals and moving ranges (ISO 7870-2): mean, limits, limit of the moving range."""

    mean: float
    low: float
    high: float
    range_high: float


def individuals(values: Sequence[float], *, d2: float = D2) -> Individuals:
    """Three-sigma limits from the mean moving range of two.

    Examples
    --------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rates: 50.81, 45.8159 and 55.8041 are printed.

    >>> flow = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> [round(one, 4) for one in (flow.mean, flow.low, flow.high)]
    [50.81, 45.8159, 55.8041]
    """
    moving = float(np.abs(np.diff(values)).mean())
    mean, reach = float(np.mean(values)), 3.0 * moving / d2
    return Individuals(mean=mean, low=mean - reach, high=mean + reach, range_high=moving * (1.0 + 3.0 * D3 / d2))
