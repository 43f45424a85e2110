"""The beta distribution of one pair of parameters at a great many values: a fine table, interpolated."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 12000


def beta_cdf(values: Array, *, a: float, b: float) -> Array:
    """The chance that a beta variable is no greater than each value.

    Parameters
    ----------
    values : ndarray
        Values; below 0 and above 1 give 0 and 1 [-].
    a, b : float
        Parameters, both at least 1.

    Returns
    -------
    ndarray
        Chances, absolute error below 3e-7 for parameters up to 50 [-].

    Examples
    --------
    >>> beta_cdf(np.array([0.0, 0.5, 1.0]), a=2.0, b=2.0).round(6).tolist()
    [0.0, 0.5, 1.0]
    """
    at, chance = _table(a, b)
    return np.interp(values, at, chance)


@functools.lru_cache(maxsize=32)
def _table(a: float, b: float) -> tuple[Array, Array]:
    """Values, crowded toward both ends, and their chances."""
    if a < 1.0 or b < 1.0:
        raise ValueError(f"a beta distribution with {a:g} and {b:g}; both must be at least 1")
    # With value = sin^2(angle) the density is a product of powers of sine and cosine, smooth up to both ends.
    angle = np.linspace(0.0, 0.5 * math.pi, 2 * _STEPS + 1)
    density = np.sin(angle) ** (2.0 * a - 1.0) * np.cos(angle) ** (2.0 * b - 1.0)
    steps = (density[:-2:2] + 4.0 * density[1:-1:2] + density[2::2]) / 6.0  # Simpson's rule
    chance = np.concatenate([[0.0], np.cumsum(steps)])
    return np.sin(angle[::2]) ** 2, chance / chance[-1]
