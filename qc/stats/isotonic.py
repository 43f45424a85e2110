"""The best rising curve through ordered values, for one series or for thousands of rearrangements of it at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


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
    The work goes place by place over all rows together, so that ten thousand rearrangements cost about as much as one
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
    # `top` is the flat index of the last block of each row: block number times rows, plus the row.
    top = np.arange(rows)
    block_sums[0] = columns[0]
    block_weights[0] = weights[0]
    for place in range(1, places):
        top += rows
        new_sum, new_weight = columns[place].copy(), np.full(rows, weights[place])
        below = top - rows
        merging = np.flatnonzero(flat_sums[below] * new_weight >= new_sum * flat_weights[below])
        while merging.size:
            under = top[merging] - rows
            new_sum[merging] += flat_sums[under]
            new_weight[merging] += flat_weights[under]
            top[merging] = under
            merging = merging[under >= rows]
            under = top[merging] - rows
            merging = merging[flat_sums[under] * new_weight[merging] >= new_sum[merging] * flat_weights[under]]
        flat_sums[top] = new_sum
        flat_weights[top] = new_weight
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


def rising_fit(means: Floats, weights: Floats) -> Floats:
    """The best rising curve through the means of one series: one fitted value a place.

    Parameters
    ----------
    means : array, places
        Mean of the values at each place.
    weights : array, places
        Number of values at each place.

    Returns
    -------
    array, places
        Fitted values [unit of the means].

    Examples
    --------
    >>> rising_fit(np.array([1.0, 3.0, 2.0, 4.0]), np.ones(4)).tolist()
    [1.0, 2.5, 2.5, 4.0]
    """
    sums, block_weights, last = rising_blocks((means * weights)[None, :], weights)
    blocks = int(last[0]) + 1
    levels, ends = sums[:blocks, 0] / block_weights[:blocks, 0], np.cumsum(block_weights[:blocks, 0])
    # A place belongs to the block in whose span of weight its own middle lies.
    middle = np.cumsum(weights) - weights / 2
    fitted: Floats = levels[np.searchsorted(ends, middle)]
    return fitted
