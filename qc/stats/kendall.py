"""Kendall's S with its exact distribution, ties and all, and the median slope: a second opinion in plain ranks.

It describes; nothing is called by it, because two tests at 5 % each would call more often than 5 %.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate, combinations
from operator import sub
from statistics import NormalDist, median

from msgspec import Struct


def score(values: Sequence[float]) -> int:
    """Kendall's S: pairs that rise less pairs that fall, in the order given.

    Examples
    --------
    >>> score([1, 2, 3, 3])
    5
    """
    return sum((late > early) - (late < early) for early, late in combinations(values, 2))


def tail(values: Sequence[float]) -> Fraction:
    """The exact chance that a permutation of the values has an |S| at least as great.

    Parameters
    ----------
    values : sequence of float
        In an order without ties; ties among the values are allowed for.

    Returns
    -------
    Fraction
        Two-sided p-value [-].

    References
    ----------
    The number of permutations with k inversions is the coefficient of q^k in the q-multinomial of the tie groups
    (Stanley, Enumerative Combinatorics 1, 2nd ed. 2012, proposition 1.7.1; from memory).

    Examples
    --------
    >>> tail([1, 2, 3, 4])
    Fraction(1, 12)
    """
    counts = inversion_counts(list(Counter(values).values()))
    untied = len(counts) - 1
    observed = abs(score(values))
    extreme = sum(count for inversions, count in enumerate(counts) if abs(untied - 2 * inversions) >= observed)
    return Fraction(extreme, sum(counts))


def inversion_counts(tie_groups: Sequence[int]) -> list[int]:
    """How many permutations of a multiset have 0, 1, 2 ... inversions.

    Parameters
    ----------
    tie_groups : sequence of int
        Number of equal values in each group; empty groups count for nothing.

    Returns
    -------
    list of int
        Counts by number of inversions.

    Examples
    --------
    >>> inversion_counts([1, 1, 1])
    [1, 2, 2, 1]
    """
    total = sum(tie_groups)
    pairs = (total * total - sum(size * size for size in tie_groups)) // 2
    counts = [1] + [0] * pairs
    # Multiply by (1 - q^k) for every k up to the total, divide by the same for every tie group; cut off above `pairs`.
    for k in range(1, total + 1):
        counts[k:] = map(sub, counts[k:], counts)
    for size in filter(None, tie_groups):
        counts = list(accumulate(counts))
        for k in range(2, size + 1):
            for power in range(k, pairs + 1):
                counts[power] += counts[power - k]
    return counts


class MedianSlope(Struct, frozen=True, kw_only=True):
    """The median of the slopes between all pairs, with its interval [unit of the values a step of the order]."""

    slope: float
    low: float
    high: float


def median_slope(order: Sequence[float], values: Sequence[float], *, confidence: float = 0.95) -> MedianSlope | None:
    """Sen's slope with Gilbert's interval.

    Parameters
    ----------
    order, values : sequence of float
        The same length; pairs of the same place are passed over.
    confidence : float

    Returns
    -------
    MedianSlope or None
        None when no two values have different places.

    References
    ----------
    Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, section 16.5 (as described in the working
    formula: ranks (N - C)/2 and (N + C)/2 + 1 with linear interpolation).
    """
    points = list(zip(order, values, strict=True))
    slopes = sorted(
        (late[1] - early[1]) / (late[0] - early[0]) for early, late in combinations(points, 2) if late[0] != early[0]
    )
    if not slopes:
        return None
    n = len(values)
    ties = sum(size * (size - 1) * (2 * size + 5) for size in Counter(values).values())
    variance = (n * (n - 1) * (2 * n + 5) - ties) / 18
    width = NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(variance)
    low, high = (len(slopes) - width) / 2, (len(slopes) + width) / 2 + 1
    return MedianSlope(slope=median(slopes), low=_at_rank(slopes, low), high=_at_rank(slopes, high))


def _at_rank(ordered: Sequence[float], rank: float) -> float:
    """The value at a rank counted from 1, between two ranks by proportion, at the ends the end value."""
    place = min(max(rank, 1.0), float(len(ordered))) - 1
    below = int(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])
