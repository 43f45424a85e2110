"""Points and weights at which a smooth function is summed in place of its integral."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.arrays import Floats


@functools.lru_cache(maxsize=64)
def legendre_points(count: int) -> tuple[Floats, Floats]:
    """Points and weights of Gauss and Legendre between -1 and 1.

    numpy has the same in its package of polynomials, which takes longer to load than a batch takes to assure.

    Parameters
    ----------
    count : int
        How many points, at least 1.

    Returns
    -------
    points, weights : array, one a point
        Rising points and the weight of each; exact for polynomials of degree 2 count - 1 [-]. They are kept for the
        next question, and cannot be written to.

    References
    ----------
    The recurrence: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 22.7.10.

    Examples
    --------
    >>> points, weights = legendre_points(2)
    >>> points.round(9).tolist(), weights.round(9).tolist()
    ([-0.577350269, 0.577350269], [1.0, 1.0])
    """
    degree = np.arange(1.0, count)
    return _of_recurrence(degree / np.sqrt(4.0 * degree**2 - 1.0), total=2.0)


@functools.lru_cache(maxsize=8)
def hermite_points(count: int) -> tuple[Floats, Floats]:
    """Points and weights for the mean of a function of a standard normal variable.

    Parameters
    ----------
    count : int
        How many points, at least 1.

    Returns
    -------
    points, weights : array, one a point
        Rising points, and weights that add up to 1 [-]; kept as those of `legendre_points` are.

    References
    ----------
    The recurrence: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 22.7.14.

    Examples
    --------
    >>> points, weights = hermite_points(2)
    >>> points.round(9).tolist(), weights.round(9).tolist()
    ([-1.0, 1.0], [0.5, 0.5])
    """
    return _of_recurrence(np.sqrt(np.arange(1.0, count)), total=1.0)


def _of_recurrence(beside: Floats, *, total: float) -> tuple[Floats, Floats]:
    """Points and weights from the coefficients of a recurrence; the weights add up to `total`.

    References
    ----------
    Golub and Welsch, Mathematics of Computation 23 (1969), 221: the points are the eigenvalues of the recurrence, the
    weights the squares of the first parts of its eigenvectors (from memory).
    """
    points, vectors = np.linalg.eigh(np.diag(beside, 1) + np.diag(beside, -1))
    weights = total * vectors[0] ** 2
    for one in (points, weights):
        one.flags.writeable = False
    return points, weights


def legendre_between(start: ArrayLike, end: ArrayLike, *, count: int) -> tuple[Floats, Floats]:
    """The points and weights of `legendre_points` on stretches with any ends.

    Parameters
    ----------
    start, end : array_like, ...
        Ends of each stretch, broadcast against each other, in any unit.
    count : int
        Points a stretch, at least 1.

    Returns
    -------
    points, weights : array, ... x count
        In the unit of the ends; the points of a single stretch stand in one dimension.

    Examples
    --------
    >>> points, weights = legendre_between(0.0, [2.0, 4.0], count=2)
    >>> points.round(3).tolist(), weights.round(3).tolist()
    ([[0.423, 1.577], [0.845, 3.155]], [[1.0, 1.0], [2.0, 2.0]])
    """
    nodes, weights = legendre_points(count)
    first = np.asarray(start, dtype=np.float64)[..., None]
    half = 0.5 * (np.asarray(end, dtype=np.float64)[..., None] - first)
    return first + half * (1.0 + nodes), half * weights
