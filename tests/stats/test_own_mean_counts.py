"""Counts about the own mean: against simulation, and against what must hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.stats.own_mean_counts import continued_then_passed, counts_about_own_mean
from qc.stats.sample_plans import CountPlan

SAMPLES = 200_000


def residuals(n: int, seed: int) -> NDArray[np.float64]:
    values = np.random.Generator(np.random.Philox(seed)).standard_normal((SAMPLES, n))
    return np.asarray(np.abs(values - values.mean(axis=1, keepdims=True)), dtype=np.float64)


@pytest.mark.parametrize(("n", "inner", "outer"), [(6, 1.0, 2.0), (10, 1.6, 2.7), (20, 1.2, 2.4), (20, 2.0, 9.0)])
def test_counts_agree_with_simulation(n: int, inner: float, outer: float) -> None:
    away = residuals(n, seed=n)
    beyond, farther = (away > inner).sum(axis=1), (away > outer).sum(axis=1)
    for allowed in (0, 1):
        found = counts_about_own_mean([inner], [outer], n=n, most_inner=3, most_outer=allowed)[0]
        for count in range(4):
            seen = float(((beyond == count) & (farther <= allowed)).mean())
            error = math.sqrt(max(seen, 1e-5) / SAMPLES)
            assert abs(found[count] - seen) < 4.5 * error


def test_all_counts_together_are_certain() -> None:
    found = counts_about_own_mean([0.7, 1.5, 3.0], [9.0, 9.0, 9.0], n=8, most_inner=8)
    assert found.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=1e-9)


def test_no_room_at_all_holds_no_value() -> None:
    assert counts_about_own_mean([0.0], [1.0], n=10, most_inner=2).tolist() == [[0.0, 0.0, 0.0]]


def test_a_single_residual_beyond_the_greatest_possible_never_happens() -> None:
    """One of n residuals about the mean beyond x needs a spread of x n/(n-1) at least; nobody is nine SDs out."""
    assert counts_about_own_mean([9.0], [9.0], n=10, most_inner=1)[0] == pytest.approx([1.0, 0.0], abs=1e-12)


def test_five_values_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^counts among 5 values; at least 6 are needed$"):
        counts_about_own_mean([1.0], [2.0], n=5, most_inner=1)


RULE = CountPlan(
    first_size=10, second_size=20, inner=0.15, outer=0.25, passes_with=1, continues_with=3, second_passes_with=3
)


@pytest.mark.parametrize("rsd", [0.07, 0.09, 0.12])
def test_second_stage_agrees_with_simulation(rsd: float) -> None:
    generator = np.random.Generator(np.random.Philox(5))
    hits, drawn = 0, 0
    for _ in range(4):
        sample = generator.standard_normal((100_000, 30))
        sample -= sample.mean(axis=1, keepdims=True)
        sample = 1.0 + rsd * sample  # the common mean is exactly 1
        first_mean = sample[:, :10].mean(axis=1, keepdims=True)
        about_first = np.abs(sample[:, :10] - first_mean) / first_mean
        beyond = (about_first > 0.15).sum(axis=1)
        asked = (beyond >= 2) & (beyond <= 3) & (about_first <= 0.25).all(axis=1)
        away = np.abs(sample - 1.0)
        hits += int((asked & ((away > 0.15).sum(axis=1) <= 3) & (away <= 0.25).all(axis=1)).sum())
        drawn += len(sample)
    seen = hits / drawn
    assert abs(continued_then_passed(1.0 / rsd, rule=RULE) - seen) < 4.5 * math.sqrt(seen / drawn)


def test_groups_of_five_are_refused() -> None:
    rule = CountPlan(
        first_size=5, second_size=20, inner=0.15, outer=0.25, passes_with=1, continues_with=3, second_passes_with=3
    )
    with pytest.raises(ValueError, match=r"^groups of 5 and 20 values; each needs at least 6$"):
        continued_then_passed(10.0, rule=rule)
