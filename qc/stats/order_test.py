"""Did a series rise or fall along its order? One test for every monotone shape, and one decision over several series.

The statistic is the share of the sum of squares that the best rising or falling curve explains (isotonic likelihood
ratio with unknown scatter); its p-value comes from permuting the series, so that it holds whatever the distribution.

References
----------
Robertson, Wright and Dykstra, Order Restricted Statistical Inference, 1988, chapter 2 (E-bar-square; from memory).
Westfall and Young, Resampling-Based Multiple Testing, 1993, chapter 2 (smallest p over series; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.stats.isotonic import Floats, rising_gain
from qc.stats.permutations import share_at_least

# A spread below this share of the values is what is left of a float, not a spread.
NO_SPREAD = 1e-12


class Monotone(Enum):
    """Which changes the test looks for: the signs under which they rise."""

    EITHER = (1, -1)
    RISING = (1,)
    FALLING = (-1,)


class Places(Struct, frozen=True, kw_only=True):
    """The order of a series: where each tie group starts and how many values it holds. Values are sorted by order."""

    starts: NDArray[np.intp]
    weights: Floats

    @classmethod
    def of(cls, order: Floats) -> Places:
        """The tie groups of a sorted order."""
        starts = np.flatnonzero(np.concatenate([[True], order[1:] != order[:-1]]))
        weights = np.diff(np.concatenate([starts, [len(order)]])).astype(float)
        return cls(starts=starts.astype(np.intp), weights=weights)


def monotone_share(rows: Floats, places: Places, *, direction: Monotone = Monotone.EITHER) -> Floats:
    """The share of each row's sum of squares that the best monotone curve explains.

    Parameters
    ----------
    rows : array, rows x values
        Series sorted by order, one a row.
    places : Places
        Tie groups of the order.
    direction : Direction
        Rising, falling, or the better of both.

    Returns
    -------
    array, rows
        Between 0 and 1 [-]; 0 where a row does not vary.
    """
    centred = rows - rows.mean(axis=1, keepdims=True)
    total = (centred**2).sum(axis=1)
    varies = total > (NO_SPREAD * np.abs(rows).max(axis=1, initial=0.0)) ** 2 * rows.shape[1]
    tied = places.starts.size < centred.shape[1]
    sums = np.add.reduceat(centred, places.starts, axis=1) if tied else centred
    best = np.maximum.reduce([rising_gain(sign * sums, places.weights) for sign in direction.value])
    shares: Floats = np.divide(best, total, out=np.zeros_like(best), where=varies)
    return shares


class OrderTest(Struct, frozen=True, kw_only=True):
    """What the test says of one series.

    Parameters
    ----------
    p_alone : float
        p-value of this series by itself [-].
    p_value : float
        Adjusted for all series permuted together: the chance that the best of them looks at least as good [-].
    critical_value : float
        The explained share from which on this series is called at the 5 % level, over all series together [-]; above 1
        where no order of these values could be called.
    """

    p_alone: float
    p_value: float
    critical_value: float


def joint_order_tests(
    series: Sequence[Floats],
    places: Places,
    rows: NDArray[np.intp],
    *,
    directions: Sequence[Monotone],
    share_of_level: float = 1.0,
    level: float = 0.05,
) -> tuple[OrderTest, ...]:
    """Test several series of the same units together, by giving all of them the same permutations.

    Parameters
    ----------
    series : sequence of arrays
        Values sorted by order, each of the same units.
    places : Places
        Tie groups of that order.
    rows : array, permutations x values
        Index rows; the observed order first.
    directions : sequence of Direction
        One a series.
    share_of_level : float
        The part of the false-alarm rate that these series may use up, where other series share the decision; p-values
        are divided by it (weighted Bonferroni) [-].
    level : float
        False-alarm rate at which `critical_value` is given, over everything that shares the decision [-].

    Returns
    -------
    tuple of OrderTest
        One a series.
    """
    shares = [
        monotone_share(values[rows], places, direction=direction)
        for values, direction in zip(series, directions, strict=True)
    ]
    alone = [share_at_least(share) for share in shares]
    smallest = np.sort(np.minimum.reduce(alone))
    found = []
    for share, p in zip(shares, alone, strict=True):
        joint = np.searchsorted(smallest, p, side="right") / len(smallest)
        p_values = np.minimum(1.0, joint / share_of_level)
        called = share[p_values <= level]
        found.append(
            OrderTest(
                p_alone=float(p[0]),
                p_value=float(p_values[0]),
                critical_value=float(called.min()) if called.size else 2.0,
            )
        )
    return tuple(found)
