"""The chance that normal units pass a test about their own mean: uniformity of mass, and content tests A, B and C."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.stats.chi_square import normal_cdf
from qc.stats.own_mean_counts import TwoStageCounts, continued_then_passed, counts_about_own_mean
from qc.stats.quadrature import hermite_points, legendre_points

Array = NDArray[np.float64]

QUADRATURE_ERROR = 1e-6
"""More than doubling every number of quadrature nodes changes a chance (see tests)."""

_MANY = 64
"""Terms of the series from which chances are read when more different spreads than these are asked about."""


class StageChances(Struct, frozen=True, kw_only=True):
    """Chances of passing at the first stage and overall, one entry a true mean and SD [-]."""

    first: Array
    overall: Array


def mass_chances(mean: Array, sd: Array, *, rule: MassRule, band: MassBand) -> StageChances:
    """The chance that normal units pass a uniformity-of-mass test.

    Parameters
    ----------
    mean, sd : ndarray
        True mean and SD, one-dimensional, of one length. About the sample mean only their ratio matters; about a
        labelled mass, both are in % of it.
    rule : MassRule
    band : MassBand
        The row of the rule's table that holds.

    Returns
    -------
    StageChances
        Both alike: the test has one stage.
    """
    inner, outer = float(band.limit_percent) / 100.0, float(band.outer_percent) / 100.0
    if rule.basis is MassBasis.LABELLED_MASS:
        chance = _about_a_label(mean, sd, inner, outer, rule)
        return StageChances(first=chance, overall=chance)

    def passes(ratio: float) -> float:
        return _pattern(
            ratio, inner, outer, n=rule.sample_size, most=rule.most_beyond_limit, most_outer=rule.most_beyond_outer
        )

    chance = _by_ratio(sd / mean, inner, passes)
    return StageChances(first=chance, overall=chance)


def content_chances(mean: Array, sd: Array, *, rule: ContentRule) -> StageChances:
    """The chance that normal units pass a uniformity-of-content test, of one stage or two.

    Parameters
    ----------
    mean, sd : ndarray
        True mean and SD, one-dimensional, of one length [% of label]. Where the rule does not bound the mean, only
        their ratio matters.
    rule : ContentRule

    Returns
    -------
    StageChances
    """
    inner, outer = float(rule.inner_percent) / 100.0, float(rule.outer_percent) / 100.0
    passes = rule.passes_with if rule.inner_applies else 0
    inner = inner if rule.inner_applies else outer
    counts = TwoStageCounts(
        first_size=rule.first_size,
        second_size=rule.second_size,
        inner=inner,
        outer=outer,
        passes_with=rule.passes_with,
        continues_with=rule.continues_with,
        second_passes_with=rule.second_passes_with,
    )
    if rule.mean_low_percent is not None or rule.mean_high_percent is not None:
        return _with_bounded_mean(mean, sd, rule=rule, counts=counts, passes=passes)
    first = _by_ratio(sd / mean, inner, lambda ratio: _pattern(ratio, inner, outer, n=rule.first_size, most=passes))
    if rule.second_size == 0:
        return StageChances(first=first, overall=first)
    second = _by_ratio(sd / mean, inner, lambda ratio: _second_stage(ratio, counts))
    return StageChances(first=first, overall=np.minimum(first + second, 1.0))


def _with_bounded_mean(
    mean: Array, sd: Array, *, rule: ContentRule, counts: TwoStageCounts, passes: int
) -> StageChances:
    """Chances where the mean of the first stage is bounded in % of label: mean and SD both count."""
    first, overall = np.empty(mean.shape), np.empty(mean.shape)
    for at, (centre, spread) in enumerate(zip(mean.tolist(), sd.tolist(), strict=True)):
        low = -math.inf if rule.mean_low_percent is None else float(rule.mean_low_percent) / centre
        high = math.inf if rule.mean_high_percent is None else float(rule.mean_high_percent) / centre
        ratio = spread / centre
        first[at] = _pattern(ratio, counts.inner, counts.outer, n=rule.first_size, most=passes, low=low, high=high)
        second = _second_stage(ratio, counts, low=low, high=high) if rule.second_size > 0 else 0.0
        overall[at] = min(first[at] + second, 1.0)
    return StageChances(first=first, overall=overall)


def _by_ratio(ratios: Array, inner: float, chance_at: Callable[[float], float]) -> Array:
    """A chance that depends on the ratio of SD to mean alone, worked out once for each ratio.

    Very many ratios are read off one Chebyshev series. Its variable, ratio / (ratio + inner limit), takes every ratio
    to a number between 0 and 1, so that a wide range does no harm.
    """
    different = np.array(sorted(set(ratios.ravel().tolist())))
    places = np.searchsorted(different, ratios.ravel())
    if different.size <= _MANY:
        return np.array([chance_at(float(ratio)) for ratio in different])[places].reshape(ratios.shape)
    places_of = different / (different + inner)
    low, high = float(places_of[0]), float(places_of[-1])
    points = 0.5 * (low + high) + 0.5 * (high - low) * np.cos(math.pi * (np.arange(_MANY) + 0.5) / _MANY)
    values = np.array([chance_at(float(inner * point / (1.0 - point))) for point in points])
    series = np.polynomial.chebyshev.Chebyshev.fit(points, values, _MANY - 1, domain=[low, high])
    found = np.asarray(series(places_of), dtype=np.float64)
    return np.clip(found, 0.0, 1.0)[places].reshape(ratios.shape)


def _pattern(
    ratio: float,
    inner: float,
    outer: float,
    *,
    n: int,
    most: int,
    most_outer: int = 0,
    low: float = -math.inf,
    high: float = math.inf,
) -> float:
    """Chance that no more than `most` of n units lie beyond the inner limit and no more than `most_outer` beyond both.

    The limits are fractions of the sample mean, which lies between `low` and `high` of the true mean.
    """
    if ratio == 0.0:
        return float(low <= 1.0 <= high)
    error = ratio / math.sqrt(n)
    if low <= 0.0 and math.isinf(high):
        steps, density = hermite_points(11)
        centre = np.maximum(1.0 + error * steps, 0.0)
    else:
        start, end = max(low, 1.0 - 8.5 * error), min(high, 1.0 + 8.5 * error)
        if end <= start:
            return 0.0
        nodes, weights = legendre_points(28)
        half = 0.5 * (end - start)
        centre = 0.5 * (start + end) + half * nodes
        density = half * weights * np.exp(-0.5 * ((centre - 1.0) / error) ** 2) / (error * math.sqrt(2.0 * math.pi))
    counts = counts_about_own_mean(
        inner * centre / ratio, outer * centre / ratio, n=n, most_inner=most, most_outer=most_outer
    )
    return min(float(density @ counts.sum(axis=1)), 1.0)


def _second_stage(ratio: float, counts: TwoStageCounts, *, low: float = -math.inf, high: float = math.inf) -> float:
    """Chance of going on to the second stage and passing it; the first mean lies between bounds [of the true mean]."""
    # Where the inner limit is eight SDs away nobody is ever asked for a second stage.
    if ratio * 8.0 <= counts.inner:
        return 0.0
    error = ratio / math.sqrt(counts.first_size + counts.second_size)
    # The chance changes little over the few percent by which the common mean varies, unless the first mean is bounded.
    steps, weights = hermite_points(3 if math.isinf(low) and math.isinf(high) else 15)
    return sum(
        float(weight) * continued_then_passed(float(at), rule=counts, first_low=low / ratio, first_high=high / ratio)
        for at, weight in zip((1.0 + error * steps) / ratio, weights, strict=True)
        if at > 0.0
    )


def _about_a_label(mean: Array, sd: Array, inner: float, outer: float, rule: MassRule) -> Array:
    """Units judged against a fixed mass are independent: a trinomial chance."""
    n = rule.sample_size
    spread = np.where(sd > 0.0, sd, 1.0)

    def within(fraction: float) -> Array:
        top, bottom = 100.0 * (1.0 + fraction), 100.0 * (1.0 - fraction)
        chance = normal_cdf((top - mean) / spread) - normal_cdf((bottom - mean) / spread)
        return np.where(sd > 0.0, chance, ((mean >= bottom) & (mean <= top)).astype(np.float64))

    near, both = within(inner), within(outer)
    chance = np.zeros(mean.shape)
    for count in range(rule.most_beyond_limit + 1):
        for farther in range(min(rule.most_beyond_outer, count) + 1):
            ways = math.comb(n, count) * math.comb(count, farther)
            chance += ways * near ** (n - count) * (both - near) ** (count - farther) * (1.0 - both) ** farther
    return np.clip(chance, 0.0, 1.0)
