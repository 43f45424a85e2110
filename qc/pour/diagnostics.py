"""Diagnostics of an order pattern: an influential unit, autocorrelated residuals, a coarse balance."""

from __future__ import annotations

import numpy as np

from qc.pour.correction import Corrected
from qc.pour.multiple_testing import END_SHARE, FEWEST_UNITS, POSSIBLE_LEVEL, order_and_ends
from qc.pour.series import SeriesKind
from qc.results.messages import Message, message
from qc.stats.isotonic import Floats, rising_fit
from qc.stats.order_test import Places

# Lag-one correlation of the residuals, in standard errors, from which they are called autocorrelated (one-sided 5 %).
AUTOCORRELATED = 1.645
# Share of the pour that the units of a series may leave out at both ends without a word [-].
MOST_OUTSIDE = 1 / 4


def monotone_steps(one: Corrected) -> Floats:
    """The best rising or falling steps through a series, whichever explain more of it: one value a unit."""
    places = Places.of(one.series.order)
    tested = one.tested - one.tested.mean() + one.series.values.mean()
    means = np.add.reduceat(tested, places.starts) / places.weights
    both = rising_fit(means, places.weights), -rising_fit(-means, places.weights)
    by_place = max(both, key=lambda fit: float((fit - tested.mean()) ** 2 @ places.weights))
    return np.repeat(by_place, places.weights.astype(int))


def influential_end(one: Corrected, steps: Floats) -> int | None:
    """The end unit without which nothing would have been called, by the same tests without it.

    Parameters
    ----------
    one : Corrected
    steps : array
        The rising or falling steps: only an end unit that makes a step by itself can be the one.

    Returns
    -------
    int or None
        0 for the first unit, -1 for the last.

    References
    ----------
    Deletion of one case: Cook and Weisberg, Residuals and Influence in Regression (1982), chapter 3 (from memory).
    """
    n = len(one.series.units)
    for end, kept in ((0, slice(1, n)), (-1, slice(0, n - 1))):
        if np.isclose(steps, steps[end]).sum() > 1 or n <= FEWEST_UNITS + 1:
            continue
        p_order, ends = order_and_ends(one, kept=kept, at=(POSSIBLE_LEVEL,))
        if min(p_order / (1 - END_SHARE), ends.p_value / END_SHARE) > POSSIBLE_LEVEL:
            return end
    return None


def autocorrelated(one: Corrected, fitted: Floats) -> bool:
    """Whether the residuals about the steps are autocorrelated at lag one, one-sided at 5 %.

    Parameters
    ----------
    one : Corrected
    fitted : array, one a unit
        What the steps leave residuals about [unit of measure of the series].

    References
    ----------
    The standard error of the correlation is one over the root of n: Bartlett, On the theoretical specification of
    sampling properties of autocorrelated time series, Supplement to the Journal of the Royal Statistical Society 8
    (1946) 27-41 (from memory).
    """
    residuals = one.tested - fitted
    centred = residuals - residuals.mean()
    squares = float(centred @ centred)
    if squares <= 0:
        return False
    correlation = float(centred[1:] @ centred[:-1]) / squares
    return bool(correlation > AUTOCORRELATED / np.sqrt(len(centred)))


def coarse(one: Corrected) -> bool:
    """Whether the values scatter by less than the step they were read to."""
    step = one.series.step
    return bool(step > 0 and len(one.series.values) > FEWEST_UNITS and np.std(one.series.values) < step)


def not_excluded(one: Corrected, *, steps: Floats | None) -> tuple[Message, ...]:
    """What else could have made, or hidden, a pattern in these values.

    Parameters
    ----------
    one : Corrected
    steps : array or None
        The rising or falling steps of a change that was called along the order; None where none was.

    Returns
    -------
    tuple of Message
    """
    found: list[Message] = []
    if one.blocks:
        found.append(message("pour.mould_not_excluded"))
    if steps is not None:
        units, by_mass = one.series.units, one.series.kind is SeriesKind.MASS
        if one.loose_cavities:
            found.append(message("pour.cavities_not_excluded"))
        moulds = all(unit.mould is None for unit in units)
        cavities = all(unit.cavity is None for unit in units)
        if one.series.kind is not SeriesKind.CONCENTRATION and (moulds or cavities):
            found.append(message("pour.not_entered", moulds=moulds, cavities=cavities))
        found.append(message("pour.balance_not_excluded") if by_mass else message("pour.assay_not_excluded"))
        found.append(message("pour.swings_not_excluded", autocorrelated=autocorrelated(one, steps)))
    if coarse(one):
        found.append(message("pour.coarse"))
    outside = 1 - float(np.ptp(one.series.along))
    if outside > MOST_OUTSIDE:
        found.append(message("pour.not_covered", percent=100 * outside))
    return tuple(found)
