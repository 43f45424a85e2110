"""Permutations of a series: all of them when there are few, a seeded draw when there are many."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.intp]

# Up to seven values (5,040 orders) every order is looked at, and the p-value is exact.
MOST_VALUES_IN_FULL = 7


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


def permutations(levels: Sequence[int], *, draws: int, random: np.random.Generator) -> Rows:
    """Index rows that permute a series, values moving only among places of the same level.

    Parameters
    ----------
    levels : sequence of int
        The level of each place (a cavity); one level throughout lets every value go anywhere.
    draws : int
        How many rows to draw when not all orders are looked at.
    random : numpy Generator

    Returns
    -------
    array, permutations x places
        Row by row, which value stands at each place. The observed order is the first row.

    References
    ----------
    The observed order counts among those drawn, so that no p-value is zero: Phipson and Smyth, Permutation p-values
    should never be zero, Statistical Applications in Genetics and Molecular Biology 9 (2010) article 39 (from memory).
    """
    places = len(levels)
    if len(set(levels)) == 1 and places <= MOST_VALUES_IN_FULL:
        return np.array(list(itertools.permutations(range(places))), dtype=np.intp).reshape(-1, places)
    by_level = [np.flatnonzero(np.asarray(levels) == level) for level in sorted(set(levels))]
    if math.prod(math.factorial(len(places_of)) for places_of in by_level) == 1:
        return np.arange(places)[None, :]
    rows = np.tile(np.arange(places), (draws + 1, 1))
    for places_of in by_level:
        if len(places_of) > 1:
            drawn = random.random((draws, len(places_of))).argsort(axis=1)
            rows[1:, places_of] = places_of[drawn]
    return rows


def share_at_least(statistics: NDArray[np.float64]) -> NDArray[np.float64]:
    """For each entry, the share of all entries that are at least as great: its p-value among the permutations.

    Parameters
    ----------
    statistics : array
        One statistic a permutation, the observed one among them.

    Returns
    -------
    array
        Shares between 1/number and 1 [-]. Entries equal up to the last digits of a float count as equal.

    Examples
    --------
    >>> share_at_least(np.array([3.0, 1.0, 2.0, 2.0])).tolist()
    [0.25, 1.0, 0.75, 0.75]
    """
    # Two orders of the same sum differ in the last digits only: they are ties, and a tie counts against the finding.
    level = np.round(statistics, 10)
    ordered = np.sort(level)
    return (len(level) - np.searchsorted(ordered, level, side="left")) / len(level)
