"""The chance that normal units pass the two-stage dosage-unit test, by quadrature, single-unit limits included.

The second stage is judged on the mean and SD of all units pooled. Given those two, what happened at the first stage
and how far single units stray depends on neither the true mean nor the true SD (they are sufficient). So the chance
that the first stage failed and the single-unit limits hold is one surface over (mean, SD) of the pooled sample; it is
worked out once for a rule, and every true mean and SD is then a weighted sum over that surface.
"""

from __future__ import annotations

import functools
import math
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from qc.assurance.acceptance_geometry import AcceptanceGeometry
from qc.assurance.pooled_stages import StageSurface, stage_surface
from qc.stats.chi_square import chi_square_cdf
from qc.stats.quadrature import legendre_points

Array = NDArray[np.float64]


class Precision(Enum):
    """How finely the integrals are worked out: the factor on every number of quadrature nodes."""

    FULL = 1.0
    PICTURE = 0.65
    """Finer than a line is wide, at a quarter of the work."""

    @property
    def error(self) -> float:
        """Greatest difference that more nodes make, with a factor of safety (see tests) [-]."""
        return 5e-6 if self is Precision.FULL else 5e-4


_MOST_NODES = 40
_REACH = 8.5


def acceptance_value_chance(
    mean: Array,
    sd: Array,
    *,
    n: int,
    k: float,
    geometry: AcceptanceGeometry,
    precision: Precision = Precision.FULL,
) -> Array:
    """The chance that the acceptance value of n units is no greater than its limit.

    Parameters
    ----------
    mean, sd : ndarray
        True mean and SD of the units, one-dimensional, of one length [% of label].
    n : int
        Number of units, at least 2.
    k : float
        Acceptability constant for n units [-].
    geometry : AcceptanceGeometry
        Limit and reference range of the rule.
    precision : Precision

    Returns
    -------
    ndarray
        Chances, error below 1e-9, or 5e-6 for a picture [-].

    References
    ----------
    Bergum & Li, Acceptance limits for the new ICH USP 29 content-uniformity test, Pharm. Technol. 31 (2007) 10, 90-100
    (the chance as an integral of the normal and chi-square densities).
    """
    chance = np.zeros(mean.shape)
    exact = sd <= 0.0
    chance[exact] = geometry.distance(mean[exact]) <= geometry.limit
    error = np.where(exact, 1.0, sd) / math.sqrt(n)
    nodes, weights = legendre_points(round(_MOST_NODES * precision.value))
    for start, end in geometry.panels:
        low = np.maximum(start, mean - _REACH * error)
        high = np.minimum(end, mean + _REACH * error)
        held = np.flatnonzero((high > low) & ~exact)
        if held.size == 0:
            continue
        half = 0.5 * (high - low)[held, None]
        at = 0.5 * (high + low)[held, None] + half * nodes
        se, spread = error[held, None], sd[held, None]
        density = np.exp(-0.5 * ((at - mean[held, None]) / se) ** 2) / (se * math.sqrt(2.0 * math.pi))
        room = np.maximum(geometry.limit - geometry.distance(at), 0.0) / (k * spread)
        chance[held] += ((half * weights) * density * chi_square_cdf((n - 1) * room**2, degrees=n - 1)).sum(axis=1)
    return np.minimum(chance, 1.0)


def second_stage_chance(mean: Array, sd: Array, *, surface: StageSurface) -> tuple[Array, Array]:
    """The chance that the first stage fails and the second passes, and the error that pairs of stray units leave.

    Parameters
    ----------
    mean, sd : ndarray
        True mean and SD of the units, one-dimensional, of one length [% of label].
    surface : StageSurface
        The surface of the rule.

    Returns
    -------
    tuple of ndarray
        Chances and their error bounds, without the error of the quadrature [-].
    """
    chance, error = np.zeros(mean.shape), np.zeros(mean.shape)
    mean, sd = _enlarged(mean, sd, surface)
    degrees = surface.n - 1
    constant = math.log(2.0) + 0.5 * degrees * math.log(0.5 * degrees) - math.lgamma(0.5 * degrees)
    for spread in sorted(set(sd[sd > 0.0].tolist())):
        here = np.flatnonzero(sd == spread)
        log_density = constant - degrees * math.log(spread) + (degrees - 1) * surface.log_sd
        density = np.exp(log_density - (0.5 * degrees / spread**2) * surface.sd**2)
        error_of_mean = spread / math.sqrt(surface.n)
        steps = (surface.mean - mean[here, None]) / error_of_mean
        weight = np.exp(-0.5 * steps**2) * surface.mean_weight / (error_of_mean * math.sqrt(2.0 * math.pi))
        chance[here] = weight @ (density * surface.sd_weight * surface.chance).sum(axis=1)
        error[here] = weight @ (density * surface.sd_weight * surface.doubt).sum(axis=1)
    return chance, error


def _enlarged(mean: Array, sd: Array, surface: StageSurface) -> tuple[Array, Array]:
    """Very small SDs made larger, with the distance from the nearer end in proportion.

    Near an end the boundary is a straight line through it, so that only the ratio of the two counts.
    """
    small = (sd > 0.0) & (sd < surface.least_sd)
    if not bool(small.any()):
        return mean, sd
    low, high = surface.ends
    end = np.where(mean < 0.5 * (low + high), low, high)
    factor = np.where(small, surface.least_sd / np.where(small, sd, 1.0), 1.0)
    # Forty SDs from the end nothing is undecided any more.
    distance = np.clip((mean - end) * factor, -40.0 * surface.least_sd, 40.0 * surface.least_sd)
    return np.where(small, end + distance, mean), np.where(small, surface.least_sd, sd)


@functools.lru_cache(maxsize=8)
def surface_of(geometry: AcceptanceGeometry, *, precision: Precision = Precision.FULL) -> StageSurface:
    """The stage surface of a rule, kept for the next question about the same rule."""
    return stage_surface(geometry, fine=precision.value)
