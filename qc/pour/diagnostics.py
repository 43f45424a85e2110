"""Diagnostics of an order pattern: an influential unit, autocorrelated residuals, a coarse balance."""

from __future__ import annotations

import numpy as np

from qc.pour.correction import Corrected
from qc.pour.multiple_testing import FEWEST_UNITS, POSSIBLE_LEVEL
from qc.pour.series import SeriesKind
from qc.results.messages import Message, message
from qc.stats.isotonic import Floats, rising_fit
from qc.stats.order_test import Places, monotone_share
from qc.stats.permutations import generator, permutations, share_at_least
from qc.stats.student import two_sided_p

# Lag-one correlation of the residuals, in standard errors, from which they are called autocorrelated (one-sided 5 %).
AUTOCORRELATED = 1.645
# Chance that a sound end unit is said to stand apart from the others.
APART = 0.001
# Share of the pour that the units of a series may leave out at both ends without a word [-].
MOST_OUTSIDE = 1 / 4
_INFLUENTIAL_UNIT_STREAM = 4
_INFLUENTIAL_UNIT_DRAWS = 1_999


def monotone_steps(one: Corrected) -> Floats:
    """The best rising or falling steps through a series, whichever explain more of it: one value a unit."""
    places = Places.of(one.series.order)
    tested = one.tested - one.tested.mean() + one.series.values.mean()
    means = np.add.reduceat(tested, places.starts) / places.weights
    both = rising_fit(means, places.weights), -rising_fit(-means, places.weights)
    by_place = max(both, key=lambda fit: float((fit - tested.mean()) ** 2 @ places.weights))
    return np.repeat(by_place, places.weights.astype(int))


def influential_unit(one: Corrected, steps: Floats, *, seed: int) -> str:
    """The end unit without which nothing would have been called, by the test of order without it.

    Parameters
    ----------
    one : Corrected
    steps : array
        The rising or falling steps: only an end unit that makes a step by itself can be the one.
    seed : int
        Of the permutations.

    Returns
    -------
    str
        Its name, or "".

    References
    ----------
    Deletion of one case: Cook and Weisberg, Residuals and Influence in Regression (1982), chapter 3 (from memory).
    """
    n = len(one.series.units)
    for gone in (0, n - 1):
        if np.isclose(steps, steps[gone]).sum() > 1 or n <= FEWEST_UNITS + 1:
            continue
        kept = np.flatnonzero(np.arange(n) != gone)
        rows = permutations(
            [one.levels[index] for index in kept],
            draws=_INFLUENTIAL_UNIT_DRAWS,
            random=generator(seed, stream=_INFLUENTIAL_UNIT_STREAM),
        )
        shares = monotone_share(one.tested[kept][rows], Places.of(one.series.order[kept]))
        if share_at_least(shares)[0] > POSSIBLE_LEVEL:
            return one.series.names[gone]
    return ""


def end_apart(one: Corrected) -> Message | None:
    """The first or last unit where it lies far outside all the others, by the t-test of one value against them.

    References
    ----------
    The externally studentised deviation: Barnett and Lewis, Outliers in Statistical Data, 3rd ed. (1994), chapter 6
    (from memory).
    """
    for end in (0, -1):
        others = np.delete(one.tested, end)
        spread = max(float(np.std(others, ddof=1)), one.series.least_scatter)
        if spread <= 0:
            continue
        t = float(one.tested[end] - others.mean()) / (spread * np.sqrt(1 + 1 / len(others)))
        if two_sided_p(t, df=len(others) - 1) < APART:
            return message("pour.end_apart", unit=one.series.names[end], first=end == 0)
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


def not_excluded(one: Corrected, *, called: bool, seed: int) -> tuple[Message, ...]:
    """What else could have made, or hidden, a pattern in these values.

    Parameters
    ----------
    one : Corrected
    called : bool
        Whether a change was called.
    seed : int
        Of the permutations without an end unit.

    Returns
    -------
    tuple of Message
    """
    found: list[Message | None] = []
    if one.blocks:
        found.append(message("pour.mould_not_excluded"))
    if called:
        if one.loose_cavities:
            found.append(message("pour.cavities_not_excluded"))
        steps = monotone_steps(one)
        unit = influential_unit(one, steps, seed=seed)
        found.append(message("pour.influential_unit", unit=unit) if unit else None)
        by_mass = one.series.kind is SeriesKind.MASS
        found.append(message("pour.balance_not_excluded") if by_mass else message("pour.assay_not_excluded"))
        found.append(message("pour.swings_not_excluded", autocorrelated=autocorrelated(one, steps)))
    else:
        found.append(end_apart(one))
    if coarse(one):
        found.append(message("pour.coarse"))
    outside = 1 - float(np.ptp(one.series.along))
    if outside > MOST_OUTSIDE:
        found.append(message("pour.not_covered", percent=100 * outside))
    return tuple(one for one in found if one is not None)
