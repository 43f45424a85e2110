"""How many of n normal values lie beyond limits set about their own mean: exact chances by one Fourier integral.

The residuals about the sample mean are distributed as independent standard normal values whose sum happens to be
zero, and are independent of the mean itself. The chance of a pattern of counts is therefore a product of truncated
normal densities, n-fold convoluted and read off at zero, over the same without truncation.

With a second group that joins the first, the common mean is held fixed at a number of SDs, since the limits are
fractions of it. The first group's mean then differs from it by a normal amount; given that, the groups are independent,
and each is a set of normal values with a fixed sum. A value of the first group is counted twice, about its group's mean
and about the common one.

References
----------
The residuals as normal values with a fixed sum: Cramér, Mathematical Methods of Statistics (1946), section 29.3.
The truncated densities, their sum read off one inverse Fourier integral: own derivation, checked by simulation.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.stats.arrays import Floats
from qc.stats.chi_square import normal_density
from qc.stats.quadrature import legendre_between
from qc.stats.sample_plans import CountPlan

_FAR = 9.0
"""A normal value lies farther out than this with a chance below 1e-18."""
_FEW = 10
"""Below so many values the integrand falls slowly, and takes more nodes."""
_PLACES = 80
_PLACES_OF_FEW = 320
_FAR_OF_A_SHIFT = 8.0
_SHIFTS = 10
_SHIFT_REACH = 6.0
_PLACES_OF_A_SHIFT = 28


def counts_about_own_mean(
    inner: ArrayLike, outer: ArrayLike, *, n: int, most_inner: int, most_outer: int = 0
) -> Floats:
    """The chance that exactly 0, 1, ... values lie beyond the inner limit, and not too many beyond the outer one.

    Parameters
    ----------
    inner, outer : array_like
        Limits about the sample mean on both sides, in true SDs; one-dimensional, inner no greater than outer [SD].
    n : int
        Number of values, at least 6.
    most_inner : int
        Greatest count beyond the inner limit that is asked for.
    most_outer : int
        Greatest count allowed beyond the outer limit (these count as beyond the inner one too).

    Returns
    -------
    ndarray
        One row a limit, one column a count from 0 to `most_inner`. The error is below 1e-9 from 10 values on, and
        below 1e-6 from 6 on [-].

    References
    ----------
    The residuals as normal values with a fixed sum: Cramér, Mathematical Methods of Statistics (1946), section 29.3.

    Raises
    ------
    ValueError
        When there are fewer than 6 values; the integral converges too slowly for them.

    Examples
    --------
    >>> counts_about_own_mean([2.0], [3.0], n=20, most_inner=2).round(4).tolist()
    [[0.4462, 0.3425, 0.1315]]
    """
    if n < 6:
        raise ValueError(f"counts among {n} values; at least 6 are needed")
    inside = np.clip(np.atleast_1d(np.asarray(inner, dtype=np.float64)), 0.0, _FAR)
    allowed = np.clip(np.atleast_1d(np.asarray(outer, dtype=np.float64)), inside, _FAR)
    result = np.zeros((inside.size, most_inner + 1))
    for row, (near, far) in enumerate(zip(inside.tolist(), allowed.tolist(), strict=True)):
        if near > 0.0:
            # The integrand falls as a normal density for wide limits, and as a power of 1/t for narrow ones.
            highest, places = (3.0 + 14.0 / near, _PLACES) if n >= _FEW else (3.0 + 60.0 / near, _PLACES_OF_FEW)
            most = most_inner, most_outer
            found = _counts(near, far, np.zeros(1), n=n, most=most, highest=highest, places=places)
            result[row] = np.concatenate(found)
    return np.clip(result, 0.0, 1.0)


def _counts(
    near: float, far: float, shift: Floats, *, n: int, most: tuple[int, int], highest: float, places: int
) -> list[Floats]:
    """Chance of each count of n values beyond `near` and not too many beyond `far`, their mean shifted [SD].

    One array a count up to the first of `most`, one entry a shift; the second of `most` is allowed beyond `far`.
    """
    frequency, weight = _frequencies(highest, n)
    ends = [np.full_like(shift, end) for end in (-far, -near, near, far)]
    below, within, above = (_transform(*stretch, shift, frequency, places) for stretch in itertools.pairwise(ends))
    between = below + above
    beyond = np.exp(-0.5 * frequency**2 - 1j * shift[:, None] * frequency) - within - between
    scale = math.sqrt(2.0 * math.pi * n) * np.exp(0.5 * n * shift**2)
    chances = []
    for count in range(most[0] + 1):
        total = np.zeros(within.shape, dtype=np.complex128)
        for farther in range(min(most[1], count) + 1):
            ways = math.comb(n, count) * math.comb(count, farther)
            total += ways * within ** (n - count) * between ** (count - farther) * beyond**farther
        chances.append(scale * (np.real(total) @ weight))
    return chances


def continued_then_passed(
    common_mean: float, *, rule: CountPlan, first_low: float = -math.inf, first_high: float = math.inf
) -> float:
    """The chance that the second group was asked for and all values together then pass, given the common mean.

    Parameters
    ----------
    common_mean : float
        Mean of all values, in their true SD, positive [SD].
    rule : CountPlan
    first_low, first_high : float
        Where the mean of the first group has to lie besides [SD].

    Returns
    -------
    float
        Chance, error below 1e-7 [-].

    Raises
    ------
    ValueError
        When a group has fewer than 6 values.
    """
    if min(rule.first_size, rule.second_size) < 6:
        raise ValueError(f"groups of {rule.first_size} and {rule.second_size} values; each needs at least 6")
    n = rule.first_size + rule.second_size
    spread = math.sqrt(rule.second_size / (rule.first_size * n))
    low = max((first_low - common_mean) / spread, -_SHIFT_REACH)
    high = min((first_high - common_mean) / spread, _SHIFT_REACH)
    # At a shift of zero the limits about both means coincide, and the integrand has a kink there.
    parts = [(start, end) for start, end in ((low, min(high, 0.0)), (max(low, 0.0), high)) if end > start]
    if not parts:
        return 0.0
    starts, ends = np.transpose(parts)
    steps, widths = (part.ravel() for part in legendre_between(starts, ends, count=_SHIFTS))
    density = widths * normal_density(steps)
    shift = np.maximum(steps * spread, -0.9 * common_mean)
    first = _first_group(common_mean, shift, rule)
    allowed = rule.second_passes_with
    near, far = (min(limit * common_mean, _FAR_OF_A_SHIFT) for limit in (rule.inner, rule.outer))
    second = _counts(
        near,
        far,
        -shift * rule.first_size / rule.second_size,
        n=rule.second_size,
        most=(allowed, 0),
        highest=3.0 + 8.0 / max(near, 0.05),
        places=_PLACES_OF_A_SHIFT,
    )
    together = sum(
        first[in_first] * second[in_second]
        for in_first in range(allowed + 1)
        for in_second in range(allowed + 1 - in_first)
    )
    return min(max(float(density @ together), 0.0), 1.0)


def _first_group(common_mean: float, shift: Floats, rule: CountPlan) -> list[Floats]:
    """Chance of asking for the second group, by the count beyond the inner limit about the common mean.

    One array a count, one entry a shift of the first group's mean above the common one [SD].
    """
    near, far = rule.inner * common_mean, rule.outer * common_mean
    near_first, far_first = rule.inner * (common_mean + shift), rule.outer * (common_mean + shift)
    start = np.maximum(np.maximum(-far, shift - far_first), -_FAR_OF_A_SHIFT)
    end = np.maximum(np.minimum(np.minimum(far, shift + far_first), _FAR_OF_A_SHIFT), start)
    cuts = np.stack(
        [start, np.full_like(shift, -near), np.full_like(shift, near), shift - near_first, shift + near_first, end]
    )
    edges = np.sort(np.clip(cuts, start, end), axis=0)
    nearest = min(near, float(near_first.min()))
    frequency, weight = _frequencies(3.0 + 8.0 / max(nearest, 0.05), rule.first_size)
    # Of a value by whether it lies beyond the inner limit about the first mean, and about the common one.
    patterns = np.zeros((2, 2, shift.size, frequency.size), dtype=np.complex128)
    for low, high in itertools.pairwise(edges):
        middle = 0.5 * (low + high)
        beyond_first, beyond_common = np.abs(middle - shift) > near_first, np.abs(middle) > near
        here = (beyond_first.astype(int), beyond_common.astype(int), np.arange(shift.size))
        patterns[here] += _transform(low, high, shift, frequency, _PLACES_OF_A_SHIFT)
    return _asked_for_more(patterns, weight, shift, rule)


def _asked_for_more(patterns: NDArray[np.complex128], weight: Floats, shift: Floats, rule: CountPlan) -> list[Floats]:
    """Sum over the ways in which values of the first group fall beyond one limit, the other, or both."""
    size = rule.first_size
    scale = math.sqrt(2.0 * math.pi * size) * np.exp(0.5 * size * shift**2)
    chances = [np.zeros(shift.shape) for _ in range(rule.second_passes_with + 1)]
    ((neither, only_common), (only_first, both)) = patterns
    for beyond_first in range(rule.passes_with + 1, rule.continues_with + 1):
        for shared in range(min(beyond_first, rule.second_passes_with) + 1):
            for further in range(min(size - beyond_first, rule.second_passes_with - shared) + 1):
                inside, apart = size - beyond_first - further, beyond_first - shared
                ways = math.comb(size, beyond_first) * math.comb(beyond_first, shared)
                ways *= math.comb(size - beyond_first, further)
                value = neither**inside * only_first**apart * only_common**further * both**shared
                chances[shared + further] += ways * scale * (np.real(value) @ weight)
    return chances


def _transform(start: Floats, end: Floats, centre: Floats, frequency: Floats, places: int) -> NDArray[np.complex128]:
    """Integral of the normal density times exp(it(z - centre)) from start to end; a row a shift, a column a frequency.

    The sums are moved to zero in this way, so that the transforms turn slowly.
    """
    z, weight = legendre_between(start, end, count=places)
    # The frequencies are even multiples of the first one: of few turns and few greater ones every one is a product, and
    # all products are one of matrices.
    few = math.isqrt(frequency.size - 1) + 1
    turns = _powers(np.exp(1j * frequency[1] * (z - centre[:, None])), few + 1)
    greater = weight * normal_density(z) * _powers(turns[few], few)
    sums = greater.transpose(1, 0, 2) @ turns[:few].transpose(1, 2, 0)
    return np.asarray(sums.reshape(len(z), -1)[:, : frequency.size], dtype=np.complex128)


def _powers(base: NDArray[np.complex128], count: int) -> NDArray[np.complex128]:
    """The powers from 0 on, so many, along a first axis of their own."""
    every = np.ones((count, *base.shape), dtype=np.complex128)
    every[1:] = base
    np.cumprod(every, axis=0, out=every)
    return every


def _frequencies(end: float, size: int) -> tuple[Floats, Floats]:
    """Frequencies up to an end, and weights, of the Fourier integral.

    The period is nine SDs of the sum of `size` values: what wraps around has a chance below 1e-17.
    """
    step = 2.0 * math.pi / (9.0 * math.sqrt(size))
    frequency: Floats = step * np.arange(int(end / step) + 1, dtype=np.float64)
    weight: Floats = np.full(frequency.shape, step / math.pi, dtype=np.float64)
    weight[0] *= 0.5
    return frequency, weight
