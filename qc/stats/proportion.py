"""Bounds on a proportion from a count, exact for the binomial."""

from __future__ import annotations

import math


def binomial_at_most(count: int, *, n: int, proportion: float) -> float:
    """The chance of at most `count` hits in `n` independent tries: the binomial distribution.

    Parameters
    ----------
    count, n : int
        Hits and tries [-].
    proportion : float
        Chance of a hit in one try [-].

    Returns
    -------
    float
        Between 0 and 1 [-].

    Examples
    --------
    >>> round(binomial_at_most(1, n=10, proportion=0.1), 6)
    0.736099
    """
    return math.fsum(
        math.comb(n, hits) * proportion**hits * (1 - proportion) ** (n - hits) for hits in range(min(count, n) + 1)
    )


def upper_bound(count: int, *, n: int, confidence: float) -> float:
    """The one-sided upper confidence bound of a proportion, after Clopper and Pearson.

    Parameters
    ----------
    count, n : int
        Hits and tries, 0 <= count <= n, n >= 1 [-].
    confidence : float
        Between 0 and 1 [-].

    Returns
    -------
    float
        The largest proportion at which so few hits would still happen with chance 1 - confidence [-].

    References
    ----------
    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413.

    Examples
    --------
    >>> round(upper_bound(0, n=10, confidence=0.95), 4)
    0.2589
    """
    if not 0 <= count <= n or n < 1:
        raise ValueError(f"{count} hits in {n} tries")
    if count == n:
        return 1.0
    low, high = 0.0, 1.0
    while high - low > 1e-15:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if binomial_at_most(count, n=n, proportion=middle) > 1 - confidence:
            low = middle
        else:
            high = middle
    return (low + high) / 2
