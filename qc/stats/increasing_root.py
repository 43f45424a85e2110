"""Where an increasing function crosses zero, without loading an optimizer for one root."""

from __future__ import annotations

from collections.abc import Callable


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

    Examples
    --------
    >>> round(increasing_root(lambda x: x * x - 2.0, start=1.0), 9)
    1.414213562
    """
    low = high = start
    while function(high) < 0.0:
        low, high = high, high * 2.0
        if high > 1e12:
            raise ValueError("the function does not become positive")
    while low == high or function(low) > 0.0:
        high, low = low if low < high else high, low / 2.0
        if low < 1e-12:
            return low
    low_value, high_value = function(low), function(high)
    # Bisection and secant steps in turn: safe, and quick on a smooth function.
    for turn in range(200):
        if high - low <= 2e-12 * high:
            break
        middle = 0.5 * (low + high)
        if turn % 3 and high_value > low_value:
            guess = high - high_value * (high - low) / (high_value - low_value)
            margin = 1e-13 * high
            middle = min(max(guess, low + margin), high - margin)
        value = function(middle)
        if value < 0.0:
            low, low_value = middle, value
        else:
            high, high_value = middle, value
    return 0.5 * (low + high)
