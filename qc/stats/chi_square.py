"""The chi-square distribution of whole degrees of freedom, by its closed form, without loading a statistics library.

For whole degrees of freedom the distribution function is a finite sum (Abramowitz & Stegun, Handbook of Mathematical
Functions, 1964, 26.4.4 and 26.4.5). Loading `scipy.special` costs more time than a whole judgement of a batch.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

_MOST_TERMS = 1000
"""Beyond so many degrees of freedom the first term of the sum is too small for a float."""

_MANY = 100_000
"""From so many values on, loading scipy.special takes less time than one call of the interpreter for each."""

_ERF = np.frompyfunc(math.erf, 1, 1)


def error_function(values: ArrayLike) -> NDArray[np.float64]:
    """The error function of every value.

    Examples
    --------
    >>> error_function([0.0, 1.0]).round(6).tolist()
    [0.0, 0.842701]
    """
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.size > _MANY:
        from scipy.special import erf

        return np.asarray(erf(numbers), dtype=np.float64)
    return np.asarray(_ERF(numbers), dtype=np.float64)


def normal_cdf(values: ArrayLike) -> NDArray[np.float64]:
    """The standard normal distribution function of every value.

    Examples
    --------
    >>> normal_cdf([0.0, 1.96]).round(4).tolist()
    [0.5, 0.975]
    """
    return 0.5 * (1.0 + error_function(np.asarray(values, dtype=np.float64) / math.sqrt(2.0)))


def chi_square_cdf(values: ArrayLike, *, degrees: int) -> NDArray[np.float64]:
    """The chance that a chi-square variable is no greater than each value.

    Parameters
    ----------
    values : array_like
        Values, not negative; infinity is allowed [-].
    degrees : int
        Degrees of freedom, at least 1.

    Returns
    -------
    ndarray
        Chances, absolute error below 1e-14 [-].

    Raises
    ------
    ValueError
        When the degrees of freedom are fewer than 1.

    References
    ----------
    Abramowitz & Stegun, Handbook of Mathematical Functions (1964), equations 26.4.4 and 26.4.5.

    Examples
    --------
    >>> chi_square_cdf([3.841459, 18.307038], degrees=1).round(4).tolist()
    [0.95, 1.0]
    >>> chi_square_cdf(18.307038, degrees=10).round(6).tolist()
    0.95
    """
    if degrees < 1:
        raise ValueError(f"{degrees} degrees of freedom; a chi-square distribution has at least 1")
    if degrees > _MOST_TERMS:
        from scipy.special import gammainc

        return np.asarray(gammainc(degrees / 2.0, np.asarray(values, dtype=np.float64) / 2.0), dtype=np.float64)
    half = np.minimum(np.asarray(values, dtype=np.float64), 1400.0) / 2.0
    odd = degrees % 2 == 1
    term = np.exp(-half)
    if odd:
        root = np.sqrt(half)
        chance = error_function(root)
        term = term * root * (2.0 / math.sqrt(math.pi))
        power = 1.5
    else:
        chance = 1.0 - term
        term = term * half
        power = 2.0
    for _ in range((degrees - 1) // 2):
        chance = chance - term
        term = term * half / power
        power += 1.0
    return np.clip(chance, 0.0, 1.0)


def chi_square_quantile(chance: float, *, degrees: int) -> float:
    """The value that a chi-square variable stays below with the chance given.

    Parameters
    ----------
    chance : float
        Between 0 and 1, ends excluded [-].
    degrees : int
        Degrees of freedom, at least 1.

    Returns
    -------
    float
        The quantile, to about twelve digits [-].

    Raises
    ------
    ValueError
        When the chance is not between 0 and 1.

    Examples
    --------
    >>> round(chi_square_quantile(0.95, degrees=10), 6)
    18.307038
    """
    if not 0.0 < chance < 1.0:
        raise ValueError(f"a quantile at the chance {chance}; a chance between 0 and 1 is needed")
    low, high = 0.0, degrees + 10.0 * math.sqrt(2.0 * degrees) + 60.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if _cdf(middle, degrees) < chance:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _cdf(value: float, degrees: int) -> float:
    """The distribution function of one number; plain floats are ten times quicker than arrays of one."""
    if degrees > _MOST_TERMS:
        return float(chi_square_cdf(value, degrees=degrees))
    half = value / 2.0
    term = math.exp(-half)
    if degrees % 2 == 1:
        chance = math.erf(math.sqrt(half))
        term *= math.sqrt(half) * 2.0 / math.sqrt(math.pi)
        power = 1.5
    else:
        chance, term, power = 1.0 - term, term * half, 2.0
    for _ in range((degrees - 1) // 2):
        chance -= term
        term *= half / power
        power += 1.0
    return chance
