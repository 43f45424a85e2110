"""Spreads of units of several shapes on a scale of their own, their densities, and fixed samples drawn from each.

Contents of any mean and scale are `mean + scale * standard`. The samples stand on a lattice, so that no random number
is needed and the same question has the same answer.
"""

from __future__ import annotations

import functools
import math
from enum import StrEnum
from statistics import NormalDist

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.stats.arrays import Floats
from qc.stats.chi_square import normal_density

SAMPLES = 509
"""Samples of a lattice, a prime number [-]."""
ERROR = 0.025
"""A chance of passing taken from them is off by no more (see tests) [-]."""
_PLACE, _KIND, _OTHER = (146, 346), (373, 21), (344, 204)
"""Step and shift of the place of a unit, of its kind and of its place among the others [-]. Of 300 drawn the first pair
is the one that comes nearest to the exact chances for normal units."""
_TAIL, _TAIL_MEDIAN, _TAIL_SCALE = 0.4, -1.9304827738345065, 2.5
_POT = 2.0


class Core(StrEnum):
    """How most units lie about their middle."""

    NORMAL = "normal"
    STUDENT_5 = "Student's t of 5 degrees of freedom"
    STUDENT_3 = "Student's t of 3 degrees of freedom"
    POOR_TAIL = "a long tail of poor units"
    RICH_TAIL = "a long tail of rich units"


class Spread(Struct, frozen=True, kw_only=True):
    """A shape: the core, and the share of units that come from another pot, normal about a middle of their own [-].

    Parameters
    ----------
    share : float
        Of units from the other pot [-].
    away : float
        How far its middle lies from that of the core [scale of the core]; its own scale is twice that of the core.
    """

    core: Core = Core.NORMAL
    share: float = 0.0
    away: float = 0.0

    @property
    def core_off(self) -> float:
        """How far the median of all units lies from the middle of the core, toward the pot [scale of the core]."""
        return math.copysign(NormalDist().inv_cdf(0.5 / (1.0 - self.share)), self.away)


class StandardSamples(Struct, frozen=True, kw_only=True, eq=False):
    """Samples of one size and shape on the scale of its core, an entry a sample.

    Parameters
    ----------
    mean, sd : array, samples
        Mean and SD of its units.
    units : array, samples x units
        The units, rising.
    """

    mean: Floats
    sd: Floats
    units: Floats


def core_density(core: Core, values: Floats) -> Floats:
    """The density of a core on its own scale, with its median at zero [1/scale].

    References
    ----------
    Student's t: Abramowitz & Stegun (1964), 26.7.1. The long tail is that of the logarithm of a gamma variable of shape
    0.4, skewness 1.6, in parts of 2.5: Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 2, 2nd ed.
    (1995), section 22.2 (from memory).
    """
    if core is Core.NORMAL:
        return normal_density(values)
    if core is Core.STUDENT_5:
        return 8.0 / (3.0 * math.pi * math.sqrt(5.0)) / (1.0 + values**2 / 5.0) ** 3
    if core is Core.STUDENT_3:
        return 2.0 / (math.pi * math.sqrt(3.0)) / (1.0 + values**2 / 3.0) ** 2
    low = np.minimum(_TAIL_MEDIAN + _TAIL_SCALE * (values if core is Core.POOR_TAIL else -values), 50.0)
    return np.asarray(_TAIL_SCALE * np.exp(_TAIL * low - np.exp(low)) / math.gamma(_TAIL), dtype=np.float64)


def density(spread: Spread, values: Floats) -> Floats:
    """The density of a shape on the scale of its core, with its median about zero [1/scale]."""
    values = values + spread.core_off
    found = core_density(spread.core, values)
    if spread.share:
        pot = normal_density((values - spread.away) / _POT) / _POT
        found = (1.0 - spread.share) * found + spread.share * pot
    return found


@functools.cache
def standard_samples(spread: Spread, n: int) -> StandardSamples:
    """Samples of n units of a shape.

    Parameters
    ----------
    spread : Spread
    n : int
        Units of a sample, at least 2.

    Notes
    -----
    Each unit takes each of as many even quantiles as there are samples once, by powers of a step modulo a prime
    (Korobov's lattice, shifted). A larger sample begins with the units of a smaller one, as a second stage does.

    References
    ----------
    N. M. Korobov (1959), after H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992),
    section 5.1 (from memory).
    """
    units = _quantiles(spread.core)[_ranks(n, *_PLACE)]
    if spread.share:
        apart = (_ranks(n, *_KIND) + 0.5) / SAMPLES < spread.share
        units = np.where(apart, spread.away + _POT * _quantiles(Core.NORMAL)[_ranks(n, *_OTHER)], units)
    units = units - spread.core_off
    return StandardSamples(mean=units.mean(axis=1), sd=units.std(axis=1, ddof=1), units=np.sort(units, axis=1))


@functools.cache
def _ranks(n: int, step: int, shift: int) -> NDArray[np.int64]:
    """Ranks from 0, samples x units: each rank once in each column."""
    steps, shifts = (np.array([pow(base, power, SAMPLES) for power in range(1, n + 1)]) for base in (step, shift))
    return np.asarray((np.arange(SAMPLES)[:, None] * steps + shifts) % SAMPLES, dtype=np.int64)


@functools.cache
def _quantiles(core: Core) -> Floats:
    """The quantiles of a core in the middle of as many even parts as there are samples, rising [scale]."""
    places = np.sinh(np.linspace(-7.0, 7.0, 4001))
    heights = core_density(core, places)
    steps = 0.5 * (heights[1:] + heights[:-1]) * np.diff(places)
    below = np.concatenate([[0.0], np.cumsum(steps)])
    return np.interp((np.arange(SAMPLES) + 0.5) / SAMPLES, below / below[-1], places)
