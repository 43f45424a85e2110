"""Bounds from a count in a sample: on a proportion, and on the number in a whole of known, small size.

Exact by the binomial distribution, and by the hypergeometric one where the sample is drawn without replacement.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from fractions import Fraction

from qc.stats.increasing_root import increasing_root


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


def share_of_samples(
    size: int, *, drawn: int, hits: int, graver: int = 0, most_hits: int, most_graver: int = 0
) -> Fraction:
    """The share of all samples of a whole that hold few enough hits: the hypergeometric distribution, exact.

    Parameters
    ----------
    size, drawn : int
        Units of the whole and of a sample [-].
    hits, graver : int
        Hits in the whole, and those of them that are grave [-].
    most_hits, most_graver : int
        How many of each a sample may hold [-].

    Returns
    -------
    Fraction
        Between 0 and 1 [-].

    Examples
    --------
    Of the samples of 2 of 4, half hold exactly one given unit.

    >>> share_of_samples(4, drawn=2, hits=1, most_hits=0), share_of_samples(4, drawn=2, hits=1, graver=1, most_hits=1)
    (Fraction(1, 2), Fraction(1, 2))
    """
    good = sum(
        math.comb(graver, grave)
        * math.comb(hits - graver, light)
        * math.comb(size - hits, max(drawn - grave - light, 0))
        for grave in range(min(most_graver, drawn) + 1)
        for light in range(min(most_hits, drawn) - grave + 1)
    )
    return Fraction(good, math.comb(size, drawn))


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
    unlikely = 1.0 - confidence
    return increasing_root(lambda share: unlikely - binomial_at_most(count, n=n, proportion=share), start=0.5)


def at_most_in_sample(found: int, *, n: int, whole: int, marked: int) -> float:
    """The chance of no more than `found` marked ones in a sample of n, drawn without replacement.

    Parameters
    ----------
    found, n, whole, marked : int
        Count in the sample, size of the sample, size of the whole, and marked ones in the whole [-].

    Returns
    -------
    float
        Hypergeometric chance [-].

    Examples
    --------
    >>> round(at_most_in_sample(0, n=10, whole=24, marked=3), 6)
    0.179842
    """
    if not 0 <= marked <= whole or not 0 <= n <= whole:
        raise ValueError(f"a sample of {n} and {marked} marked ones in a whole of {whole}")
    return float(share_of_samples(whole, drawn=n, hits=marked, most_hits=found))


def hypergeometric_bound(found: int, *, n: int, whole: int, confidence: float = 0.95) -> int:
    """The number of marked ones in a finite whole, bounded from above.

    Parameters
    ----------
    found : int
        Marked ones in the sample.
    n, whole : int
        Size of the sample, drawn at random without replacement, and of the whole.
    confidence : float
        Of the bound, one-sided [-].

    Returns
    -------
    int
        The greatest number in the whole, those found among them, at which so few would still be found with a chance
        above 1 - confidence.

    References
    ----------
    The hypergeometric form of Clopper & Pearson (1934): W. G. Cochran, Sampling Techniques, 3rd ed. (1977),
    section 3.6.

    Examples
    --------
    Of 24 units, 10 are tested and none is outside: no more than 4 units of the 24 may be, at 95 % confidence.

    >>> hypergeometric_bound(0, n=10, whole=24)
    4
    """
    if not 0 <= found <= n <= whole or n < 1:
        raise ValueError(f"{found} found among {n} of {whole}")
    unlikely = round(1.0 - confidence, 12)
    # The more are marked, the less likely so few are found: count those, beyond the found ones, that are likely enough.
    further = range(found + 1, whole - (n - found) + 1)
    return found + bisect_left(
        further, -unlikely, key=lambda marked: -at_most_in_sample(found, n=n, whole=whole, marked=marked)
    )
