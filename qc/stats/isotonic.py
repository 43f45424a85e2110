"""The best rising curve through ordered values, for one series or for thousands of permutations of it at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.stats.arrays import Floats

# Powers of the share of the order before and after a place: curves that lie close below the running sums of most rows.
CURVES = ((0.6, 0.6), (0.3, 0.8), (0.8, 0.3))


def rising_blocks(sums: Floats, weights: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Pool neighbours that fall into blocks whose means rise, row by row (pool-adjacent-violators).

    Parameters
    ----------
    sums : array, rows x places
        Sum of the values at each place of the order.
    weights : array, places
        Number of values at each place, the same in every row.

    Returns
    -------
    block_sums, block_weights : array, places x rows
        Sum and weight of each block, from the first on; what stands after the last block of a row has no meaning.
    last : array, rows
        Index of the last block of each row.

    Notes
    -----
    The work goes place by place over all rows together, so that ten thousand permutations cost about as much as one
    call of a compiled routine would a few hundred times.

    References
    ----------
    Robertson, Wright and Dykstra, Order Restricted Statistical Inference, 1988, section 1.2 (from memory).
    """
    rows, places = sums.shape
    block_sums = np.zeros((places, rows))
    block_weights = np.ones((places, rows))
    flat_sums, flat_weights = block_sums.ravel(), block_weights.ravel()
    columns = np.ascontiguousarray(sums.T)
    # The block under hand of each row, and the flat index where it will stand: block number times rows, plus the row.
    top = np.arange(rows)
    hand_sum, hand_weight = columns[0].copy(), np.full(rows, weights[0])
    for place in range(1, places):
        merging = hand_sum * weights[place] >= columns[place] * hand_weight
        (closed,) = (~merging).nonzero()
        at = top[closed]
        flat_sums[at], flat_weights[at] = hand_sum[closed], hand_weight[closed]
        top[closed] = at + rows
        # Where the place merges it joins the block under hand; elsewhere it begins the next one.
        hand_sum = hand_sum * merging + columns[place]
        hand_weight = hand_weight * merging + weights[place]
        (pooling,) = (merging & (top >= rows)).nonzero()
        while pooling.size:
            under = top[pooling] - rows
            sums_under, weights_under = flat_sums[under], flat_weights[under]
            (falls,) = (sums_under * hand_weight[pooling] >= hand_sum[pooling] * weights_under).nonzero()
            pooling, under = pooling[falls], under[falls]
            hand_sum[pooling] += sums_under[falls]
            hand_weight[pooling] += weights_under[falls]
            top[pooling] = under
            pooling = pooling[under >= rows]
    flat_sums[top], flat_weights[top] = hand_sum, hand_weight
    return block_sums, block_weights, top // rows


def rising_gain(sums: Floats, weights: Floats) -> Floats:
    """The sum of squares that the best rising curve explains about the mean, one number a row.

    Parameters
    ----------
    sums : array, rows x places
        Sum of the values at each place of the order.
    weights : array, places
        Number of values at each place.

    Returns
    -------
    array, rows
        Sum of squares between the blocks [square of the unit of the values].

    Examples
    --------
    >>> rising_gain(np.array([[1.0, 3.0, 2.0], [3.0, 2.0, 1.0]]), np.ones(3)).round(3).tolist()
    [1.5, 0.0]
    """
    block_sums, block_weights, last = rising_blocks(sums, weights)
    real = np.arange(len(block_sums))[:, None] <= last
    explained: Floats = np.where(real, block_sums**2 / block_weights, 0.0).sum(axis=0)
    gain: Floats = np.maximum(explained - sums.sum(axis=1) ** 2 / weights.sum(), 0.0)
    return gain


def most_gain(columns: Floats, weights: Floats) -> Floats:
    """A bound that the gain of a curve does not exceed: found in a few steps for all rows, without pooling.

    Parameters
    ----------
    columns : array, places x rows
        Sum of the values at each place of the order, less the mean of the row.
    weights : array, places
        Number of values at each place.

    Returns
    -------
    array, 2 x rows
        At least what `rising_gain` gives of the row, and of the row with its signs changed [square of the unit of the
        values].

    Notes
    -----
    The best rising curve is the slope of the greatest convex curve below the running sums. Of all curves below them
    with the same ends it has the least sum of squares (Robertson, Wright and Dykstra, theorem 1.2.1; from memory), so
    that any curve below them gives a bound. The curves taken here have one shape each and are stretched until they lie
    below.

    Examples
    --------
    >>> most_gain(np.array([[-1.0], [1.0], [0.0]]), np.ones(3)).T >= rising_gain(
    ...     np.array([[-1.0, 1.0, 0.0], [1.0, -1.0, 0.0]]), np.ones(3)
    ... )
    array([[ True,  True]])
    """
    running, before = np.cumsum(columns[:-1], axis=0), np.cumsum(weights)
    least = np.full((2, columns.shape[1]), np.inf)
    for first, last in CURVES:
        curve = before**first * (before[-1] - before) ** last
        squares = float((np.diff(curve, prepend=0.0) ** 2 / weights).sum())
        stretched = running * (1.0 / curve[:-1, None])
        ends = np.stack([stretched.min(axis=0, initial=0.0), stretched.max(axis=0, initial=0.0)])
        np.minimum(least, squares * ends**2, out=least)
    return least
