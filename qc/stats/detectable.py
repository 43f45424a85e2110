"""The smallest straight change that tests of one order would have shown, found by simulation."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.stats.drift import centred_by_level
from qc.stats.isotonic import Floats
from qc.stats.order_test import Monotone, Places, monotone_share

NULL_SERIES = 2_000
SIMULATED_SERIES = 300
# Each threshold is found to a 256th of the search.
HALVINGS = 8
# The search begins between nothing and this many standard errors of the slope; nine in ten series need about four.
WIDEST_SEARCH = 16.0
FARTHEST_SEARCH = 4096.0
# A share this near to 1 is a perfectly ordered series.
PERFECT = 1e-9


def detectable_changes(
    column: Floats,
    places: Places,
    *,
    levels: Sequence[int],
    critical_values: Sequence[float],
    power: float,
    random: np.random.Generator,
) -> list[float | None]:
    """The changes that tests of one order would call with the given chance, in standard deviations of a single value.

    Parameters
    ----------
    column : array
        Height of the straight change at each value, 0 at the first place of the pour and 1 at the last [-].
    places : Places
        Tie groups of the order.
    levels : sequence of int
        Cavity levels taken out before the test; one level throughout when there are none.
    critical_values : sequence of float
        Of each test, the explained share from which on it calls [-].
    power : float
        Wanted chance, for example 0.9.
    random : numpy Generator
        The same simulated series serve every test.

    Returns
    -------
    list of float or None
        Change over scatter, one a test [-]; None when no change, however large, would have been called.

    Notes
    -----
    Normal scatter. Each simulated series has its own threshold; the answer is their quantile. With 300 series its own
    error is about 2 to 3 %.
    """
    signal = centred_by_level(column, levels)
    size = float(np.sqrt(signal @ signal))
    if size**2 < 1e-9:
        return [None for _ in critical_values]
    # From here on a change is counted in standard errors of the slope.
    signal = signal / size
    noise = centred_by_level(random.standard_normal((SIMULATED_SERIES, len(column))), levels)

    def called(changes: Floats, critical: Floats) -> NDArray[np.bool_]:
        rows = (noise + changes[..., None] * signal).reshape(-1, len(column))
        shares = monotone_share(rows, places, direction=Monotone.RISING).reshape(changes.shape)
        return shares >= critical[:, None]

    found = _changes_called(called, np.array(critical_values, dtype=float), power=power)
    return [None if math.isnan(change) else change / size for change in found]


def _changes_called(
    called: Callable[[Floats, Floats], NDArray[np.bool_]], critical: Floats, *, power: float
) -> list[float]:
    """For each critical value the quantile of the changes [standard errors] at which a series is called first.

    Each is found by halving a range; not a number where no change is called.
    """
    shape = (critical.size, SIMULATED_SERIES)
    top = WIDEST_SEARCH
    while (missed := called(np.full(shape, top), critical).mean(axis=1) < max(power, 0.99))[critical <= 1].any():
        if top > FARTHEST_SEARCH:
            break
        top *= 4
    low, high = np.zeros(shape), np.full(shape, top)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        enough = called(middle, critical)
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return [math.nan if none else _quantile(changes, power) for none, changes in zip(missed, high, strict=True)]


def chance_to_call(
    column: Floats,
    places: Places,
    *,
    critical_value: float,
    change: float,
    random: np.random.Generator,
) -> float:
    """The chance that the test calls a straight change of the given size.

    Parameters
    ----------
    column : array
        Height of the straight change at each value [-].
    places : Places
    critical_value : float
        Explained share from which on the test calls [-].
    change : float
        In standard deviations of a single value [-].
    random : numpy Generator

    Returns
    -------
    float
        Share of simulated series called [-].
    """
    rows = random.standard_normal((SIMULATED_SERIES, len(column))) + change * column
    return float((monotone_share(rows, places, direction=Monotone.EITHER) >= critical_value).mean())


def normal_critical_value(places: Places, *, level: float, random: np.random.Generator) -> float:
    """The explained share that normal series without any change exceed with the given chance.

    Parameters
    ----------
    places : Places
    level : float
        False-alarm rate [-].
    random : numpy Generator

    Returns
    -------
    float
        Explained share [-]; above 1 where even a perfectly ordered series comes up more often than that.
    """
    null = monotone_share(random.standard_normal((NULL_SERIES, int(places.weights.sum()))), places)
    critical = _quantile(null, 1 - level)
    return critical if critical < 1 - PERFECT else 2.0


def _quantile(values: Floats, share: float) -> float:
    """The value below which a share of the values lies, straight between its two neighbours.

    numpy's own `quantile` gives the same, and loads masked arrays, which takes longer than a whole analysis.
    """
    return float(np.interp(share * (values.size - 1), np.arange(values.size), np.sort(values)))
