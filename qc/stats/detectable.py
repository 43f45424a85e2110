"""What a test of order would have shown of a straight change: its power, from that of the t-test of a straight line.

The isotonic test looks for every shape that rises or falls, and asks for a straight change about a tenth greater than
the t-test does that knows the shape.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

from qc.stats.arrays import Floats
from qc.stats.drift import centred_by_level
from qc.stats.end_value import FEWEST_VALUES
from qc.stats.order_test import Monotone, Places, fewest_alike
from qc.stats.student import two_sided_quantile

# Own simulation: 1.08 to 1.17 for 7 to 100 values at levels between 0.0075 and 0.05; for 5 and 6 values, whose p-values
# come in few steps, 1.0 to 1.4.
BESIDE_T_TEST, OF_FEWEST, FEW = 1.13, 1.3, 7


def detectable_change(
    column: Floats,
    places: Places,
    *,
    levels: Sequence[int],
    level: float,
    power: float,
    direction: Monotone = Monotone.EITHER,
) -> float | None:
    """The straight change that the test of order calls with the given chance, in standard deviations of one value.

    Parameters
    ----------
    column : array
        Height of the straight change at each value, 0 at the first place of the pour and 1 at the last [-].
    places : Places
        Tie groups of the order.
    levels : sequence of int
        Cavity levels taken out before the test; one level throughout when there are none.
    level : float
        False-alarm rate [-].
    power : float
        Wanted chance, for example 0.9.
    direction : Monotone

    Returns
    -------
    float or None
        Change over scatter, to about 5 % [-]; None when no change, however large, would be called.
    """
    known = _limit(column, places, levels=levels, level=level, direction=direction)
    if known is None:
        return None
    limit, spread, size = known
    return (limit + NormalDist().inv_cdf(power) * spread) / size


def chance_to_call(column: Floats, places: Places, *, level: float, change: float) -> float:
    """The chance that the test of order calls a straight change of the given size.

    Parameters
    ----------
    column : array
        Height of the straight change at each value [-].
    places : Places
    level : float
        False-alarm rate [-].
    change : float
        In standard deviations of a single value [-].

    Returns
    -------
    float
        Power [-].
    """
    known = _limit(column, places, levels=(0,) * len(column), level=level, direction=Monotone.EITHER)
    if known is None:
        return 0.0
    limit, spread, size = known
    return NormalDist().cdf((abs(change) * size - limit) / spread)


def detectable_end(count: int, *, levels: int, level: float, power: float) -> float | None:
    """How far the first or last value must lie from the others to be called with the given chance.

    Parameters
    ----------
    count, levels : int
        Number of values and of levels.
    level : float
        False-alarm rate of both ends together [-].
    power : float
        Wanted chance, for example 0.9.

    Returns
    -------
    float or None
        In standard deviations of one value [-]; None of too few values.
    """
    if count < FEWEST_VALUES or count - levels < 2:
        return None
    limit, spread = _called_from(level / 2, df=count - levels - 1)
    return (limit + NormalDist().inv_cdf(power) * spread) / math.sqrt(1 - levels / count)


def _limit(
    column: Floats, places: Places, *, levels: Sequence[int], level: float, direction: Monotone
) -> tuple[float, float, float] | None:
    """From where on a change is called and the spread about it, in standard errors, and how many an SD of change is."""
    signal = centred_by_level(column, levels)
    size, df = math.sqrt(float(signal @ signal)), len(column) - len(set(levels)) - 1
    sides = len(direction.value)
    if df < 1 or size**2 < 1e-9 or sides * fewest_alike(places, levels) > level:
        return None
    beside = BESIDE_T_TEST if len(column) >= FEW else OF_FEWEST
    return *_called_from(level * 2 / sides, df=df), size / beside


def _called_from(level: float, *, df: int) -> tuple[float, float]:
    """Noncentral t near enough as normal: from where on its mean is called more often than not, and the spread there.

    References
    ----------
    Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.7.10 (from memory).
    """
    t = two_sided_quantile(1 - level, df=df)
    return t * (1 - 1 / (4 * df)), math.sqrt(1 + t**2 / (2 * df))
