"""How many of n normal values lie beyond limits set about their own mean: exact chances by one Fourier integral.

The residuals about the sample mean are distributed as independent standard normal values whose sum happens to be
zero, and are independent of the mean itself. The chance of a pattern of counts is therefore a product of truncated
normal densities, n-fold convoluted and read off at zero, over the same without truncation.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.stats.quadrature import legendre_points

Array = NDArray[np.float64]

_FAR = 9.0
"""A normal value lies farther out than this with a chance below 1e-18."""
_FEW = 10
"""Below so many values the integrand falls slowly, and takes more nodes."""
_PLACES = 40
_PLACES_OF_FEW = 160


def counts_about_own_mean(inner: ArrayLike, outer: ArrayLike, *, n: int, most_inner: int, most_outer: int = 0) -> Array:
    """The chance that exactly 0, 1, ... values lie beyond the inner limit, and not too many beyond the outer one.

    Parameters
    ----------
    inner, outer : array_like
        Limits about the sample mean on both sides, in true SDs; one-dimensional, inner no greater than outer [SD].
    n : int
        Number of values, at least 6.
    most_inner : int
        Greatest count beyond the inner limit that is asked for.
    most_outer : int
        Greatest count allowed beyond the outer limit (these count as beyond the inner one too).

    Returns
    -------
    ndarray
        One row a limit, one column a count from 0 to `most_inner`. The error is below 1e-9 from 10 values on, and
        below 1e-6 from 6 on [-].

    References
    ----------
    The residuals as normal values with a fixed sum: Cramér, Mathematical Methods of Statistics (1946), section 29.3.

    Raises
    ------
    ValueError
        When there are fewer than 6 values; the integral converges too slowly for them.

    Examples
    --------
    >>> counts_about_own_mean([2.0], [3.0], n=20, most_inner=2).round(4).tolist()
    [[0.4462, 0.3425, 0.1315]]
    """
    if n < 6:
        raise ValueError(f"counts among {n} values; at least 6 are needed")
    inside = np.clip(np.atleast_1d(np.asarray(inner, dtype=np.float64)), 0.0, _FAR)
    allowed = np.clip(np.atleast_1d(np.asarray(outer, dtype=np.float64)), inside, _FAR)
    result = np.zeros((inside.size, most_inner + 1))
    for row, (near, far) in enumerate(zip(inside, allowed, strict=True)):
        if near > 0.0:
            result[row] = _counts(float(near), float(far), n, most_inner, most_outer)
    return np.clip(result, 0.0, 1.0)


def _counts(near: float, far: float, n: int, most_inner: int, most_outer: int) -> list[float]:
    # The period of the sum is nine of its SDs: what wraps around has a chance below 1e-17.
    step = 2.0 * math.pi / (9.0 * math.sqrt(n))
    # The integrand falls as a normal density for wide limits, and as a power of 1/t for narrow ones.
    end = 3.0 + (14.0 if n >= _FEW else 60.0) / near
    frequency: Array = step * np.arange(int(end / step) + 1, dtype=np.float64)
    weight = np.full(frequency.shape, step / math.pi)
    weight[0] *= 0.5
    places = _PLACES if n >= _FEW else _PLACES_OF_FEW
    within = _transform(0.0, near, frequency, places)
    between = _transform(near, far, frequency, places)
    beyond = np.exp(-0.5 * frequency**2) - within - between if most_outer > 0 else np.zeros(frequency.shape)
    scale = math.sqrt(2.0 * math.pi * n)
    chances = []
    for count in range(most_inner + 1):
        total = np.zeros(frequency.shape)
        for farther in range(min(most_outer, count) + 1):
            ways = math.comb(n, count) * math.comb(count, farther)
            total = total + ways * within ** (n - count) * between ** (count - farther) * beyond**farther
        chances.append(scale * float(weight @ total))
    return chances


def _transform(start: float, end: float, frequency: Array, places: int) -> Array:
    """Integral of the normal density times cos(tz) over start < |z| <= end, at each frequency t."""
    if end <= start:
        return np.zeros(frequency.shape)
    nodes, weights = legendre_points(places)
    half = 0.5 * (end - start)
    z = 0.5 * (start + end) + half * nodes
    density = half * weights * np.exp(-0.5 * z**2) * (2.0 / math.sqrt(2.0 * math.pi))
    return np.asarray(np.cos(frequency[:, None] * z) @ density)
