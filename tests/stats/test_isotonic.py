"""Monotone fits against scipy's compiled routine."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from qc.stats.isotonic import most_gain, rising_gain

VALUES = st.lists(st.integers(-20, 20), min_size=1, max_size=25)


@given(values=VALUES, data=st.data())
def test_the_gain_agrees_with_scipy_with_any_weights(values: list[int], data: st.DataObject) -> None:
    weights = np.array(data.draw(st.lists(st.integers(1, 4), min_size=len(values), max_size=len(values))), dtype=float)
    means = np.array(values, dtype=float)
    theirs = isotonic_regression(means, weights=weights).x
    middle = (means * weights).sum() / weights.sum()
    assert rising_gain((means * weights)[None, :], weights)[0] == pytest.approx(
        (weights * (theirs - middle) ** 2).sum(), abs=1e-8
    )


@given(values=st.lists(st.integers(-9, 9), min_size=2, max_size=12), seed=st.integers(0, 1000))
def test_many_rows_at_once_give_what_each_gives_alone(values: list[int], seed: int) -> None:
    rows = np.random.default_rng(seed).permuted(np.tile(np.array(values, dtype=float), (20, 1)), axis=1)
    weights = np.ones(len(values))
    assert rising_gain(rows, weights) == pytest.approx([rising_gain(row[None, :], weights)[0] for row in rows])


def test_a_falling_series_has_no_rising_part() -> None:
    assert rising_gain(np.array([[5.0, 4.0, 4.0, 1.0]]), np.ones(4)).tolist() == [0.0]


@pytest.mark.parametrize("places", [2, 3, 8, 24, 60])
def test_the_bound_is_never_less_than_the_gain_and_mostly_near_it(places: int) -> None:
    random = np.random.default_rng(5)
    weights = random.integers(1, 4, places).astype(float)
    rows = random.standard_normal((2_000, places)) * np.sqrt(weights)
    rows[::2] += 0.3 * np.arange(places)
    rows -= weights * rows.sum(axis=1, keepdims=True) / weights.sum()
    gains = np.stack([rising_gain(rows, weights), rising_gain(-rows, weights)])
    bounds = most_gain(rows.T, weights)
    assert (bounds >= gains - 1e-12).all()
    # Else nearly every row would be pooled in the end.
    assert float(np.median(bounds[gains > 0.1] / gains[gains > 0.1])) < 2.0
