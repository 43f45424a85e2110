"""Intervals that lie off the true mean, because the sample's mean does, and hold a stated share all the same."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.stats.chi_square import normal_cdf

Array = NDArray[np.float64]

_STEPS = 60


def half_width(offset: Array, *, share: Array | float, begin: Array | float, step: float) -> Array:
    """Half the width of an interval about `offset` that holds a share of a standard normal.

    Parameters
    ----------
    offset : ndarray
        How far the middle of the interval lies from the mean [SD].
    share : ndarray or float
        Share to be held, between 0 and 1 [-].
    begin : ndarray or float
        Half the width of the interval about the mean that holds it [SD].
    step : float
        A last step of Newton's smaller than this ends the search; the next would be of the order of its square [SD].

    Returns
    -------
    ndarray
        In the common shape of offset and share [SD].

    Examples
    --------
    >>> half_width(np.array([0.0, 0.5]), share=0.95, begin=1.96, step=1e-12).round(4).tolist()
    [1.96, 2.1815]
    """
    found: Array = begin + np.abs(offset)
    root = math.sqrt(2.0 * math.pi)
    for _ in range(_STEPS):
        missing = normal_cdf(found + offset) - normal_cdf(offset - found) - share
        slope = (np.exp(-0.5 * (offset + found) ** 2) + np.exp(-0.5 * (offset - found) ** 2)) / root
        moved = missing / slope
        found = np.maximum(found - moved, 0.5 * found)
        if float(np.max(np.abs(moved))) < step:
            break
    return found
