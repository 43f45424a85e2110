"""Counts beyond limits about the own mean in a first group, and about the common mean once a second group has joined.

The common mean is held fixed at a number of SDs, since the limits are fractions of it. The first group's mean then
differs from it by a normal amount; given that, the groups are independent, and each is a set of normal values with a
fixed sum. A value of the first group is counted twice, about its group's mean and about the common one.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_FAR = 8.0
_SHIFTS = 10
_PLACES = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoStageCounts:
    """Sizes, limits and counts of a test in two stages.

    Parameters
    ----------
    first_size, second_size : int
        Values of the first group, and further values of the second; at least 6 each.
    inner, outer : float
        Limits on both sides of a mean [fraction of that mean].
    passes_with, continues_with : int
        With more than the first and no more than the second beyond the inner limit about the first mean, and none
        beyond the outer, the second group is asked for.
    second_passes_with : int
        Greatest count beyond the inner limit about the common mean that passes; none may be beyond the outer.
    """

    first_size: int
    second_size: int
    inner: float
    outer: float
    passes_with: int
    continues_with: int
    second_passes_with: int


@functools.lru_cache(maxsize=8)
def _legendre(count: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


def continued_then_passed(common_mean: float, *, rule: TwoStageCounts) -> float:
    """The chance that the second group was asked for and all values together then pass, given the common mean.

    Parameters
    ----------
    common_mean : float
        Mean of all values, in their true SD, positive [SD].
    rule : TwoStageCounts

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
    nodes, weights = _legendre(_SHIFTS)
    chance = 0.0
    # At a shift of nought the limits about both means coincide, and the integrand has a kink there.
    for side in (-1.0, 1.0):
        for node, weight in zip(nodes, weights, strict=True):
            steps = side * 3.0 * (1.0 + node)
            density = 3.0 * weight * math.exp(-0.5 * steps**2) / math.sqrt(2.0 * math.pi)
            if common_mean + steps * spread > 0.0:
                chance += density * _given_shift(common_mean, steps * spread, rule)
    return min(max(chance, 0.0), 1.0)


def _given_shift(common_mean: float, shift: float, rule: TwoStageCounts) -> float:
    """The chance, given the common mean and how far the first group's mean lies above it (in SDs)."""
    first_mean = common_mean + shift
    near, far = rule.inner * common_mean, rule.outer * common_mean
    near_first, far_first = rule.inner * first_mean, rule.outer * first_mean
    start = max(-far, shift - far_first, -_FAR)
    end = min(far, shift + far_first, _FAR)
    if end <= start:
        return 0.0
    frequency, weight = _frequencies(min(near, near_first), rule.first_size)
    # Both groups are moved to a sum of nought, so that the transforms turn slowly.
    second_shift = -shift * rule.first_size / rule.second_size
    cells = _cells(start, end, (-near, near, shift - near_first, shift + near_first))
    patterns = {
        (about_first, about_common): np.zeros(frequency.shape, dtype=np.complex128)
        for about_first in (False, True)
        for about_common in (False, True)
    }
    for low, high in cells:
        middle = 0.5 * (low + high)
        pattern = (abs(middle - shift) > near_first, abs(middle) > near)
        patterns[pattern] += _transform(low, high, shift, frequency)
    first = _first_group(patterns, weight, shift, rule)
    second_frequency, second_weight = _frequencies(near, rule.second_size)
    inside = _transform(max(-near, -_FAR), min(near, _FAR), second_shift, second_frequency)
    outside = _transform(max(-far, -_FAR), -near, second_shift, second_frequency)
    outside += _transform(near, min(far, _FAR), second_shift, second_frequency)
    allowed = rule.second_passes_with
    size = rule.second_size
    second = [
        math.comb(size, count)
        * math.sqrt(2.0 * math.pi * size)
        * math.exp(0.5 * size * second_shift**2)
        * float(np.real(inside ** (size - count) * outside**count) @ second_weight)
        for count in range(allowed + 1)
    ]
    below = np.cumsum(second)
    total = sum(first[count] * below[allowed - count] for count in range(min(allowed, len(first) - 1) + 1))
    return float(total)


def _frequencies(near: float, size: int) -> tuple[Array, Array]:
    step = 2.0 * math.pi / (9.0 * math.sqrt(size))
    frequency: Array = step * np.arange(int((3.0 + 8.0 / max(near, 0.05)) / step) + 1, dtype=np.float64)
    weight: Array = np.full(frequency.shape, step / math.pi, dtype=np.float64)
    weight[0] *= 0.5
    return frequency, weight


def _cells(start: float, end: float, cuts: tuple[float, ...]) -> list[tuple[float, float]]:
    edges = [start, *sorted(cut for cut in cuts if start < cut < end), end]
    return [(low, high) for low, high in itertools.pairwise(edges) if high - low > 1e-12]


def _transform(start: float, end: float, centre: float, frequency: Array) -> NDArray[np.complex128]:
    """Integral of the normal density times exp(it(z - centre)) from start to end, at each frequency t."""
    if end <= start:
        return np.zeros(frequency.shape, dtype=np.complex128)
    nodes, weights = _legendre(_PLACES)
    half = 0.5 * (end - start)
    z = 0.5 * (start + end) + half * nodes
    density = half * weights * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
    phase = frequency[:, None] * (z - centre)
    return np.asarray(np.cos(phase) @ density + 1j * (np.sin(phase) @ density))


def _first_group(
    patterns: dict[tuple[bool, bool], NDArray[np.complex128]], weight: Array, shift: float, rule: TwoStageCounts
) -> list[float]:
    """Chance that the first group asks for the second, by its count beyond the inner limit about the common mean."""
    size = rule.first_size
    scale = math.sqrt(2.0 * math.pi * size) * math.exp(0.5 * size * shift**2)
    chances = [0.0] * (rule.second_passes_with + 1)
    for beyond_first in range(rule.passes_with + 1, rule.continues_with + 1):
        for both in range(beyond_first + 1):
            for only_common in range(size - beyond_first + 1):
                beyond_common = both + only_common
                if beyond_common > rule.second_passes_with:
                    break
                ways = math.comb(size, beyond_first) * math.comb(beyond_first, both)
                ways *= math.comb(size - beyond_first, only_common)
                value = (
                    patterns[False, False] ** (size - beyond_first - only_common)
                    * patterns[True, False] ** (beyond_first - both)
                    * patterns[False, True] ** only_common
                    * patterns[True, True] ** both
                )
                chances[beyond_common] += ways * scale * float(np.real(value) @ weight)
    return chances
