"""How far one of n normal values lies from their mean, in parts of the root of the sum of squares about that mean."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 12000


def residual_tail(values: Array, *, n: int) -> Array:
    """The chance that the residual of one of n normal values, over the root of all squared residuals, exceeds a value.

    Parameters
    ----------
    values : ndarray
        Values, any sign and size [-].
    n : int
        Number of values, at least 4.

    Returns
    -------
    ndarray
        Chances, interpolated; relative error below 1e-4 where the chance is above 1e-9 [-].

    References
    ----------
    W. R. Thompson, On a criterion for the rejection of observations, Ann. Math. Statist. 6 (1935) 214-219.

    Examples
    --------
    >>> residual_tail(np.array([0.0, 0.5, 0.95]), n=10).round(4).tolist()
    [0.5, 0.0587, 0.0]
    """
    at, chance = _table(n)
    return np.interp(values, at, chance)


@functools.lru_cache(maxsize=64)
def _table(n: int) -> tuple[Array, Array]:
    """The tail on an even grid of the values it can take."""
    if n < 4:
        raise ValueError(f"the residuals of {n} values; at least 4 are needed")
    # With t = e sqrt(n / (n-1)) = sin(angle), the density of the angle goes as cos(angle)^(n-3).
    angle = np.linspace(-0.5 * math.pi, 0.5 * math.pi, 2 * _STEPS + 1)
    density = np.cos(angle) ** (n - 3)
    steps = (density[:-2:2] + 4.0 * density[1:-1:2] + density[2::2]) / 6.0  # Simpson's rule
    # Summed from the far end, so that small chances keep their digits.
    upper = np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]])
    return np.sin(angle[::2]) * math.sqrt((n - 1) / n), upper / upper[0]
