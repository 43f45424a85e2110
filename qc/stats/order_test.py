"""Did a series rise or fall along its order? One test for every monotone shape, by permutation.

The statistic is the share of the sum of squares that the best rising or falling curve explains (isotonic likelihood
ratio with unknown scatter); its p-value comes from permuting the series, so that it holds whatever the distribution.

References
----------
Robertson, Wright and Dykstra, Order Restricted Statistical Inference, 1988, chapter 2 (E-bar-square; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import Enum

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.stats.arrays import Floats
from qc.stats.isotonic import most_gain, rising_gain
from qc.stats.permutations import every_order, permuted

# A spread below this share of the values is what is left of a float, not a spread.
NO_SPREAD = 1e-12
# Longer orders are cut into so many stretches of neighbours: steps are then found to a two-hundredth of the pour.
MOST_PLACES = 200
# How many permutations are drawn before each look, and the chance at each look that the decision differs from that of
# all permutations. Of very long series no more values are drawn in all than stand behind the looks.
LOOKS = (499, 1_999, 9_999, 49_999)
SURE = 1e-4
MOST_VALUES, LEAST_DRAWS = 10_000_000, 1_999
# Shares equal but for the last digits of a float are ties, and a tie counts against the finding.
TIED = 1e-10


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
        """The tie groups of a sorted order; of very many, neighbouring ones together."""
        starts = np.flatnonzero(np.concatenate([[True], order[1:] != order[:-1]]))
        if len(starts) > MOST_PLACES:
            starts = starts[np.linspace(0, len(starts), MOST_PLACES, endpoint=False).astype(int)]
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
    direction : Monotone
        Rising, falling, or the better of both.

    Returns
    -------
    array, rows
        Between 0 and 1 [-]; 0 where a row does not vary.
    """
    centred = rows - rows.mean(axis=1, keepdims=True)
    total = (centred**2).sum(axis=1)
    varies = total > (NO_SPREAD * np.abs(rows).max(axis=1, initial=0.0)) ** 2 * rows.shape[1]
    sums = _at_places(centred, places)
    signed = np.concatenate([sign * sums for sign in direction.value])
    best = rising_gain(signed, places.weights).reshape(len(direction.value), -1).max(axis=0)
    shares: Floats = np.divide(best, total, out=np.zeros_like(best), where=varies)
    return shares


def _reaching(rows: Floats, places: Places, *, gain: float, direction: Monotone) -> NDArray[np.bool_]:
    """Which rows, of mean 0, gain at least as much; curves are fitted only where a bound leaves that open."""
    sums = _at_places(rows, places)
    bounds = most_gain(np.ascontiguousarray(sums.T), places.weights)
    may = [np.flatnonzero(bounds[0 if sign > 0 else 1] >= gain) for sign in direction.value]
    signed = np.concatenate([sign * sums[at] for sign, at in zip(direction.value, may, strict=True)])
    reached = np.zeros(len(rows), dtype=bool)
    reached[np.concatenate(may)[rising_gain(signed, places.weights) >= gain]] = True
    return reached


def _at_places(rows: Floats, places: Places) -> Floats:
    return np.add.reduceat(rows, places.starts, axis=1) if places.starts.size < rows.shape[1] else rows


def order_p_value(
    values: Floats,
    places: Places,
    *,
    levels: Sequence[int],
    thresholds: Sequence[float],
    direction: Monotone = Monotone.EITHER,
) -> float:
    """The share of all permutations of a series that look at least as ordered as it does.

    Parameters
    ----------
    values : array
        Sorted by order.
    places : Places
        Tie groups of that order.
    levels : sequence of int
        Values are permuted within one level only.
    thresholds : sequence of float
        p-values at which a decision turns [-].
    direction : Monotone

    Returns
    -------
    float
        p-value [-]: exact for up to seven values. Of more it is drawn, until it lies on its side of every threshold
        but for one chance in ten thousand a look (Chernoff's bound), or 49,999 permutations are drawn: then its
        standard error at 0.03 is 0.0008.

    Notes
    -----
    What is drawn depends on the values themselves and nothing else: not on names, on rows, or on a file. The same
    measurements have the same p-value, and so has the pour read backwards where there is one level.

    References
    ----------
    Drawing until the decision is sure: Besag and Clifford, Sequential Monte Carlo p-values, Biometrika 78 (1991)
    301-304; Gandy, Sequential implementation of Monte Carlo tests with uniformly bounded resampling risk, Journal of
    the American Statistical Association 104 (2009) 1504-1511. The observed order counts among those drawn, so that no
    p-value is zero: Phipson and Smyth, Permutation p-values should never be zero, Statistical Applications in Genetics
    and Molecular Biology 9 (2010) article 39 (all from memory).
    """
    observed = float(monotone_share(values[None, :], places, direction=direction)[0]) - TIED
    if observed <= 0:
        return 1.0
    centred = values - values.mean()
    gain = observed * float(centred @ centred)
    orders = every_order(levels)
    if orders is not None:
        return float(_reaching(centred[orders], places, gain=gain, direction=direction).mean())
    drawn = found = 0
    most = max(LEAST_DRAWS, MOST_VALUES // len(values))
    for look, draws in enumerate(LOOKS):
        for rows in permuted(centred, levels, draws=min(draws, most) - drawn, stream=look):
            found += int(_reaching(rows, places, gain=gain, direction=direction).sum())
        drawn = min(draws, most)
        if all(_sure(found / drawn, threshold, draws=drawn) for threshold in thresholds) or drawn == most:
            break
    return (1 + found) / (1 + drawn)


def _sure(share: float, threshold: float, *, draws: int) -> bool:
    """Whether a share found in so many draws can hardly come from the other side of a threshold.

    References
    ----------
    Chernoff, A measure of asymptotic efficiency for tests of a hypothesis based on the sum of observations, Annals of
    Mathematical Statistics 23 (1952) 493-507 (from memory): the chance is at most exp(-n D), D the divergence.
    """
    parts = (share, threshold), (1 - share, 1 - threshold)
    divergence = sum(p * math.log(p / q) for p, q in parts if p > 0)
    return draws * divergence > -math.log(SURE)


def fewest_alike(places: Places, levels: Sequence[int]) -> float:
    """The share of all permutations that are the very same order of tie groups: no p-value is less [-].

    Parameters
    ----------
    places : Places
    levels : sequence of int
    """
    group = np.repeat(np.arange(len(places.weights)), places.weights.astype(int))
    labels = np.asarray(levels)
    alike = 0.0
    for level in set(levels):
        counts = np.bincount(group[labels == level])
        alike += sum(math.lgamma(count + 1) for count in counts.tolist()) - math.lgamma(counts.sum() + 1)
    return math.exp(alike)
