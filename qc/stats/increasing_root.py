"""Where an increasing function crosses zero, without loading an optimizer for one root."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from qc.stats.arrays import Floats


def increasing_root(function: Callable[[float], float], *, start: float) -> float:
    """Where an increasing function of a positive number crosses zero.

    Parameters
    ----------
    function : callable
        Increasing on the positive numbers, negative near 0 and positive far out.
    start : float
        A guess, positive.

    Returns
    -------
    float
        The root, to about eleven digits.

    Raises
    ------
    ValueError
        When the function does not become positive.

    Examples
    --------
    >>> round(increasing_root(lambda x: x * x - 2.0, start=1.0), 9)
    1.414213562
    """
    low = high = start
    while (high_value := function(high)) < 0.0:
        low, high = high, high * 2.0
        if high > 1e12:
            raise ValueError("the function does not become positive")
    while (low_value := function(low)) > 0.0 and low > 1e-300:
        high, low = low, low / 2.0
        high_value = low_value
    # Secants; where the same end moves twice, the value at the other is halved, so that both close in (Illinois rule).
    moved = 0
    for _ in range(200):
        if high - low <= 2e-12 * high:
            break
        between = high - high_value * (high - low) / (high_value - low_value)
        # Never nearer to an end than the digits asked for: beside a root found, the other end comes close at once.
        between = min(max(between, low + 1e-12 * high), high - 1e-12 * high)
        value = function(between)
        if value < 0.0:
            high_value *= 0.5 if moved < 0 else 1.0
            low, low_value, moved = between, value, -1
        else:
            low_value *= 0.5 if moved > 0 else 1.0
            high, high_value, moved = between, value, 1
    return 0.5 * (low + high)


def last_below(function: Callable[[Floats], Floats], *, steps: int, count: int) -> Floats:
    """Of so many even steps the last one at which increasing functions are still below zero, for several at once.

    Parameters
    ----------
    function : callable
        From a step of each function, 0 to `steps`, to their values; negative at 0 and not at the last step.
    steps, count : int
        How many steps there are, and how many functions.

    Returns
    -------
    array of shape (count,)
        What halving would find, sooner: straight lines between the nearest two lead there, halving every third time.

    Examples
    --------
    >>> last_below(lambda at: at**2 - np.array([10.0, 82.0]), steps=100, count=2).tolist()
    [3.0, 9.0]
    """
    low, high = np.zeros(count), np.full(count, float(steps))
    short, over = function(low), function(high)
    turn = 0
    while (high - low > 1.0).any():
        turn += 1
        share = short / np.minimum(short - over, -1e-300) if turn % 3 else 0.5
        at = np.clip(np.floor(low + share * (high - low)), low + 1.0, np.maximum(high - 1.0, low + 1.0))
        value = function(at)
        below = value < 0.0
        low, short = np.where(below, at, low), np.where(below, value, short)
        high, over = np.where(below, high, at), np.where(below, over, value)
    return low
