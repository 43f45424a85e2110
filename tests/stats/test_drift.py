"""The change averaged over shapes, against a plain average by numpy and scipy, and by what it must not depend on."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from qc.stats.arrays import Floats
from qc.stats.drift import OF_ONE, ChangeFit, averaged_change, centred_by_level
from qc.stats.permutations import generator
from qc.stats.shapes import END_STEP, MOST_STEPS, STEP, TURN, shapes_along


def noise(n: int, *, stream: int = 0) -> Floats:
    return generator(1, stream=stream).standard_normal(n)


def change(values: Floats, *, levels: tuple[int, ...] | None = None, least: float = 0.0) -> ChangeFit:
    along = np.arange(float(len(values))) / (len(values) - 1)
    found = averaged_change(values, along, levels=levels or (0,) * len(values), least_scatter=least)
    assert found is not None
    return found


def by_scipy(values: Floats, along: Floats, levels: tuple[int, ...]) -> tuple[float, float, float, Floats]:
    """Mean, middle 98 % and mean curve of the change: every model by least squares, and a root of the mixture."""
    shapes = shapes_along(along)
    heights = np.array(sorted(set(levels)))
    dummies = (np.array(levels)[:, None] == heights[None, :]).astype(float)
    models = [*((k,) for k in range(len(shapes.kinds))), *itertools.combinations(range(len(shapes.kinds)), 2)]
    believed = shapes.believed
    totals = {size: sum(math.prod(believed[k] for k in one) for one in models if len(one) == size) for size in (1, 2)}
    parts = []
    for one in models:
        design = np.column_stack([dummies, shapes.columns[list(one)].T])
        if np.linalg.matrix_rank(design) < design.shape[1]:
            continue
        fit, *_ = np.linalg.lstsq(design, values, rcond=None)
        squares = float(((values - design @ fit) ** 2).sum())
        df = len(values) - design.shape[1]
        counts = np.concatenate([np.zeros(len(heights)), shapes.rises[list(one)]])
        variance = squares / df * counts @ np.linalg.inv(design.T @ design) @ counts
        belief = math.prod(believed[k] for k in one) / totals[len(one)] * (OF_ONE if len(one) == 1 else 1 - OF_ONE)
        curve = design[:, len(heights) :] @ fit[len(heights) :]
        parts.append((belief, squares / df, counts @ fit, math.sqrt(variance), df, curve - curve.mean()))
    beliefs, mean_squares, found, sds, dfs, curves = (np.array(part) for part in zip(*parts, strict=True))
    logs = np.log(beliefs) - dfs / 2 * np.log(mean_squares / mean_squares.min())
    weights = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()

    def end(chance: float) -> float:
        def below(x: float) -> float:
            # A turn by itself changes nothing from first to last: all of its weight lies at zero.
            each = np.where(sds > 0, stats.t.cdf((x - found) / np.where(sds > 0, sds, 1.0), dfs), x >= found)
            return float(weights @ each) - chance

        return float(optimize.brentq(below, -1e3, 1e3, xtol=1e-12))

    return float(weights @ found), end(0.01), end(0.99), values.mean() + weights @ curves


@pytest.mark.parametrize("levels", [(0,) * 9, (0, 1, 2) * 3], ids=["one cavity", "three cavities"])
@pytest.mark.parametrize("size", [0.0, 3.0, 20.0])
def test_the_average_is_that_of_every_model_fitted_by_itself(size: float, levels: tuple[int, ...]) -> None:
    along = np.arange(9.0) / 8
    values = noise(9) + size * along**3 + 2.0 * np.array(levels)
    found = averaged_change(values, along, levels=levels)
    assert found is not None
    mean, low, high, curve = by_scipy(values, along, levels)
    # Models that hide behind the levels, and those of negligible weight, are left out.
    assert [found.change, found.low, found.high] == pytest.approx([mean, low, high], abs=0.05)
    assert found.fitted == pytest.approx(curve, abs=0.03)


def test_differences_between_cavities_leave_the_change_alone() -> None:
    levels = (0, 1, 2) * 8
    flat, apart = noise(24), noise(24) + np.array([0.0, 30.0, -40.0])[list(levels)]
    assert change(apart, levels=levels).change == pytest.approx(change(flat, levels=levels).change, abs=1e-9)
    effects = change(np.arange(24.0) / 4 + np.array([0.0, 3.0, -4.0])[list(levels)], levels=levels).level_effects
    assert effects == pytest.approx([1 / 3, 10 / 3, -11 / 3] * 8, abs=0.05)


def test_no_fit_without_a_degree_of_freedom_or_without_an_order() -> None:
    assert averaged_change(np.array([1.0, 2.0]), np.array([0.0, 1.0]), levels=(0, 0)) is None
    along = np.array([0.0, 0.0, 1.0, 1.0, 1.0])
    assert averaged_change(np.arange(5.0), along, levels=(0, 0, 1, 1, 1)) is None


def test_rounding_keeps_an_interval_open_where_all_values_are_equal() -> None:
    found = change(np.full(8, 2.0), least=0.003)
    assert found.low < 0 < found.high
    assert change(np.full(8, 2.0)).change == pytest.approx(0.0)


def test_centring_by_level_works_on_rows_too() -> None:
    rows = np.array([[1.0, 5.0, 3.0, 7.0], [0.0, 1.0, 2.0, 3.0]])
    assert centred_by_level(rows, [0, 1, 0, 1]).tolist() == [[-1.0, -1.0, 1.0, 1.0], [-1.0, -1.0, 1.0, 1.0]]


def test_every_shape_goes_from_zero_at_the_first_place_to_one_at_the_last_but_those_that_turn_back() -> None:
    shapes = shapes_along(np.array([0.0, 0.2, 0.2, 0.5, 1.0]))
    turning = [kind == TURN for kind in shapes.kinds]
    assert shapes.columns[:, 0] == pytest.approx(0.0)
    assert shapes.columns[:, -1] == pytest.approx(np.where(turning, 0.0, 1.0), abs=1e-12)
    assert shapes.rises.tolist() == [0.0 if turns else 1.0 for turns in turning]
    rising = shapes.columns[~np.array(turning)]
    assert (np.diff(rising, axis=1) >= -1e-12).all()
    assert float(shapes.believed.sum()) == pytest.approx(1.0)


def test_a_long_pour_has_steps_at_both_ends_and_no_more_than_so_many() -> None:
    shapes = shapes_along(np.arange(1000.0) / 999)
    steps = [column for kind, column in zip(shapes.kinds, shapes.columns, strict=True) if kind in (STEP, END_STEP)]
    assert len(steps) <= MOST_STEPS
    assert {int(step.sum()) for step in steps} >= {1, 2, 3, 997, 998, 999}


@pytest.mark.parametrize(
    ("shape", "named", "apart"),
    [
        (10 * (np.arange(24) >= 15), "step", range(15, 24)),
        (10 * (np.arange(24) < 3), "step", range(3)),
        (15 * np.exp((np.arange(24) - 23) / 4.0), "late", range(19, 24)),
        (15 * np.exp(-np.arange(24) / 4.0), "early", range(8)),
        (15 * np.arange(24) / 23, "straight", range(12, 24)),
        (10 * ((np.arange(24) >= 8) & (np.arange(24) < 16)), "", range(16, 24)),
    ],
)
def test_the_shape_is_named_and_what_it_sets_apart(shape: Floats, named: str, apart: range) -> None:
    found = change(shape + noise(24, stream=3))
    assert (found.shape, np.flatnonzero(found.apart).tolist()) == (named, list(apart))
    true = float(shape[found.apart].mean() - shape[~found.apart].mean())
    assert found.apart_by[1] < true < found.apart_by[2]


@given(seed=st.integers(0, 1000), factor=st.sampled_from([1e-3, 1000.0]), size=st.sampled_from([0.0, 5.0]))
@settings(max_examples=20)
def test_turned_round_the_change_is_its_opposite_and_scaled_it_scales(seed: int, factor: float, size: float) -> None:
    values = noise(15, stream=seed) + size * np.arange(15.0) / 14
    found, back, scaled = change(values), change(values[::-1]), change(factor * values)
    assert [back.change, back.low, back.high] == pytest.approx([-found.change, -found.high, -found.low], abs=1e-6)
    assert scaled.change == pytest.approx(factor * found.change, rel=1e-6, abs=1e-9)
    assert scaled.high - scaled.low == pytest.approx(factor * (found.high - found.low), rel=1e-6)
    assert (scaled.shape, scaled.after) == (found.shape, found.after)


@pytest.mark.parametrize(
    "shape",
    [
        np.arange(20) / 19,
        (np.arange(20) >= 10) * 1.0,
        np.exp((np.arange(20) - 19) / 3.3),
        (np.arange(20) == 19) * 1.0,
        np.abs(np.arange(20) - 9.5) < 4,
    ],
    ids=["straight", "step", "late", "last unit", "hump"],
)
def test_the_interval_covers_the_true_change_of_every_shape(shape: Floats) -> None:
    """The full study is `tests/benchmarks/test_trend_study.py`; here 60 of each, 92 % less 2.5 standard errors."""
    true = 6.0 * float(shape[-1]) - 6.0 * float(shape[0])
    fits = [change(noise(20, stream=at) + 6.0 * shape) for at in range(60)]
    assert sum(fit.low <= true <= fit.high for fit in fits) >= 50


@pytest.mark.parametrize("late", [True, False])
def test_a_bend_whose_greater_part_was_not_measured_is_told_by_the_step_nearest_to_it(late: bool) -> None:
    along = np.linspace(0.0, 0.5, 12)
    values = np.exp(10 * along) + 0.5 * noise(12, stream=3)
    places, told = (along, values) if late else (1 - along[::-1], -values[::-1])
    found = averaged_change(told, places, levels=(0,) * 12)
    assert found is not None
    assert found.shape == ("late" if late else "early")
    assert 0 < found.apart.sum() < 12
    assert found.apart_by[1] < found.apart_by[0] < found.apart_by[2]
