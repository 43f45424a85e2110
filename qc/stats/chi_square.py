"""The normal distribution, and chi-square of whole degrees of freedom by its closed form, without a statistics library.

For whole degrees of freedom the distribution function is a finite sum (Abramowitz & Stegun, Handbook of Mathematical
Functions, 1964, 26.4.4 and 26.4.5). Loading `scipy.special` costs more time than a whole judgement of a batch.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.arrays import Floats
from qc.stats.increasing_root import increasing_root

_MOST_TERMS = 1000
"""Beyond so many degrees of freedom the first term of the sum is too small for a float."""

_MANY = 100_000
"""From so many values on, loading scipy.special takes less time than one call of the interpreter for each."""


def error_function(values: ArrayLike) -> Floats:
    """The error function of every value.

    Parameters
    ----------
    values : array_like of any shape
        Values [-].

    Returns
    -------
    array, the shape of `values`
        Between -1 and 1 [-].

    Examples
    --------
    >>> error_function([0.0, 1.0]).round(6).tolist()
    [0.0, 0.842701]
    """
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.size > _MANY:
        from scipy.special import erf

        return np.asarray(erf(numbers), dtype=np.float64)
    return np.fromiter(map(math.erf, numbers.ravel().tolist()), dtype=np.float64, count=numbers.size).reshape(
        numbers.shape
    )


def normal_density(values: ArrayLike) -> Floats:
    """The density of a standard normal variable at every value.

    Parameters
    ----------
    values : array_like of any shape
        Values [SD].

    Returns
    -------
    array, the shape of `values`
        Densities [1/SD].

    Examples
    --------
    >>> normal_density([0.0, 1.0]).round(6).tolist()
    [0.398942, 0.241971]
    """
    return np.asarray(np.exp(-0.5 * np.square(values)) / math.sqrt(2.0 * math.pi), dtype=np.float64)


def normal_cdf(values: ArrayLike) -> Floats:
    """The standard normal distribution function of every value.

    Parameters
    ----------
    values : array_like of any shape
        Values [SD].

    Returns
    -------
    array, the shape of `values`
        Chances that the variable is no greater [-].

    Examples
    --------
    >>> normal_cdf([0.0, 1.96]).round(4).tolist()
    [0.5, 0.975]
    """
    return 0.5 * (1.0 + error_function(np.asarray(values, dtype=np.float64) / math.sqrt(2.0)))


def fraction_within(mean: ArrayLike, sd: ArrayLike, *, low: float, high: float) -> Floats:
    """The fraction of normal units between two limits.

    Parameters
    ----------
    mean, sd : array_like, cells
        True means and SDs [any unit].
    low, high : float
        The limits, in the same unit.

    Returns
    -------
    array, cells
        Between 0 and 1 [-]; without a spread 1 up to the limits, and 0 beyond.

    Examples
    --------
    >>> float(fraction_within(100, 5, low=85, high=115).round(4))
    0.9973
    """
    means, sds = np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64)
    spread = np.where(sds > 0.0, sds, 1.0)
    within = normal_cdf((high - means) / spread) - normal_cdf((low - means) / spread)
    return np.where(sds > 0.0, within, (low <= means) & (means <= high))


def chi_square_cdf(values: ArrayLike, *, degrees: int) -> Floats:
    """The chance that a chi-square variable is no greater than each value.

    Parameters
    ----------
    values : array_like of any shape
        Values, not negative; infinity is allowed [-].
    degrees : int
        Degrees of freedom, at least 1.

    Returns
    -------
    array, the shape of `values`
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
    if degrees % 2 == 1:
        chance = error_function(np.sqrt(half))
        term = np.exp(-half) * np.sqrt(half) * (2.0 / math.sqrt(math.pi))
    else:
        chance = 1.0 - np.exp(-half)
        term = np.exp(-half) * half
    for step in range((degrees - 1) // 2):
        chance = chance - term
        term = term * half / (1.5 + step if degrees % 2 == 1 else 2.0 + step)
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
        The quantile, to about eleven digits [-].

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
    return increasing_root(lambda value: float(chi_square_cdf(value, degrees=degrees)) - chance, start=float(degrees))
