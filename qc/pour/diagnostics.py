"""Diagnostics of an order pattern: autocorrelated residuals, a coarse balance, what was not entered."""

from __future__ import annotations

import numpy as np

from qc.pour.correction import Corrected
from qc.pour.multiple_testing import FEWEST_UNITS
from qc.pour.series import SeriesKind
from qc.results.messages import Message, message
from qc.stats.arrays import Floats
from qc.stats.drift import centred_by_level

# Lag-one correlation of the residuals, in standard errors, from which they are called autocorrelated (one-sided 5 %).
AUTOCORRELATED = 1.645
# Share of the pour that the units of a series may leave out at both ends without a word [-].
MOST_OUTSIDE = 1 / 4


def autocorrelated(one: Corrected, fitted: Floats) -> bool:
    """Whether the residuals about the fitted curve are autocorrelated at lag one, one-sided at 5 %.

    Parameters
    ----------
    one : Corrected
    fitted : array, one a unit
        [unit of measure of the series].

    References
    ----------
    The standard error of the correlation is one over the root of n: Bartlett, On the theoretical specification of
    sampling properties of autocorrelated time series, Supplement to the Journal of the Royal Statistical Society 8
    (1946) 27-41 (from memory).
    """
    centred = centred_by_level(one.tested - fitted, one.levels)
    squares = float(centred @ centred)
    if squares <= 0:
        return False
    correlation = float(centred[1:] @ centred[:-1]) / squares
    return bool(correlation > AUTOCORRELATED / np.sqrt(len(centred)))


def coarse(one: Corrected) -> bool:
    """Whether the values scatter by less than the step they were read to."""
    step = one.series.step
    return bool(step > 0 and len(one.series.values) > FEWEST_UNITS and np.std(one.series.values) < step)


def not_excluded(one: Corrected, fitted: Floats | None) -> tuple[Message, ...]:
    """What else could have made, or hidden, a pattern in these values.

    Parameters
    ----------
    one : Corrected
    fitted : array or None
        The fitted curve of a change that was called along the order; None where none was.

    Returns
    -------
    tuple of Message
    """
    found: list[Message] = []
    if one.blocks:
        found.append(message("pour.mould_not_excluded"))
    if fitted is not None:
        units, by_mass = one.series.units, one.series.kind is SeriesKind.MASS
        if one.loose_cavities:
            found.append(message("pour.cavities_not_excluded"))
        moulds = all(unit.mould is None for unit in units)
        cavities = all(unit.cavity is None for unit in units)
        if one.series.kind is not SeriesKind.CONCENTRATION and (moulds or cavities):
            found.append(message("pour.not_entered", moulds=moulds, cavities=cavities))
        found.append(message("pour.balance_not_excluded") if by_mass else message("pour.assay_not_excluded"))
        found.append(message("pour.swings_not_excluded", autocorrelated=autocorrelated(one, fitted)))
    if coarse(one):
        found.append(message("pour.coarse"))
    outside = 1 - float(np.ptp(one.series.along))
    if outside > MOST_OUTSIDE:
        found.append(message("pour.not_covered", percent=100 * outside))
    return tuple(found)
