"""Residuals of normal values on their sphere: one distribution at a great many values, from a fine table.

The residuals of n normal values about their mean, over the root of the sum of their squares, lie evenly on a sphere.
How its squares are shared out, and how far one residual goes, are both integrals of powers of a sine and a cosine.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from qc.stats.arrays import Floats

_STEPS = 12000


def beta_cdf(values: Floats, *, a: float, b: float) -> Floats:
    """The chance that a beta variable is no greater than each value.

    Parameters
    ----------
    values : array of any shape
        Values; below 0 and above 1 give 0 and 1 [-].
    a, b : float
        Parameters, both at least 1.

    Returns
    -------
    array, the shape of `values`
        Chances, interpolated, absolute error below 3e-7 for parameters up to 50 [-].

    Raises
    ------
    ValueError
        When a parameter is below 1.

    References
    ----------
    The integral over the angle: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 6.2.1.

    Examples
    --------
    >>> beta_cdf(np.array([0.0, 0.5, 1.0]), a=2.0, b=2.0).round(6).tolist()
    [0.0, 0.5, 1.0]
    """
    if a < 1.0 or b < 1.0:
        raise ValueError(f"a beta distribution with {a} and {b}; both must be at least 1")
    # With value = sin^2(angle) the density is smooth up to both ends.
    sine, chance = _along_sines(0.0, of_sine=2.0 * a - 1.0, of_cosine=2.0 * b - 1.0)
    within = np.clip(values, 0.0, 1.0)
    return _read_off(within, sine**2, chance, share=np.arcsin(np.sqrt(within)) / math.pi * 2.0)


def residual_tail(values: Floats, *, n: int) -> Floats:
    """The chance that the residual of one of n normal values, over the root of all squared residuals, exceeds a value.

    Parameters
    ----------
    values : array of any shape
        Values, any sign and size [-].
    n : int
        Number of values, at least 4.

    Returns
    -------
    array, the shape of `values`
        Chances, interpolated; relative error below 1e-4 where the chance is above 1e-9 [-].

    Raises
    ------
    ValueError
        When there are fewer than 4 values.

    References
    ----------
    W. R. Thompson, On a criterion for the rejection of observations, Ann. Math. Statist. 6 (1935) 214-219.

    Examples
    --------
    >>> residual_tail(np.array([0.0, 0.5, 0.95]), n=10).round(4).tolist()
    [0.5, 0.0587, 0.0]
    """
    if n < 4:
        raise ValueError(f"the residuals of {n} values; at least 4 are needed")
    # A residual exceeds a value as often as it falls below its negative, summed from that end.
    return _below(np.clip(-values / math.sqrt((n - 1) / n), -1.0, 1.0), of_cosine=n - 3.0)


def student_cdf(values: Floats, *, df: int) -> Floats:
    """The chance that Student's t is no greater than each value.

    Parameters
    ----------
    values : array of any shape
        Values [-].
    df : int
        Degrees of freedom, at least 1; beyond 1,000 those of 1,000 serve.

    Returns
    -------
    array, the shape of `values`
        Chances, interpolated, absolute error below 1e-7 [-].

    References
    ----------
    With t the tangent of an angle times the root of the degrees of freedom, the density is the cosine to the power
    df - 1: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.7.2 (from memory).

    Examples
    --------
    >>> student_cdf(np.array([0.0, 2.228139]), df=10).round(6).tolist()
    [0.5, 0.975]
    """
    degrees = min(df, 1000)
    return _below(values / np.hypot(math.sqrt(degrees), values), of_cosine=degrees - 1.0)


def _below(sines: Floats, *, of_cosine: float) -> Floats:
    """The part of the integral of a power of the cosine over all angles that lies below those of some sines."""
    sine, part = _along_sines(-0.5 * math.pi, of_sine=0.0, of_cosine=of_cosine)
    return _read_off(sines, sine, part, share=np.arcsin(sines) / math.pi + 0.5)


def _read_off(values: Floats, table: Floats, part: Floats, *, share: Floats) -> Floats:
    """What stands beside values of a table, between two of its lines by a straight line.

    `share` is how far down the table each value stands: its angles are evenly spaced, and to work that out is quicker
    than to look for the value.
    """
    line = np.minimum((share * _STEPS).astype(np.intp), _STEPS - 1)
    first, begin = table[line], part[line]
    return np.asarray(begin + (part[line + 1] - begin) / (table[line + 1] - first) * (values - first))


@functools.lru_cache(maxsize=96)
def _along_sines(start: float, *, of_sine: float, of_cosine: float) -> tuple[Floats, Floats]:
    """Sines of angles from `start` to a right angle, and the part of the integral of the powers up to each.

    Summed from the start, so that small parts keep their digits.
    """
    angle = np.linspace(start, 0.5 * math.pi, 2 * _STEPS + 1)
    density = np.abs(np.sin(angle)) ** of_sine * np.cos(angle) ** of_cosine
    steps = (density[:-2:2] + 4.0 * density[1:-1:2] + density[2::2]) / 6.0  # Simpson's rule
    part = np.concatenate([[0.0], np.cumsum(steps)])
    return np.sin(angle[::2]), part / part[-1]
