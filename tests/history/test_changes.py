"""Levels of a change, its intervals and when it began, against the formulas of textbooks as scipy has them."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from qc.history.change import changes

STEADY = [2.00, 2.03, 1.98, 2.01, 1.99, 2.02, 2.00]
HIGHER = [2.06, 2.09, 2.05, 2.08]
SURE_WITHIN = 3.0
"""How far the logarithm of a likelihood may fall below the greatest one."""


def squares_of_levels(*parts: list[float]) -> float:
    return sum(float(np.var(part)) * len(part) for part in parts)


def test_a_step_has_the_levels_and_intervals_of_two_samples() -> None:
    """Two samples of one variance: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3."""
    (step,) = changes([*STEADY, *HIGHER], levels=[0, 7], seen=[9], aside=[])
    assert (step.kind, step.first, step.last, step.seen) == ("step", 7, 7, 9)
    expected = stats.ttest_ind(HIGHER, STEADY).confidence_interval(0.95)
    assert step.difference == pytest.approx((np.mean(HIGHER) - np.mean(STEADY), *expected))
    free = len(STEADY) + len(HIGHER) - 2
    sd = math.sqrt(squares_of_levels(STEADY, HIGHER) / free)
    for level, part in ((step.before, STEADY), (step.after, HIGHER)):
        assert level == pytest.approx(
            (np.mean(part), *stats.t.interval(0.95, free, np.mean(part), sd / len(part) ** 0.5))
        )


def test_levels_apart_have_the_spread_of_all_and_the_batches_set_aside_count_for_none() -> None:
    values = [*STEADY, *HIGHER[:2], 9.0, *HIGHER[2:], *STEADY]
    up, down = changes(values, levels=[0, 7, 12], seen=[8, 14], aside=[9])
    free = 2 * len(STEADY) + len(HIGHER) - 3
    sd = math.sqrt(squares_of_levels(STEADY, HIGHER, STEADY) / free)
    reach = stats.t.ppf(0.975, free) * sd
    assert up.after == down.before == pytest.approx((2.07, 2.07 - reach / 2, 2.07 + reach / 2))
    assert (up.first, up.seen, down.first, down.seen) == (7, 8, 12, 14)
    assert [round(one.difference[0], 6) for one in (up, down)] == [0.065714, -0.065714]


def test_a_step_may_have_begun_where_the_likelihood_is_hardly_less() -> None:
    """Profile likelihood of the place of a change of level, for normal scatter: n / 2 log of the residual squares."""
    values = [0.0, 1.0, -1.0, 0.5, -0.5, 0.9, 1.1, 2.5, 1.4, 3.0, 2.0, 1.9, 2.6]
    (step,) = changes(values, levels=[0, 7], seen=[9], aside=[])
    n = len(values)
    fits = {k: squares_of_levels(values[:k], values[k:]) for k in range(1, n)}
    likely = [k for k, one in fits.items() if n / 2 * math.log(one / min(fits.values())) <= SURE_WITHIN]
    assert 1 < len(likely) < n - 2
    assert (step.earliest, step.latest) == (min(likely), max(likely))


def creeping(before: int, along: int, slope: float) -> list[float]:
    """A level and a straight rise, with a scatter that is neither of them."""
    rise = [0.0] * before + [slope * (one + 1) for one in range(along)]
    return [one + 0.01 * (-1) ** (place // 2) for place, one in enumerate(rise)]


@pytest.mark.parametrize("slope", [0.3, -0.2])
def test_a_creep_has_the_line_and_intervals_of_a_regression_from_its_begin(slope: float) -> None:
    """A straight line by least squares: NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.3.1."""
    values = creeping(12, 12, slope)
    (creep,) = changes(values, levels=[0, 14, 19], seen=[15, 20], aside=[])
    assert (creep.kind, creep.first, creep.last, creep.seen) == ("creep", 12, 23, 15)
    assert creep.earliest == creep.latest == 12
    run = np.maximum(np.arange(24) - 11.0, 0.0)
    level, end = stats.linregress(run, values), stats.linregress(run - 12.0, values)
    # The begin is one more that was estimated.
    wider = math.sqrt(22 / 21) * stats.t.ppf(0.975, 21)
    for told, middle, error in (
        (creep.before, level.intercept, level.intercept_stderr),
        (creep.after, end.intercept, end.intercept_stderr),
        (creep.difference, 12 * level.slope, 12 * level.stderr),
    ):
        assert told == pytest.approx((middle, middle - wider * error, middle + wider * error))


def test_a_begin_that_is_not_sure_widens_the_intervals_of_a_creep() -> None:
    scatter = [0.3, -0.2, -0.4, 0.1, 0.4, -0.3, 0.2, -0.1] * 3
    values = [one + other for one, other in zip(creeping(12, 12, 0.15), scatter, strict=True)]
    (creep,) = changes(values, levels=[0, 14, 19], seen=[15, 20], aside=[])
    assert creep.earliest < creep.first < creep.latest
    run = np.maximum(np.arange(24) - (creep.first - 1.0), 0.0)
    line = stats.linregress(run, values)
    reach = math.sqrt(22 / 21) * stats.t.ppf(0.975, 21) * line.stderr * run[-1]
    middle, low, high = creep.difference
    assert middle == pytest.approx(line.slope * run[-1])
    assert low < middle - reach < middle + reach < high


def test_values_that_stay_at_each_level_are_no_creep() -> None:
    twice = [*STEADY, *HIGHER, *(one + 0.07 for one in HIGHER)]
    assert [one.kind for one in changes(twice, levels=[0, 7, 11], seen=[8, 12], aside=[])] == ["step", "step"]
    up_and_down = [*STEADY, *HIGHER, *STEADY]
    assert [one.kind for one in changes(up_and_down, levels=[0, 7, 11], seen=[8, 12], aside=[])] == ["step", "step"]
    flat = [*STEADY, *STEADY, *(one + 0.5 for one in (*STEADY, *STEADY))]
    assert [one.kind for one in changes(flat, levels=[0, 14], seen=[15], aside=[])] == ["step"]


def test_five_values_are_too_few_for_a_slope_and_two_for_any_change() -> None:
    rising = [0.0, 0.11, 0.19, 0.31, 0.39, 0.51]
    assert [one.kind for one in changes(rising, levels=[0, 2, 4], seen=[3, 5], aside=[])] == ["creep"]
    assert [one.kind for one in changes(rising[:5], levels=[0, 2, 4], seen=[3, 4], aside=[])] == ["step", "step"]
    assert changes(rising[:2], levels=[0, 1], seen=[1], aside=[]) == []
    assert changes(rising, levels=[0], seen=[], aside=[]) == []


@pytest.mark.parametrize("parts", [(12, 12), (10, 5, 9), (8, 4, 4, 8)])
def test_a_slope_or_steps_are_told_by_the_information_criterion_of_schwarz(parts: tuple[int, ...]) -> None:
    """BIC, n log(squares / n) + k log n: Schwarz, Annals of Statistics 6 (1978) 461-464; a single step goes before."""
    n, starts = sum(parts), np.concatenate([[0], np.cumsum(parts)])
    told = set[str]()
    for share in np.linspace(0.0, 1.0, 41):
        ramp = np.maximum(np.arange(n) - starts[1] + 1.0, 0.0) / (n - starts[1])
        stairs = np.repeat(np.arange(len(parts)), parts) / (len(parts) - 1)
        values = [float(one) for one in share * ramp + (1.0 - share) * stairs + 0.03 * np.sin(np.arange(n) * 2.1)]
        found = changes(
            values, levels=[int(one) for one in starts[:-1]], seen=[int(one) for one in starts[1:-1]], aside=[]
        )
        steps = squares_of_levels(*(values[a:b] for a, b in itertools.pairwise(starts)))
        lines = []
        for begins in range(n - 2):
            design = np.column_stack([np.ones(n), np.maximum(np.arange(n) - begins, 0.0)])
            lines.append(float(np.linalg.lstsq(design, np.array(values), rcond=None)[1][0]))
        # A mean a level and a place a step; a level, a slope and its begin.
        of_steps = n * math.log(steps / n) + (2 * len(parts) - 1) * math.log(n)
        of_slope = n * math.log(min(lines) / n) + 3 * math.log(n)
        ahead = math.log(n) if len(parts) == 2 else 0.0
        assert {one.kind for one in found} == {"creep" if of_steps - of_slope > ahead else "step"}
        told.add(found[0].kind)
    assert told == {"creep", "step"}
