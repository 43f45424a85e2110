"""Normal tolerance factors: mean plus or minus k SD holds a share of the population, with a stated confidence.

Exact for both kinds of interval, by one integral over the error of the mean; no approximation after Howe or Natrella.
"""

from __future__ import annotations

import functools
import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from qc.stats.chi_square import chi_square_cdf
from qc.stats.increasing_root import increasing_root
from qc.stats.off_centre import half_width
from qc.stats.quadrature import legendre_points

Array = NDArray[np.float64]

_REACH = 8.5


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
    _refuse_impossible(n, coverage, confidence)
    return _two_sided(n, coverage, confidence)


@functools.lru_cache(maxsize=64)
def _two_sided(n: int, coverage: float, confidence: float) -> float:
    # The integrand is even in the error of the mean: the upper half does for both.
    z, weight = _normal_nodes(0.0, panels=2)
    width = half_width(z / math.sqrt(n), share=coverage, begin=NormalDist().inv_cdf(0.5 * (1.0 + coverage)), step=1e-13)
    return _factor(width, 2.0 * weight, degrees=n - 1, confidence=confidence)


def _refuse_impossible(n: int, coverage: float, confidence: float) -> None:
    if n < 2:
        raise ValueError(f"a tolerance interval from {n} units; at least 2 are needed")
    for name, share in (("coverage", coverage), ("confidence", confidence)):
        if not 0.0 < share < 1.0:
            raise ValueError(f"a {name} of {share}; a number between 0 and 1 is needed")


def _normal_nodes(start: float, *, panels: int) -> tuple[Array, Array]:
    """Nodes and weights over a standard normal variable from `start` upward."""
    nodes, weights = legendre_points(20)
    edges = np.linspace(start, _REACH, panels + 1)
    half = 0.5 * np.diff(edges)[:, None]
    z = (0.5 * (edges[:-1] + edges[1:])[:, None] + half * nodes).ravel()
    return z, (half * weights).ravel() * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)


def _factor(distance: Array, weight: Array, *, degrees: int, confidence: float) -> float:
    """The k with which s k reaches the distance (in true SDs) with the chance wanted."""

    def excess(factor: float) -> float:
        reached = 1.0 - chi_square_cdf(degrees * (distance / factor) ** 2, degrees=degrees)
        return float(weight @ reached) - confidence

    return increasing_root(excess, start=1.0)
