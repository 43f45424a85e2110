"""Points and weights at which a smooth function is summed in place of its integral."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

# Newton's steps double the correct digits; from the first guess these are enough for any number of points.
_STEPS = 4


@functools.lru_cache(maxsize=64)
def legendre_points(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points and weights of Gauss and Legendre between -1 and 1.

    numpy has the same in its package of polynomials, which takes longer to load than a batch takes to assure.

    Parameters
    ----------
    count : int
        How many points, at least 1.

    Returns
    -------
    points, weights : array
        Rising points and the weight of each; exact for polynomials of degree 2 count - 1 [-]. They are kept for the
        next question, and cannot be written to.

    References
    ----------
    Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 25.4.29 (points and weights), 22.7.10 (recurrence)
    and 22.16.6 (first guess).

    Examples
    --------
    >>> points, weights = legendre_points(2)
    >>> points.round(9).tolist(), weights.round(9).tolist()
    ([-0.577350269, 0.577350269], [1.0, 1.0])
    """
    nearer = 1.0 - 1.0 / (8.0 * count**2) + 1.0 / (8.0 * count**3)
    points = -nearer * np.cos(np.pi * (np.arange(count) + 0.75) / (count + 0.5))
    slope = np.ones(count)
    for _ in range(_STEPS):
        before, value = np.ones(count), points
        for degree in range(2, count + 1):
            before, value = value, ((2 * degree - 1) * points * value - (degree - 1) * before) / degree
        slope = count * (points * value - before) / (points**2 - 1.0)
        points = points - value / slope
    return _kept(points, 2.0 / ((1.0 - points**2) * slope**2))


@functools.lru_cache(maxsize=8)
def hermite_points(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points and weights for the mean of a function of a standard normal variable.

    Parameters
    ----------
    count : int
        How many points, at least 1.

    Returns
    -------
    points, weights : array
        Rising points, and weights that add up to 1 [-]; kept as those of `legendre_points` are.

    References
    ----------
    Golub and Welsch, Mathematics of Computation 23 (1969), 221: the points are the eigenvalues of the recurrence, the
    weights the squares of the first parts of its eigenvectors (from memory).

    Examples
    --------
    >>> points, weights = hermite_points(2)
    >>> points.round(9).tolist(), weights.round(9).tolist()
    ([-1.0, 1.0], [0.5, 0.5])
    """
    beside = np.sqrt(np.arange(1.0, count))
    points, vectors = np.linalg.eigh(np.diag(beside, 1) + np.diag(beside, -1))
    return _kept(points, vectors[0] ** 2)


def _kept(points: NDArray[np.float64], weights: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    for one in (points, weights):
        one.flags.writeable = False
    return points, weights
