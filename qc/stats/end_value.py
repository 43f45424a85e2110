"""Does the first or the last value of a series lie apart from all the others? A decision that knows how far.

No permutation test can tell: one value of n is the greatest, and stands last, once in n batches, however great it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import Struct

from qc.stats.arrays import Floats
from qc.stats.drift import centred_by_level
from qc.stats.order_test import Monotone
from qc.stats.student import two_sided_p, two_sided_quantile

# Of fewer values nobody can say what their scatter is like.
FEWEST_VALUES = 6


class EndTest(Struct, frozen=True, kw_only=True):
    """What the test says of both ends.

    Parameters
    ----------
    p_value : float
        Of the end that lies farther apart, for both ends together [-].
    end : int
        Which end that is: 0 for the first value, -1 for the last.
    away, error : float
        How far it lies from the mean of the others of its level, and the standard error of that [unit of the values].
    df : int
        Degrees of freedom of the error.
    """

    p_value: float
    end: int = -1
    away: float = 0.0
    error: float = 0.0
    df: int = 1

    def interval(self, *, confidence: float) -> tuple[float, float]:
        """Where the distance lies, by Student's t [unit of the values]."""
        half = self.error * two_sided_quantile(confidence, df=self.df)
        return self.away - half, self.away + half


def end_test(
    values: Floats,
    *,
    levels: Sequence[int],
    ends: Sequence[int] = (0, -1),
    least_scatter: float = 0.0,
    direction: Monotone = Monotone.EITHER,
) -> EndTest:
    """Test the first and the last value against all the others.

    Parameters
    ----------
    values : array
        In order.
    levels : sequence of int
        Level of each value; each level has a height of its own.
    ends : sequence of int
        Which ends hold a single value: 0, -1 or both.
    least_scatter : float
        Scatter that rounding, balance and assay make by themselves [unit of the values].
    direction : Monotone
        A last value above and a first one below the others rise.

    Returns
    -------
    EndTest

    References
    ----------
    The externally studentised residual with Student's t, two-sided, doubled for the two ends (Bonferroni): Cook and
    Weisberg, Residuals and Influence in Regression (1982), section 2.2.2 (from memory). Scatter about normal.
    """
    df = len(values) - len(set(levels)) - 1
    found = [EndTest(p_value=1.0)]
    residuals = centred_by_level(values, levels)
    squares = float(residuals @ residuals)
    for end in ends if len(values) >= FEWEST_VALUES and df > 0 else ():
        # What is left of the value in its residual: its level's mean holds a part of it.
        free = 1 - 1 / list(levels).count(levels[end])
        if free > 0:
            away = float(residuals[end]) / free
            left = max(squares - free * away**2, 0.0) / df
            error = max(math.sqrt(left), least_scatter) / math.sqrt(free)
            p = two_sided_p(away / error, df=df) if error > 0 else float(away == 0)
            if direction is not Monotone.EITHER:
                rises = (away > 0) is (end == -1)
                p = p / 2 if rises is (direction is Monotone.RISING) else 1 - p / 2
            found.append(EndTest(p_value=min(1.0, len(ends) * p), end=end, away=away, error=error, df=df))
    return min(found, key=lambda one: one.p_value)
