"""Normal intervals, mean plus or minus k SD of a sample: for a share of the population, or for some of a known rest.

Exact for both, by one integral over the error of the mean; no approximation after Howe or Natrella.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from qc.stats.chi_square import chi_square_cdf, error_function, normal_cdf, normal_density
from qc.stats.quadrature import legendre_between

Array = NDArray[np.float64]

_REACH, _REST_REACH, _WIDEST = 8.5, 6.0, 6.5
"""Beyond so many true SDs the error of the mean, the same for a known rest, and a single unit no longer count."""

_FALL = 25.0
"""Fall of a log density below its top, from which on it is left out of a sum."""


def two_sided_factor(n: int, *, coverage: float, confidence: float) -> float:
    """The factor k of the two-sided tolerance interval, mean - k s to mean + k s.

    Parameters
    ----------
    n : int
        Number of units behind mean and SD, at least 2.
    coverage : float
        Share of the population that the interval is to hold [-].
    confidence : float
        Chance that it does [-].

    Returns
    -------
    float
        k, to about nine digits [-].

    Raises
    ------
    ValueError
        When n is below 2, or a share is not between 0 and 1.

    References
    ----------
    ISO 16269-6:2014, Statistical interpretation of data, part 6, Annex F (factors rounded up to four decimals).
    Meeker, Hahn & Escobar, Statistical Intervals, 2nd ed. (2017), Table J.5b.

    Examples
    --------
    >>> two_sided_factor(8, coverage=0.90, confidence=0.90)  # printed in Annex F, rounded up: 2.7542
    2.754143...
    """
    if n < 2:
        raise ValueError(f"a tolerance interval from {n} units; at least 2 are needed")
    for name, share in (("coverage", coverage), ("confidence", confidence)):
        if not 0.0 < share < 1.0:
            raise ValueError(f"a {name} of {share}; a number between 0 and 1 is needed")
    # The integrand is even in the error of the mean: the upper half does for both.
    error, weight = (part.ravel() for part in legendre_between([0.0, 0.5 * _REACH], [0.5 * _REACH, _REACH], count=20))
    distance = half_width(
        error / math.sqrt(n), share=coverage, begin=NormalDist().inv_cdf(0.5 * (1.0 + coverage)), step=1e-13
    )
    return _factor(distance, 2.0 * weight * normal_density(error), degrees=n - 1, confidence=confidence)


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
        raise ValueError(f"{within} of {remaining} further units from {n} units at a confidence of {confidence}")
    # The integrand is even in the error of the mean: the upper half does for both.
    error, error_weight = legendre_between(0.0, _REST_REACH, count=12)
    # The more units are behind the SD, the sharper the edge that the sum over widths has to follow.
    width, width_weight = _nearest_share(remaining, within, nodes=20 + 5 * math.isqrt(n))
    held = error_function(width[None, :] / math.sqrt(2.0))
    distance = half_width(error[:, None] / math.sqrt(n), share=held, begin=width[None, :], step=1e-5)
    weight = 2.0 * (error_weight * normal_density(error))[:, None] * width_weight[None, :]
    return _factor(distance, weight, degrees=n - 1, confidence=confidence)


def _factor(distance: Array, weight: Array, *, degrees: int, confidence: float) -> float:
    """The k with which s k reaches the distances [true SD], weighed by their chances, with the confidence wanted.

    Raises
    ------
    ValueError
        When the confidence is so near to 1 that floats cannot tell what is missing.
    """
    if confidence > 1.0 - 1e-12:
        raise ValueError(f"no factor is found for a confidence of {confidence}; ask for less")
    # What one distance, their mean, would ask for, by the quantile of chi-square after Wilson and Hilferty.
    spread = 2.0 / (9.0 * degrees)
    shrunk = 1.0 - spread + NormalDist().inv_cdf(1.0 - confidence) * math.sqrt(spread)
    factor = float((weight * distance).sum()) / math.pow(max(shrunk, 0.1), 1.5)
    half = 0.5 * degrees
    # Newton's steps between logarithms, where the chance that is missing falls along a nearly straight line.
    for _ in range(60):
        squares = half * (distance / factor) ** 2
        missing = 1.0 - float((weight * (1.0 - chi_square_cdf(2.0 * squares, degrees=degrees))).sum())
        fall = 2.0 * float((weight * np.exp(half * np.log(squares) - squares - math.lgamma(half))).sum())
        # From below the step goes too far, at worst to where nothing is missing any more: so far and no farther.
        step = missing / fall * math.log(missing / (1.0 - confidence)) if min(missing, fall) > 1e-14 else -0.3
        factor *= math.exp(max(-0.3, min(0.5, step)))
        if abs(step) < 1e-7:
            break
    return factor


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
    for _ in range(3):
        places = np.linspace(low, high, 402)
        seen = log_density(places[1:-1])
        (found,) = np.nonzero(seen > seen.max() - _FALL)
        low, high = float(places[found[0]]), float(places[found[-1] + 2])
    width, weights = legendre_between(low, high, count=nodes)
    logs = log_density(width)
    density = weights * np.exp(logs - logs.max())
    return width, density / density.sum()


def half_width(offset: Array, *, share: Array | float, begin: Array | float, step: float) -> Array:
    """Half the width of an interval about `offset` that holds a share of a standard normal.

    Parameters
    ----------
    offset : array of any shape
        How far the middle of the interval lies from the mean [SD].
    share : array or float
        Share to be held, between 0 and 1 [-].
    begin : array or float
        Half the width of the interval about the mean that holds it [SD].
    step : float
        A last step of Halley's smaller than this ends the search; the next would be of the order of its cube [SD].

    Returns
    -------
    array
        In the common shape of offset and share [SD].

    Examples
    --------
    >>> half_width(np.array([0.0, 0.5]), share=0.95, begin=1.96, step=1e-12).round(4).tolist()
    [1.96, 2.1815]
    """
    away = np.abs(offset)
    found: Array = np.clip(begin * (1.0 + 0.5 * away**2), away, begin + away)
    for _ in range(60):
        above, below = offset + found, offset - found
        densities = normal_density(above), normal_density(below)
        slope = densities[0] + densities[1]
        newton = (normal_cdf(above) - normal_cdf(below) - share) / slope
        bend = (below * densities[1] - above * densities[0]) / slope
        moved = newton / np.maximum(1.0 - 0.5 * newton * bend, 0.5)
        found = np.maximum(found - moved, 0.5 * found)
        if float(np.max(np.abs(moved))) < step:
            break
    return found
