"""Permutations of a series: all of them when there are few, drawn ones when there are many."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.stats.arrays import Floats

# Up to seven values (5,040 orders) every order is looked at, and the p-value is exact.
MOST_VALUES_IN_FULL = 7
# Values drawn at a time, so that a long series does not fill the memory.
VALUES_AT_A_TIME = 4_000_000
# Orders of no more places than this are kept for the next series of as many values, and looked at in handier parts.
MOST_KEPT, IN_CACHE = 1_000_000, 100_000
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
    ordered = np.empty(len(values))
    for among in _by_level(levels):
        ordered[among] = np.sort(values[among])
    if draws * len(values) > MOST_KEPT:
        yield from (ordered[places] for places in _drawn(levels, draws, stream))
        return
    kept, few = _kept(tuple(levels), draws, stream), max(1, IN_CACHE // len(values))
    for start in range(0, draws, few):
        yield ordered[kept[start : start + few]]


def _by_level(levels: Sequence[int]) -> list[NDArray[np.intp]]:
    labels = np.asarray(levels)
    return [np.flatnonzero(labels == level) for level in dict.fromkeys(levels)]


def _drawn(levels: Sequence[int], draws: int, stream: int) -> Iterator[NDArray[np.integer]]:
    """Which place each place of a drawn order takes its value from."""
    random, at_a_time = generator(_SEED, stream=stream), max(1, VALUES_AT_A_TIME // len(levels))
    for start in range(0, draws, at_a_time):
        places = np.empty((min(at_a_time, draws - start), len(levels)), dtype=np.min_scalar_type(len(levels)))
        for among in _by_level(levels):
            places[:, among] = random.permuted(np.tile(among.astype(places.dtype), (len(places), 1)), axis=1)
        yield places


@functools.lru_cache(maxsize=32)
def _kept(levels: tuple[int, ...], draws: int, stream: int) -> NDArray[np.integer]:
    return next(_drawn(levels, draws, stream))
