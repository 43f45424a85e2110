"""Evenly spread points for numerical integration, and normal quantiles without a statistics library."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from qc.causes.rows import Floats


def normal_quantile(share: Floats) -> Floats:
    """Standard normal quantiles [-].

    Examples
    --------
    >>> [round(float(score), 3) for score in normal_quantile(np.array([0.5, 0.975]))]
    [0.0, 1.96]
    """
    inverse = NormalDist().inv_cdf
    flat = [inverse(float(one)) for one in np.ravel(share)]
    return np.array(flat).reshape(np.shape(share))


def quasi_random_points(count: int, *, dimensions: int) -> Floats:
    """Points that fill the unit cube evenly, the same ones every time.

    The additive recurrence of Roberts (2018): steps by powers of the inverse of the root of x^(d+1) = x + 1.

    Returns
    -------
    array of shape (count, dimensions)
        Between 0 and 1, exclusive.

    Examples
    --------
    >>> quasi_random_points(3, dimensions=1).round(3).ravel().tolist()
    [0.118, 0.736, 0.354]
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1.0)
    points = (0.5 + np.arange(1, count + 1)[:, None] * steps[None, :]) % 1.0
    return np.clip(points, 1e-6, 1.0 - 1e-6)


def middles(count: int) -> Floats:
    """The middles of equal shares of the unit interval.

    Examples
    --------
    >>> middles(2).tolist()
    [0.25, 0.75]
    """
    return (np.arange(count) + 0.5) / count
