"""Permutations of a series: all of them when there are few, drawn ones when there are many."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Up to seven values (5,040 orders) every order is looked at, and the p-value is exact.
MOST_VALUES_IN_FULL = 7
# Values drawn at a time, so that a long series does not fill the memory.
VALUES_AT_A_TIME = 4_000_000
_SEED = 1991


def generator(seed: int, *, stream: int) -> np.random.Generator:
    """A counter-based random generator: same seed and stream, same numbers, on every machine.

    Parameters
    ----------
    seed : int
        The recorded seed, not negative.
    stream : int
        Which of the independent streams of this seed.
    """
    return np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, stream])))


def every_order(levels: Sequence[int]) -> NDArray[np.intp] | None:
    """Index rows of all permutations of up to seven values that may go anywhere; None for more, or for several levels.

    Parameters
    ----------
    levels : sequence of int
        The level of each place (a cavity); one level throughout lets every value go anywhere.
    """
    return _orders(len(levels)) if len(levels) <= MOST_VALUES_IN_FULL and len(set(levels)) == 1 else None


@functools.lru_cache(maxsize=MOST_VALUES_IN_FULL)
def _orders(count: int) -> NDArray[np.intp]:
    return np.array(list(itertools.permutations(range(count))), dtype=np.intp).reshape(-1, count)


def permuted(values: Floats, levels: Sequence[int], *, draws: int, stream: int) -> Iterator[Floats]:
    """A series in drawn orders, values moving only among places of the same level.

    Parameters
    ----------
    values : array
    levels : sequence of int
        The level of each place.
    draws : int
        How many orders.
    stream : int
        Another one draws other orders.

    Yields
    ------
    array, some of the draws x values
        The same for the same values, whatever order they are given in within their level.
    """
    random, labels = generator(_SEED, stream=stream), np.asarray(levels)
    places = [np.flatnonzero(labels == level) for level in dict.fromkeys(levels)]
    at_a_time = max(1, VALUES_AT_A_TIME // len(values))
    for start in range(0, draws, at_a_time):
        rows = np.empty((min(at_a_time, draws - start), len(values)))
        for among in places:
            rows[:, among] = random.permuted(np.tile(np.sort(values[among]), (len(rows), 1)), axis=1)
        yield rows
