"""The chance that normal units pass the two-stage dosage-unit test, by quadrature, single-unit limits included.

The second stage is judged on the mean and SD of all units pooled. Given those two, what happened at the first stage
and how far single units stray depends on neither the true mean nor the true SD (they are sufficient). So the chance
that the first stage failed and the single-unit limits hold is one surface over (mean, SD) of the pooled sample; it is
worked out once for a rule, and every true mean and SD is then a weighted sum over that surface.

Given the pooled mean and SD, the residuals of normal units about their mean, divided by the root of their sum of
squares, are spread evenly over a sphere. On it, u is the part of the squares that lies between the two stages, v the
part of the rest that lies within the first stage; both have beta distributions, and each stage's own residuals are
again even over smaller spheres. Single units are counted by inclusion and exclusion: the expected number beyond the
limits is taken off, and the expected number of pairs beyond them bounds what that takes off twice.

References
----------
Sufficiency and independence of residual directions: Basu, Sankhya 15 (1955) 377-380.
The parts of a sum of squares: Cochran, The distribution of quadratic forms in a normal system, Proceedings of the
Cambridge Philosophical Society 30 (1934) 178-191 (from memory).
Distribution of a single residual: Thompson, Ann. Math. Statist. 6 (1935) 214-219.
Bonferroni's inequalities: Feller, An Introduction to Probability Theory and Its Applications, vol. 1, 3rd ed. (1968),
section IV.5 (from memory).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct

from qc.stats.arrays import Floats
from qc.stats.chi_square import chi_square_cdf, normal_density
from qc.stats.quadrature import legendre_between
from qc.stats.sample_plans import AcceptanceGeometry
from qc.stats.sphere import beta_cdf, residual_tail

QUADRATURE_ERROR, PICTURE_ERROR = 5e-6, 5e-4
"""Greatest difference that more nodes make, with a factor of safety (see tests), in full and for a picture [-]."""
PICTURE = 0.65
"""Factor on every number of nodes for a picture: finer than a line is wide, at a sixth of the work [-]."""

_MOST_NODES = 40
_REACH = 8.5

_FLANK_CUTS = (0.0, 0.0006, 0.0013, 0.0028, 0.006, 0.013, 0.028, 0.06, 0.13, 0.28, 0.56, 1.0)
"""Cuts of a flank, in parts of its width from its outer end: small SDs matter only near that end, and whatever the SD,
the nodes between two cuts have to resolve it."""

AT_ONCE = 256
"""So many places of the surface are worked out at once: the arrays of more no longer fit beside the processor."""

_LEAST_SD = 0.0014
"""The least true SD that these cuts resolve, in parts of the width of a flank."""


def dosage_unit_chances(
    mean: Floats, sd: Floats, *, geometry: AcceptanceGeometry, fine: float = 1.0
) -> tuple[Floats, Floats, Floats]:
    """The chance that normal units pass at the first stage, and in all, with the error of the latter.

    Parameters
    ----------
    mean, sd : array, cells
        True mean and SD of each cell [% of label].
    geometry : AcceptanceGeometry
    fine : float
        1, or `PICTURE`.

    Returns
    -------
    first, overall, error : array, cells
        Chances, and what `overall` is off by at most [-].
    """
    first = acceptance_value_chance(mean, sd, n=geometry.first_size, k=geometry.first_k, geometry=geometry)
    error = np.full(mean.shape, QUADRATURE_ERROR if fine >= 1.0 else PICTURE_ERROR)
    if geometry.second_size == 0:
        return first, first, error
    second, of_pairs = second_stage_chance(mean, sd, surface=stage_surface(geometry, fine=fine))
    return first, np.minimum(first + second, 1.0), error + of_pairs


def acceptance_value_chance(
    mean: Floats,
    sd: Floats,
    *,
    n: int,
    k: float,
    geometry: AcceptanceGeometry,
) -> Floats:
    """The chance that the acceptance value of n units is no greater than its limit.

    Parameters
    ----------
    mean, sd : array, cells
        True mean and SD of the units [% of label].
    n : int
        Number of units, at least 2.
    k : float
        Acceptability constant for n units [-].
    geometry : AcceptanceGeometry
        Limit and reference range of the rule.

    Returns
    -------
    array, cells
        Chances, error below 1e-9 [-].

    References
    ----------
    Bergum & Li, Acceptance limits for the new ICH USP 29 content-uniformity test, Pharm. Technol. 31 (2007) 10, 90-100
    (the chance as an integral of the normal and chi-square densities).
    """
    chance = np.zeros(mean.shape)
    exact = sd <= 0.0
    chance[exact] = geometry.distance(mean[exact]) <= geometry.limit
    error = np.where(exact, 1.0, sd) / math.sqrt(n)
    for start, end in geometry.panels:
        low = np.maximum(start, mean - _REACH * error)
        high = np.minimum(end, mean + _REACH * error)
        held = np.flatnonzero((high > low) & ~exact)
        at, weight = legendre_between(low[held], high[held], count=_MOST_NODES)
        se, spread = error[held, None], sd[held, None]
        density = normal_density((at - mean[held, None]) / se) / se
        room = np.maximum(geometry.limit - geometry.distance(at), 0.0) / (k * spread)
        chance[held] += (weight * density * chi_square_cdf((n - 1) * room**2, degrees=n - 1)).sum(axis=1)
    return np.minimum(chance, 1.0)


def second_stage_chance(mean: Floats, sd: Floats, *, surface: StageSurface) -> tuple[Floats, Floats]:
    """The chance that the first stage fails and the second passes, and the error that pairs of stray units leave.

    Parameters
    ----------
    mean, sd : array, cells
        True mean and SD of the units [% of label].
    surface : StageSurface
        The surface of the rule.

    Returns
    -------
    chance, error : array, cells
        Chances and their error bounds, without the error of the quadrature [-].
    """
    chance, error = np.zeros(mean.shape), np.zeros(mean.shape)
    mean, sd = _enlarged(mean, sd, surface.geometry)
    n = surface.geometry.pooled_size
    degrees = n - 1
    constant = math.log(2.0) + 0.5 * degrees * math.log(0.5 * degrees) - math.lgamma(0.5 * degrees)
    for spread in sorted(set(sd[sd > 0.0].tolist())):
        here = np.flatnonzero(sd == spread)
        log_density = constant - degrees * math.log(spread) + (degrees - 1) * surface.log_sd
        density = np.exp(log_density - (0.5 * degrees / spread**2) * surface.sd**2)
        error_of_mean = spread / math.sqrt(n)
        steps = (surface.mean - mean[here, None]) / error_of_mean
        weight = normal_density(steps) * surface.mean_weight / error_of_mean
        chance[here] = weight @ (density * surface.sd_weight * surface.chance).sum(axis=1)
        error[here] = weight @ (density * surface.sd_weight * surface.error).sum(axis=1)
    return chance, error


def _enlarged(mean: Floats, sd: Floats, geometry: AcceptanceGeometry) -> tuple[Floats, Floats]:
    """Very small SDs made larger, with the distance from the nearer end in proportion.

    Near an end the boundary is a straight line through it, so that only the ratio of the two counts.
    """
    least = _LEAST_SD * geometry.limit
    small = (sd > 0.0) & (sd < least)
    if not bool(small.any()):
        return mean, sd
    low, *_, high = geometry.corners
    end = np.where(mean < 0.5 * (low + high), low, high)
    # Forty SDs from the end nothing is undecided any more.
    steps = np.clip((mean - end) / np.where(small, sd, 1.0), -40.0, 40.0)
    return np.where(small, end + steps * least, mean), np.where(small, least, sd)


class StageSurface(Struct, frozen=True, kw_only=True, eq=False):
    """The surface over (mean, SD) of the pooled sample on the nodes of a quadrature.

    `mean` and `mean_weight` hold one value a mean [% of label]; the other arrays are means x SDs. `chance` is
    that of failing the first stage with every unit inside its limits; `error` bounds its error from stray pairs.
    """

    geometry: AcceptanceGeometry
    mean: Floats
    mean_weight: Floats
    sd: Floats
    log_sd: Floats
    sd_weight: Floats
    chance: Floats
    error: Floats


@functools.lru_cache(maxsize=8)
def stage_surface(geometry: AcceptanceGeometry, *, fine: float = 1.0) -> StageSurface:
    """Work out the surface of a rule.

    Parameters
    ----------
    geometry : AcceptanceGeometry
        A rule of two stages with at least four units in each.
    fine : float
        Factor on every number of nodes: 2 is for checking the error of 1 [-].

    Returns
    -------
    StageSurface

    Its last answers are kept for the next question about the same rule.
    """
    mean, mean_weight = _mean_nodes(geometry, round(20 * fine))
    share, share_weight = legendre_between(0.0, 1.0, count=round(48 * fine))
    greatest = (geometry.limit - geometry.distance(mean)) / geometry.second_k
    sd = greatest[:, None] * share
    squares = (geometry.pooled_size - 1) * sd**2
    means = np.broadcast_to(mean[:, None], sd.shape)
    failed = _in_portions(
        lambda mean, squares: _first_stage_failed(geometry, mean, squares, round(28 * fine)),
        means.ravel(),
        squares.ravel(),
    ).reshape(sd.shape)
    reach = squares * (geometry.pooled_size - 1) / geometry.pooled_size
    room = geometry.unit_fraction * geometry.reference(mean) - geometry.distance(mean)
    near = (reach > room[:, None] ** 2) & (failed > 0.0)
    strays, pairs = np.zeros(sd.shape), np.zeros(sd.shape)
    strays[near] = _in_portions(
        lambda mean, squares: _stray_units(geometry, mean, squares, round(8 * fine), round(12 * fine)),
        means[near],
        squares[near],
    )
    pairs[near] = _stray_pairs(geometry, means[near], squares[near])
    low = np.clip(failed - strays, 0.0, failed)
    high = np.minimum(low + pairs, failed)
    kept = np.flatnonzero(high.max(axis=1) > 0.0)
    return StageSurface(
        geometry=geometry,
        mean=mean[kept],
        mean_weight=mean_weight[kept],
        sd=sd[kept],
        log_sd=np.log(sd[kept]),
        sd_weight=(greatest[:, None] * share_weight)[kept],
        chance=(0.5 * (low + high))[kept],
        error=(0.5 * (high - low))[kept],
    )


def _mean_nodes(geometry: AcceptanceGeometry, count: int) -> tuple[Floats, Floats]:
    """Nodes over every mean that can pass, crowded toward both ends, and their weights [% of label]."""
    left = [geometry.low - geometry.limit * (1.0 - cut) for cut in _FLANK_CUTS]
    right = [geometry.high + geometry.limit * (1.0 - cut) for cut in _FLANK_CUTS]
    edges = np.array(sorted({*left, *right}))
    mean, weight = legendre_between(edges[:-1], edges[1:], count=count)
    return mean.ravel(), weight.ravel()


def _in_portions(of_places: Callable[[Floats, Floats], Floats], mean: Floats, squares: Floats) -> Floats:
    """Work out something for every place of the surface, by its pooled mean and sum of squares, some at a time."""
    starts = range(0, mean.size, AT_ONCE)
    found = [of_places(mean[start : start + AT_ONCE], squares[start : start + AT_ONCE]) for start in starts]
    return np.concatenate([*found, np.zeros(0)])


def _between_stages(
    geometry: AcceptanceGeometry, mean: Floats, squares: Floats, cuts: tuple[float, ...], count: int
) -> tuple[Floats, Floats]:
    """Nodes and weights (with density) for u, the signed root of the part of the squares that lies between the stages.

    Both are places x nodes. The stretch is cut where the first stage's mean crosses one of `cuts` [% of label].
    """
    n, first, second = geometry.pooled_size, geometry.first_size, geometry.second_size
    power = (n - 4) / 2.0
    end = math.sqrt(1.0 - 10.0 ** (-11.0 / power))
    per_u = np.sqrt(squares * second / (n * first))
    inner = [np.clip((cut - mean) / per_u, -end, end) for cut in cuts]
    edges = np.stack([np.full(mean.shape, -end), *inner, np.full(mean.shape, end)], axis=1)
    u, weight = (part.reshape(mean.size, -1) for part in legendre_between(edges[:, :-1], edges[:, 1:], count=count))
    constant = math.exp(math.lgamma((n - 1) / 2) - math.lgamma((n - 2) / 2)) / math.sqrt(math.pi)
    return u, weight * constant * np.exp(power * np.log(1.0 - u * u))


def _least_failing_part(geometry: AcceptanceGeometry, first_mean: Floats, within: Floats) -> Floats:
    """The least part of the squares within the stages that, in the first one, makes its acceptance value too great."""
    room = np.maximum(geometry.limit - geometry.distance(first_mean), 0.0) / geometry.first_k
    return np.minimum((geometry.first_size - 1) * room**2 / within, 1.0)


def _first_stage_failed(geometry: AcceptanceGeometry, mean: Floats, squares: Floats, count: int) -> Floats:
    """The chance that the first stage failed, given the pooled mean and sum of squares of each place."""
    first, second, n = geometry.first_size, geometry.second_size, geometry.pooled_size
    u, weight = _between_stages(geometry, mean, squares, geometry.corners, count)
    total = squares[:, None]
    first_mean = mean[:, None] + u * np.sqrt(total * second / (n * first))
    least = _least_failing_part(geometry, first_mean, (1.0 - u**2) * total)
    chance = np.zeros(u.shape)
    live = (least < 1.0) & (weight > 1e-12)
    chance[live] = beta_cdf(1.0 - least[live], a=(second - 1) / 2.0, b=(first - 1) / 2.0)
    return np.asarray(np.clip((weight * chance).sum(axis=1), 0.0, 1.0), dtype=np.float64)


def _stray_units(geometry: AcceptanceGeometry, mean: Floats, squares: Floats, count: int, parts: int) -> Floats:
    """Expected number of units beyond the single-unit limits together with a failed first stage, of each place."""
    first, second, n = geometry.first_size, geometry.second_size, geometry.pooled_size
    u, weight = _between_stages(geometry, mean, squares, (geometry.low, geometry.high), count)
    total = squares[:, None]
    apart = u * np.sqrt(total * n / (first * second))
    first_mean, second_mean = mean[:, None] + apart * second / n, mean[:, None] - apart * first / n
    within = (1.0 - u**2) * total
    begin = np.arcsin(np.sqrt(_least_failing_part(geometry, first_mean, within)))
    angle, angle_weight = legendre_between(begin, 0.5 * math.pi, count=parts)
    sine, cosine = np.sin(angle), np.cos(angle)
    constant = 2.0 * math.exp(math.lgamma((n - 2) / 2) - math.lgamma((first - 1) / 2) - math.lgamma((second - 1) / 2))
    density = constant * sine ** (first - 2) * cosine ** (second - 2)
    reference, root = geometry.reference(mean)[:, None, None], np.sqrt(within)[:, :, None]
    top, bottom = (1.0 + geometry.unit_fraction) * reference, (1.0 - geometry.unit_fraction) * reference

    def beyond(centre: Floats, part: Floats, size: int) -> Floats:
        """Expected number of the units of one stage beyond either limit."""
        away, reach = centre[:, :, None], root * part
        above, below = residual_tail((top - away) / reach, n=size), residual_tail((away - bottom) / reach, n=size)
        return np.asarray(size * (above + below), dtype=np.float64)

    strays = beyond(first_mean, sine, first) + beyond(second_mean, cosine, second)
    return np.asarray((weight * (angle_weight * density * strays).sum(axis=2)).sum(axis=1), dtype=np.float64)


def _stray_pairs(geometry: AcceptanceGeometry, mean: Floats, squares: Floats) -> Floats:
    """Expected number of pairs of units beyond the single-unit limits, whatever the first stage did."""
    n = geometry.pooled_size
    reference, root = geometry.reference(mean), np.sqrt(squares)
    above = ((1.0 + geometry.unit_fraction) * reference - mean) / root
    below = (mean - (1.0 - geometry.unit_fraction) * reference) / root
    greatest = math.sqrt((n - 1) / n)
    constant = math.exp(math.lgamma((n - 1) / 2) - math.lgamma((n - 2) / 2)) / math.sqrt(math.pi)
    result = np.zeros(mean.shape)
    for near, far in ((above, below), (below, above)):
        residual, weight = legendre_between(near, np.maximum(greatest, near), count=24)
        left = np.maximum(1.0 - residual**2 * n / (n - 1), 1e-300)
        density = constant * math.sqrt(n / (n - 1)) * left ** ((n - 4) / 2)
        shift = residual / (n - 1)
        others = residual_tail((near[:, None] + shift) / np.sqrt(left), n=n - 1)
        others += residual_tail((far[:, None] - shift) / np.sqrt(left), n=n - 1)
        result += 0.5 * n * (n - 1) * (weight * density * others).sum(axis=1)
    return result
