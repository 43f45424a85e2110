"""Fits of a shape of change, against scipy and against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qc.stats.drift import best_shape, centred_by_level, fit_change, fits_decisively_better, other_shapes, straight
from qc.stats.permutations import generator


def test_straight_fit_agrees_with_scipy_linregress() -> None:
    order = np.array([1.0, 2.0, 2.0, 5.0, 9.0, 12.0])
    values = np.array([2.01, 2.03, 1.98, 2.05, 2.02, 2.09])
    found = fit_change(values, straight((order - 1) / 11), levels=[0] * 6)
    theirs = stats.linregress(order, values)
    assert found is not None
    assert found.change == pytest.approx(theirs.slope * 11)
    half = stats.t.ppf(0.975, 4) * theirs.stderr * 11
    assert [found.low, found.high] == pytest.approx([found.change - half, found.change + half])
    assert found.p_value == pytest.approx(theirs.pvalue)


def test_differences_between_cavities_leave_the_change_alone() -> None:
    order = np.arange(12.0)
    levels = [0, 1, 2] * 4
    values = order * 0.5 + np.array([0.0, 3.0, -4.0])[levels]
    found = fit_change(values, straight(order / 11), levels=levels)
    assert found is not None
    assert found.change == pytest.approx(5.5)
    assert found.level_effects == pytest.approx([1 / 3, 10 / 3, -11 / 3] * 4)


def test_no_fit_without_a_degree_of_freedom_or_without_an_order() -> None:
    two = straight(np.array([1.0, 2.0]) - 1)
    assert fit_change(np.array([1.0, 2.0]), two, levels=[0, 0]) is None
    order = np.array([1.0, 1.0, 2.0, 2.0, 2.0])
    assert fit_change(np.arange(5.0), straight(order - 1), levels=[0, 0, 1, 1, 1]) is None


def test_rounding_keeps_an_interval_open_where_all_values_are_equal() -> None:
    found = fit_change(np.full(5, 2.0), straight(np.arange(5.0) / 4), levels=[0] * 5, least_scatter=0.003)
    assert found is not None
    assert found.low < 0 < found.high


def test_centring_by_level_works_on_rows_too() -> None:
    rows = np.array([[1.0, 5.0, 3.0, 7.0], [0.0, 1.0, 2.0, 3.0]])
    assert centred_by_level(rows, [0, 1, 0, 1]).tolist() == [[-1.0, -1.0, 1.0, 1.0], [-1.0, -1.0, 1.0, 1.0]]


def test_every_shape_goes_from_nought_at_the_first_place_to_one_at_the_last() -> None:
    order = np.array([1.0, 2.0, 2.0, 4.0, 7.0])
    shapes = [straight((order - 1) / 6), *other_shapes((order - 1) / 6)]
    assert [(round(float(shape.column[0]), 9), round(float(shape.column[-1]), 9)) for shape in shapes] == [(0, 1)] * 6
    assert [shape.after for shape in shapes] == [0, 0, 0, 1, 3, 4]
    assert all((np.diff(shape.column) >= 0).all() for shape in shapes)


def test_a_plain_step_is_fitted_decisively_better_than_a_line_and_a_line_is_not_beaten() -> None:
    order, noise = np.arange(20.0), generator(1, stream=0).standard_normal(20) * 0.1
    line_shape = straight(order / 19)
    steps = other_shapes(order / 19)
    for truth, expected in ((steps[10].column, True), (line_shape.column, False)):
        line = fit_change(truth + noise, line_shape, levels=[0] * 20)
        step = fit_change(truth + noise, steps[10], levels=[0] * 20)
        assert line is not None
        assert step is not None
        assert fits_decisively_better(step, line, values=20, threshold=6.0) is expected


def test_the_best_shape_is_the_one_whose_fit_leaves_least() -> None:
    order, random = np.arange(14.0), generator(4, stream=0)
    shapes = other_shapes(order / 13)
    levels = [0, 1] * 7
    for _ in range(20):
        values = random.standard_normal(14)
        fits = [fit_change(values, shape, levels=levels) for shape in shapes]
        least = min((fit for fit in fits if fit is not None), key=lambda fit: fit.squares)
        assert best_shape(values, shapes, levels=levels) is least.shape


def test_no_shape_is_best_where_levels_hide_them_all() -> None:
    order = np.array([1.0, 1.0, 2.0, 2.0])
    assert best_shape(np.arange(4.0), other_shapes(order - 1), levels=[0, 0, 1, 1]) is None
