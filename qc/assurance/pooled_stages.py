"""Given the mean and SD of all units pooled: the chance that the first stage failed and no single unit strays too far.

The residuals of normal units about their mean, divided by the root of their sum of squares, are spread evenly over a
sphere. On it, u is the part of the squares that lies between the two stages, v the part of the rest that lies within
the first stage; both have beta distributions, and each stage's own residuals are again even over smaller spheres.

Single units are counted by inclusion and exclusion: the expected number beyond the limits is taken off, and the
expected number of pairs beyond them bounds what that takes off twice (Bonferroni's inequalities).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.assurance.acceptance_geometry import AcceptanceGeometry
from qc.stats.quadrature import legendre_points
from qc.stats.sphere import beta_cdf, residual_tail

Array = NDArray[np.float64]

_FLANK_CUTS = (0.0, 0.0006, 0.0013, 0.0028, 0.006, 0.013, 0.028, 0.06, 0.13, 0.28, 0.56, 1.0)
"""Cuts of a flank, in parts of its width from its outer end: small SDs matter only near that end, and whatever the SD,
the nodes between two cuts have to resolve it."""

AT_ONCE = 256
"""So many places of the surface are worked out at once: the arrays of more no longer fit beside the processor."""

_LEAST_SD = 0.0014
"""The least true SD that these cuts resolve, in parts of the width of a flank."""


class StageSurface(Struct, frozen=True, kw_only=True, eq=False):
    """The surface over (mean, SD) of the pooled sample on the nodes of a quadrature.

    `mean` and `mean_weight` hold one value a mean; the other arrays one row a mean and one column an SD. `chance` is
    that of failing the first stage with every unit inside its limits; `doubt` bounds its error from stray pairs.
    `ends` are the outermost means that can pass, `least_sd` the least true SD that the nodes resolve.
    """

    n: int
    ends: tuple[float, float]
    least_sd: float
    mean: Array
    mean_weight: Array
    sd: Array
    log_sd: Array
    sd_weight: Array
    chance: Array
    doubt: Array


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

    References
    ----------
    Sufficiency and independence of residual directions: Basu, Sankhya 15 (1955) 377-380. Distribution of a single
    residual: Thompson, Ann. Math. Statist. 6 (1935) 214-219.
    """
    mean, mean_weight = _mean_nodes(geometry, round(20 * fine))
    share, share_weight = _legendre(0.0, 1.0, round(48 * fine))
    greatest = (geometry.limit - geometry.distance(mean)) / geometry.second_k
    sd = greatest[:, None] * share
    squares = (geometry.pooled_size - 1) * sd**2
    means = np.broadcast_to(mean[:, None], sd.shape)
    failed = _first_stage_failed(geometry, means.ravel(), squares.ravel(), round(28 * fine)).reshape(sd.shape)
    reach = squares * (geometry.pooled_size - 1) / geometry.pooled_size
    room = geometry.unit_fraction * geometry.reference(mean) - geometry.distance(mean)
    near = (reach > room[:, None] ** 2) & (failed > 0.0)
    strays, pairs = np.zeros(sd.shape), np.zeros(sd.shape)
    strays[near] = _stray_units(geometry, means[near], squares[near], round(8 * fine), round(12 * fine))
    pairs[near] = _stray_pairs(geometry, means[near], squares[near])
    low = np.clip(failed - strays, 0.0, failed)
    high = np.minimum(low + pairs, failed)
    kept = np.flatnonzero(high.max(axis=1) > 0.0)
    return StageSurface(
        n=geometry.pooled_size,
        ends=(geometry.low - geometry.limit, geometry.high + geometry.limit),
        least_sd=_LEAST_SD * geometry.limit,
        mean=mean[kept],
        mean_weight=mean_weight[kept],
        sd=sd[kept],
        log_sd=np.log(sd[kept]),
        sd_weight=(greatest[:, None] * share_weight)[kept],
        chance=(0.5 * (low + high))[kept],
        doubt=(0.5 * (high - low))[kept],
    )


def _legendre(start: float, end: float, count: int) -> tuple[Array, Array]:
    nodes, weights = legendre_points(count)
    half = 0.5 * (end - start)
    return 0.5 * (start + end) + half * nodes, half * weights


def _mean_nodes(geometry: AcceptanceGeometry, count: int) -> tuple[Array, Array]:
    """Nodes over every mean that can pass, crowded toward both ends."""
    left = [geometry.low - geometry.limit * (1.0 - cut) for cut in _FLANK_CUTS]
    right = [geometry.high + geometry.limit * (1.0 - cut) for cut in reversed(_FLANK_CUTS)]
    edges = sorted({*left, *right})
    parts = [_legendre(start, end, count) for start, end in itertools.pairwise(edges)]
    return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])


def _between_stages(
    geometry: AcceptanceGeometry, mean: Array, squares: Array, cuts: tuple[float, ...], count: int
) -> tuple[Array, Array]:
    """Nodes and weights (with density) for u, the signed root of the part of the squares that lies between the stages.

    The stretch is cut where the first stage's mean crosses one of `cuts`.
    """
    n, first, second = geometry.pooled_size, geometry.first_size, geometry.second_size
    power = (n - 4) / 2.0
    end = math.sqrt(1.0 - 10.0 ** (-11.0 / max(power, 0.5)))
    per_u = np.sqrt(squares * second / (n * first))
    inner = [np.clip((cut - mean) / per_u, -end, end) for cut in cuts]
    edges = np.stack([np.full(mean.shape, -end), *inner, np.full(mean.shape, end)], axis=1)
    nodes, weights = legendre_points(count)
    half = 0.5 * np.diff(edges, axis=1)[:, :, None]
    u = (0.5 * (edges[:, :-1] + edges[:, 1:])[:, :, None] + half * nodes).reshape(mean.size, -1)
    weight = np.broadcast_to(half * weights, (*half.shape[:2], count)).reshape(mean.size, -1)
    constant = math.exp(math.lgamma((n - 1) / 2) - math.lgamma((n - 2) / 2)) / math.sqrt(math.pi)
    return u, weight * constant * np.exp(power * np.log(1.0 - u * u))


def _least_failing_part(geometry: AcceptanceGeometry, first_mean: Array, within: Array) -> Array:
    """The least part of the squares within the stages that, in the first one, makes its acceptance value too great."""
    room = np.maximum(geometry.limit - geometry.distance(first_mean), 0.0) / geometry.first_k
    return np.minimum((geometry.first_size - 1) * room**2 / within, 1.0)


def _first_stage_failed(geometry: AcceptanceGeometry, mean: Array, squares: Array, count: int) -> Array:
    """The chance that the first stage failed, given the pooled mean and sum of squares."""
    first, second, n = geometry.first_size, geometry.second_size, geometry.pooled_size
    low, high, limit = geometry.low, geometry.high, geometry.limit
    cuts = (low - limit, low, high, high + limit)
    result = np.zeros(mean.shape)
    for start in range(0, mean.size, AT_ONCE):
        part = slice(start, start + AT_ONCE)
        u, weight = _between_stages(geometry, mean[part], squares[part], cuts, count)
        total = squares[part, None]
        first_mean = mean[part, None] + u * np.sqrt(total * second / (n * first))
        least = _least_failing_part(geometry, first_mean, (1.0 - u**2) * total)
        chance = np.zeros(u.shape)
        live = (least < 1.0) & (weight > 1e-12)
        chance[live] = beta_cdf(1.0 - least[live], a=(second - 1) / 2.0, b=(first - 1) / 2.0)
        result[part] = (weight * chance).sum(axis=1)
    return np.clip(result, 0.0, 1.0)


def _stray_units(geometry: AcceptanceGeometry, mean: Array, squares: Array, count: int, parts: int) -> Array:
    """Expected number of units beyond the single-unit limits together with a failed first stage."""
    first, second, n = geometry.first_size, geometry.second_size, geometry.pooled_size
    nodes, weights = legendre_points(parts)
    constant = 2.0 * math.exp(math.lgamma((n - 2) / 2) - math.lgamma((first - 1) / 2) - math.lgamma((second - 1) / 2))
    result = np.zeros(mean.shape)
    for start in range(0, mean.size, AT_ONCE):
        part = slice(start, start + AT_ONCE)
        u, weight = _between_stages(geometry, mean[part], squares[part], (geometry.low, geometry.high), count)
        total = squares[part, None]
        apart = u * np.sqrt(total * n / (first * second))
        first_mean = (mean[part, None] + apart * second / n)[:, :, None]
        second_mean = (mean[part, None] - apart * first / n)[:, :, None]
        within = (1.0 - u**2) * total
        least = _least_failing_part(geometry, first_mean[:, :, 0], within)
        begin = np.arcsin(np.sqrt(least))[:, :, None]
        half = 0.5 * (0.5 * math.pi - begin)
        angle = begin + half * (1.0 + nodes)
        sine, cosine = np.sin(angle), np.cos(angle)
        angle_weight = half * weights * constant * sine ** (first - 2) * cosine ** (second - 2)
        reference = geometry.reference(mean[part])[:, None, None]
        top, bottom = (1.0 + geometry.unit_fraction) * reference, (1.0 - geometry.unit_fraction) * reference
        root = np.sqrt(within)[:, :, None]
        in_first, in_second = root * sine, root * cosine
        strays = first * (
            residual_tail((top - first_mean) / in_first, n=first)
            + residual_tail((first_mean - bottom) / in_first, n=first)
        )
        strays += second * (
            residual_tail((top - second_mean) / in_second, n=second)
            + residual_tail((second_mean - bottom) / in_second, n=second)
        )
        result[part] = (weight * (angle_weight * strays).sum(axis=2)).sum(axis=1)
    return result


def _stray_pairs(geometry: AcceptanceGeometry, mean: Array, squares: Array) -> Array:
    """Expected number of pairs of units beyond the single-unit limits, whatever the first stage did."""
    n = geometry.pooled_size
    reference, root = geometry.reference(mean), np.sqrt(squares)
    above = ((1.0 + geometry.unit_fraction) * reference - mean) / root
    below = (mean - (1.0 - geometry.unit_fraction) * reference) / root
    greatest = math.sqrt((n - 1) / n)
    nodes, weights = legendre_points(24)
    constant = math.exp(math.lgamma((n - 1) / 2) - math.lgamma((n - 2) / 2)) / math.sqrt(math.pi)
    result = np.zeros(mean.shape)
    for near, far in ((above, below), (below, above)):
        half = 0.5 * np.maximum(greatest - near, 0.0)[:, None]
        residual = near[:, None] + half * (1.0 + nodes)
        left = np.maximum(1.0 - residual**2 * n / (n - 1), 1e-300)
        density = constant * math.sqrt(n / (n - 1)) * left ** ((n - 4) / 2)
        shift = residual / (n - 1)
        others = residual_tail((near[:, None] + shift) / np.sqrt(left), n=n - 1)
        others += residual_tail((far[:, None] - shift) / np.sqrt(left), n=n - 1)
        result += 0.5 * n * (n - 1) * (half * weights * density * others).sum(axis=1)
    return result
