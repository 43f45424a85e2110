"""What a sample drawn without replacement says of a whole of known, small size."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

from qc.stats.chi_square import chi_square_cdf, error_function
from qc.stats.off_centre import half_width
from qc.stats.quadrature import legendre_points

Array = NDArray[np.float64]

_REACH, _WIDEST = 6.0, 6.5
"""Beyond so many true SDs neither the error of the mean nor a single unit counts."""

_FALL = 25.0
"""Fall of a log density below its top, from which on it is left out of a sum."""

_LOOKS = 3

_MEAN_NODES = 12

_LONGEST_STEP = 0.7
"""Of the logarithm of a factor; far from the root the slope says little."""


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
    # The more are marked, the less likely so few are found: halve the range until one count is left.
    low, high = found, whole - (n - found)
    while low < high:
        middle = (low + high + 1) // 2
        if at_most_in_sample(found, n=n, whole=whole, marked=middle) > unlikely:
            low = middle
        else:
            high = middle - 1
    return low


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
        k, to about six digits at a confidence of 95 %, four at 50 % [-].

    Raises
    ------
    ValueError
        When a count is too small or `within` exceeds `remaining`.

    Notes
    -----
    Of `remaining` units, `within` lie inside just when the one that is the `within`-th nearest to the middle does. The
    share of the population nearer to the middle than that one is Beta(within, remaining - within + 1), whatever the
    sample; the sum runs over that share and over the error of the sample mean.

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
    return _remaining_factor(n, remaining, within, confidence)


@functools.lru_cache(maxsize=64)
def _remaining_factor(n: int, remaining: int, within: int, confidence: float) -> float:
    nodes, weights = legendre_points(_MEAN_NODES)
    error = 0.5 * _REACH * (1.0 + nodes)
    # The integrand is even in the error of the mean: the upper half does for both.
    error_weight = _REACH * weights * np.exp(-0.5 * error**2) / math.sqrt(2.0 * math.pi)
    # The more units are behind the SD, the sharper the edge that the sum over widths has to follow.
    width, width_weight = _nearest_share(remaining, within, nodes=20 + 5 * math.isqrt(n))
    held = error_function(width[None, :] / math.sqrt(2.0))
    distance = half_width(error[:, None] / math.sqrt(n), share=held, begin=width[None, :], step=1e-5)
    weight = error_weight[:, None] * width_weight[None, :]

    half = 0.5 * (n - 1)
    factor, low, high = 2.4, 0.0, math.inf
    # Against the logarithm of the factor, that of the chance to miss is nearly straight: few of Newton's steps do.
    for _ in range(60):
        reach = (n - 1) * (distance / factor) ** 2
        missed = max(1.0 - float((weight * (1.0 - chi_square_cdf(reach, degrees=n - 1))).sum()), 1e-12)
        density = np.exp(half * np.log(0.5 * reach) - 0.5 * reach - math.lgamma(half))
        gain = 2.0 * float((weight * density).sum())
        step = math.log(missed / (1.0 - confidence)) * missed / max(gain, 1e-12)
        if abs(step) < 1e-6:
            return factor * math.exp(step)
        low, high = (factor, high) if step > 0.0 else (low, factor)
        factor *= math.exp(min(max(step, -_LONGEST_STEP), _LONGEST_STEP))
        # Of a large sample the chance falls so steeply that a step may leap over it, and back again.
        if not low < factor < high:
            factor = math.sqrt(low * high)
    raise ValueError(f"no factor is found for a confidence of {confidence!r}; ask for less")


def _nearest_share(remaining: int, within: int, *, nodes: int) -> tuple[Array, Array]:
    """Half widths of the normal interval that ends at the `within`-th nearest unit, and the weights of their density.

    Widths stand in true SDs about the true mean.
    """

    def log_density(width: Array) -> Array:
        # But for a constant: the weights add up to 1 in the end.
        share = error_function(width / math.sqrt(2.0))
        rest = (remaining - within) * np.log(np.maximum(1.0 - share, 1e-300))
        return np.asarray((within - 1) * np.log(share) + rest - 0.5 * width**2)

    low, high = 0.0, _WIDEST
    # Of very many units the share is so sure that its density stands between two places of the first look.
    for _ in range(_LOOKS):
        places = np.linspace(low, high, 402)
        seen = log_density(places[1:-1])
        (found,) = np.nonzero(seen > seen.max() - _FALL)
        low, high = float(places[found[0]]), float(places[found[-1] + 2])
    points, weights = legendre_points(nodes)
    width = low + 0.5 * (high - low) * (1.0 + points)
    logs = log_density(width)
    density = weights * np.exp(logs - logs.max())
    return width, density / density.sum()
