"""How far one of n normal values lies from their mean, in parts of the root of the sum of squares about that mean."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_STEPS = 4000


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
    from scipy.special import betainc

    # With t = e sqrt(n / (n-1)), t squared has the beta distribution with 1/2 and (n-2)/2.
    t = np.linspace(-1.0, 1.0, _STEPS + 1)

    upper = 0.5 * betainc((n - 2) / 2.0, 0.5, 1.0 - t**2)
    return t * math.sqrt((n - 1) / n), np.where(t >= 0.0, upper, 1.0 - upper)
