"""The smallest straight change that tests of one order would have shown, found by simulation."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from qc.stats.drift import centred_by_level
from qc.stats.isotonic import Floats
from qc.stats.order_test import Monotone, Places, monotone_share

NULL_SERIES = 2_000
SIMULATED_SERIES = 300
# The search cuts what is left into so many sections, twice: each threshold is found to a 256th of the search.
SECTIONS = 16
# The search begins between nothing and this many standard errors of the slope; nine in ten series need about four.
WIDEST_SEARCH = 16.0
FARTHEST_SEARCH = 4096.0
# So many values at most are tested at once.
MOST_VALUES = 2_000_000
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
    size = float(signal @ signal)
    if size < 1e-9:
        return [None for _ in critical_values]
    noise = centred_by_level(random.standard_normal((SIMULATED_SERIES, len(column))), levels)
    raised = _Raised(noise=noise, signal=signal, places=places)
    tops = [_far_enough(raised, critical, power=power, size=size) for critical in critical_values]
    searched = [(top, critical) for top, critical in zip(tops, critical_values, strict=True) if top is not None]
    found = iter(_quantiles_of_thresholds(raised, searched, power=power))
    return [None if top is None else next(found) for top in tops]


class _Raised:
    """Simulated series with a change added: the share of their squares that the best rising curve explains."""

    def __init__(self, *, noise: Floats, signal: Floats, places: Places) -> None:
        self.noise, self.signal, self.places = noise, signal, places
        self._by_all: dict[float, Floats] = {}

    def explained(self, series: NDArray[np.intp], changes: Floats) -> Floats:
        """Explained shares of the series named, at as many changes each: changes and shares are series x changes."""
        each = max(1, MOST_VALUES // max(1, series.size * self.signal.size))
        parts = []
        for start in range(0, changes.shape[1], each):
            part = changes[:, start : start + each]
            rows = self.noise[series][:, None, :] + part[:, :, None] * self.signal
            shares = monotone_share(rows.reshape(-1, self.signal.size), self.places, direction=Monotone.RISING)
            parts.append(shares.reshape(part.shape))
        return np.concatenate(parts, axis=1)

    def explained_at(self, change: float) -> Floats:
        """Explained share of every series at one change; asked for again by the next test."""
        if change not in self._by_all:
            every = np.arange(len(self.noise))
            self._by_all[change] = self.explained(every, np.full((every.size, 1), change))[:, 0]
        return self._by_all[change]


def _far_enough(raised: _Raised, critical_value: float, *, power: float, size: float) -> float | None:
    """A change that nearly all series are called at."""
    if critical_value > 1:
        return None
    top = WIDEST_SEARCH / math.sqrt(size)
    while (raised.explained_at(top) >= critical_value).mean() < max(power, 0.99):
        if top * math.sqrt(size) > FARTHEST_SEARCH:
            return None
        top *= 4
    return top


def _quantiles_of_thresholds(raised: _Raised, searched: Sequence[tuple[float, float]], *, power: float) -> list[float]:
    """Of each (top, critical value), the change below which the wanted part of the series has its threshold.

    Every threshold is found to a section; only those in the sections that the quantile lies in are followed further.
    """
    every = np.arange(len(raised.noise))
    steps = np.arange(1, SECTIONS) / SECTIONS
    coarse = {
        top: raised.explained(every, np.broadcast_to(top * steps, (every.size, steps.size)))
        for top in {top for top, _ in searched}
    }
    sections = [_first_called(coarse[top] >= critical) for top, critical in searched]
    near = [_near_the_quantile(section, power) for section in sections]
    rows = np.concatenate([*near, np.zeros(0, dtype=np.intp)])
    changes = [
        top * (section[there, None] + steps) / SECTIONS
        for (top, _), section, there in zip(searched, sections, near, strict=True)
    ]
    fine = raised.explained(rows, np.concatenate([*changes, np.zeros((0, steps.size))]))
    found, start = [], 0
    for (top, critical), section, there in zip(searched, sections, near, strict=True):
        thresholds = top * (section + 1.0) / SECTIONS
        inside = _first_called(fine[start : start + there.size] >= critical)
        thresholds[there] = top * (section[there] + (inside + 1.0) / SECTIONS) / SECTIONS
        found.append(_quantile(thresholds, power))
        start += there.size
    return found


def _first_called(called: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The section in which each series is called for the first time; the last one where no cut between them does it."""
    return np.where(called.any(axis=1), called.argmax(axis=1), SECTIONS - 1)


def _near_the_quantile(sections: NDArray[np.intp], power: float) -> NDArray[np.intp]:
    """The series in the sections that hold the two thresholds which the quantile lies between."""
    ranked = np.sort(sections)
    rank = power * (sections.size - 1)
    return np.flatnonzero((sections == ranked[math.floor(rank)]) | (sections == ranked[math.ceil(rank)]))


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
