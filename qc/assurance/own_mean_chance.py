"""The chance that normal units pass a test that counts them beyond limits: uniformity of mass, content tests A to C.

About the own mean, the counts of the sample given its mean are those of residuals (`qc.stats.own_mean_counts`), summed
over the mean; about a labelled mass the units are independent.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from qc.stats.arrays import Floats
from qc.stats.chi_square import fraction_within, normal_density
from qc.stats.own_mean_counts import continued_then_passed, counts_about_own_mean
from qc.stats.quadrature import hermite_points, legendre_between
from qc.stats.sample_plans import CountPlan

QUADRATURE_ERROR = 1e-6
"""More than doubling every number of quadrature nodes changes a chance (see tests)."""

_MANY = 64
"""Terms of the series from which chances are read when more different spreads than these are asked about."""


def count_chances(mean: Floats, sd: Floats, *, plan: CountPlan) -> tuple[Floats, Floats]:
    """The chance that normal units pass at the first stage, and in all.

    Parameters
    ----------
    mean, sd : array, cells
        True mean and SD of each cell [% of label]. About the sample mean, where the plan does not bound it, only their
        ratio matters; about a labelled mass, both are in % of it.
    plan : CountPlan

    Returns
    -------
    first, overall : array, cells
        Chances, error below `QUADRATURE_ERROR` [-].

    References
    ----------
    Sample mean and residuals of normal values are independent: Cramér, Mathematical Methods of Statistics (1946),
    section 29.3. The sums over them: own derivation, checked by 16 million simulated batches (tests/reference/chance).
    """
    if plan.about_label:
        chance = _about_a_label(mean, sd, plan)
        return chance, chance
    ratios = sd / mean
    if plan.bounds_the_mean:
        cells = list(
            zip(ratios.tolist(), (plan.mean_low / mean).tolist(), (plan.mean_high / mean).tolist(), strict=True)
        )
        first = np.array([_first_stage(plan, *cell) for cell in cells])
        second = np.array([_second_stage(plan, *cell) for cell in cells])
    else:
        first = _by_ratio(ratios, plan.inner, lambda ratio: _first_stage(plan, ratio))
        second = _by_ratio(ratios, plan.inner, lambda ratio: _second_stage(plan, ratio))
    return first, np.minimum(first + second, 1.0)


def _by_ratio(ratios: Floats, inner: float, chance_at: Callable[[float], float]) -> Floats:
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


def _first_stage(plan: CountPlan, ratio: float, low: float = -math.inf, high: float = math.inf) -> float:
    """The chance of passing at the first stage, by the ratio of SD to mean.

    The limits are fractions of the sample mean, which lies between `low` and `high` of the true mean.
    """
    if ratio == 0.0:
        return float(low <= 1.0 <= high)
    error = ratio / math.sqrt(plan.first_size)
    if low <= 0.0 and math.isinf(high):
        steps, density = hermite_points(11)
        centre = np.maximum(1.0 + error * steps, 0.0)
    else:
        start, end = max(low, 1.0 - 8.5 * error), min(high, 1.0 + 8.5 * error)
        if end <= start:
            return 0.0
        centre, weights = legendre_between(start, end, count=28)
        density = weights * normal_density((centre - 1.0) / error) / error
    counts = counts_about_own_mean(
        plan.inner * centre / ratio,
        plan.outer * centre / ratio,
        n=plan.first_size,
        most_inner=plan.passes_with,
        most_outer=plan.most_outer,
    )
    return min(float(density @ counts.sum(axis=1)), 1.0)


def _second_stage(plan: CountPlan, ratio: float, low: float = -math.inf, high: float = math.inf) -> float:
    """The chance of going on to the second stage and passing it; the first mean lies within ends [of the true one]."""
    # Where the inner limit is eight SDs away nobody is ever asked for a second stage.
    if plan.second_size == 0 or ratio * 8.0 <= plan.inner:
        return 0.0
    error = ratio / math.sqrt(plan.first_size + plan.second_size)
    # The chance changes little over the few percent by which the common mean varies, unless the first mean is bounded.
    steps, weights = hermite_points(3 if math.isinf(low) and math.isinf(high) else 15)
    return sum(
        float(weight) * continued_then_passed(float(at), rule=plan, first_low=low / ratio, first_high=high / ratio)
        for at, weight in zip((1.0 + error * steps) / ratio, weights, strict=True)
        if at > 0.0
    )


def _about_a_label(mean: Floats, sd: Floats, plan: CountPlan) -> Floats:
    """Units judged against a fixed mass are independent: a trinomial chance."""
    n = plan.first_size
    near, both = (
        fraction_within(mean, sd, low=100.0 * (1.0 - limit), high=100.0 * (1.0 + limit))
        for limit in (plan.inner, plan.outer)
    )
    chance = np.zeros(mean.shape)
    for count in range(plan.passes_with + 1):
        for farther in range(min(plan.most_outer, count) + 1):
            ways = math.comb(n, count) * math.comb(count, farther)
            chance += ways * near ** (n - count) * (both - near) ** (count - farther) * (1.0 - both) ** farther
    return np.clip(chance, 0.0, 1.0)
