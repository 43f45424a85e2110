"""What a sample drawn without replacement says of a whole of known, small size."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from qc.stats.chi_square import normal_cdf
from qc.stats.increasing_root import increasing_root
from qc.stats.quadrature import legendre_points

Array = NDArray[np.float64]


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
    total = math.comb(whole, n)
    ways = sum(
        math.comb(marked, hits) * math.comb(whole - marked, n - hits) for hits in range(min(found, n, marked) + 1)
    )
    return ways / total


def marked_at_most(found: int, *, n: int, whole: int, confidence: float = 0.95) -> int:
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

    >>> marked_at_most(0, n=10, whole=24)
    4
    """
    if not 0 <= found <= n <= whole or n < 1:
        raise ValueError(f"{found} found among {n} of {whole}")
    marked = found
    while marked < whole - (n - found):
        if at_most_in_sample(found, n=n, whole=whole, marked=marked + 1) <= 1.0 - confidence:
            break
        marked += 1
    return marked


def remaining_factor(n: int, *, remaining: int, within: int, confidence: float = 0.95) -> float:
    """The k with which mean plus or minus k SD of n units holds enough of a known number of further units.

    Parameters
    ----------
    n : int
        Units behind mean and SD, at least 2.
    remaining, within : int
        Number of further units of the same normal batch, and how many of them are to lie inside; 1 at least.
    confidence : float
        Chance that so many do [-].

    Returns
    -------
    float
        k, to about six digits [-].

    Raises
    ------
    ValueError
        When a count is too small or `within` exceeds `remaining`.

    References
    ----------
    Prediction intervals to hold at least k of m future observations: Meeker, Hahn & Escobar, Statistical Intervals,
    2nd ed. (2017), chapter 4 and Table J.7. For one further unit, k = t(1 - (1 - confidence)/2, n - 1) sqrt(1 + 1/n).

    Examples
    --------
    >>> round(remaining_factor(10, remaining=1, within=1), 4)  # t of 9 degrees 2.262157 times the root of 1.1
    2.3726
    """
    if n < 2 or not 1 <= within <= remaining or not 0.0 < confidence < 1.0:
        raise ValueError(f"{within} of {remaining} further units from {n} units at a confidence of {confidence:g}")
    offset, sd, weight = _sample_nodes(n)

    def excess(factor: float) -> float:
        inside = normal_cdf(offset + factor * sd) - normal_cdf(offset - factor * sd)
        # Summed from the many to the few, the chance of enough units inside; the terms are all positive.
        chance = sum(
            math.comb(remaining, count) * inside**count * (1.0 - inside) ** (remaining - count)
            for count in range(within, remaining + 1)
        )
        return float((weight * chance).sum()) - confidence

    return increasing_root(excess, start=2.0)


@functools.lru_cache(maxsize=8)
def _sample_nodes(n: int) -> tuple[Array, Array, Array]:
    """Error of the mean and sample SD, in true SDs, on a grid with the weights of their joint density."""
    nodes, weights = legendre_points(48)
    degrees = n - 1
    offset = 8.0 * nodes / math.sqrt(n)
    offset_weight = 8.0 * weights * np.exp(-32.0 * nodes**2) / math.sqrt(2.0 * math.pi)
    end = math.sqrt((degrees + 9.0 * math.sqrt(2.0 * degrees) + 40.0) / degrees)
    sd = 0.5 * end * (1.0 + nodes)
    log_constant = math.log(2.0) + 0.5 * degrees * math.log(0.5 * degrees) - math.lgamma(0.5 * degrees)
    density = np.exp(log_constant + (degrees - 1) * np.log(sd) - 0.5 * degrees * sd**2)
    return offset[:, None], sd[None, :], offset_weight[:, None] * (0.5 * end * weights * density)[None, :]
