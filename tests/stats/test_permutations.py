from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.stats.permutations import VALUES_AT_A_TIME, every_order, generator, permuted


@given(levels=st.lists(st.integers(0, 3), min_size=2, max_size=15), stream=st.integers(0, 99))
def test_values_move_only_inside_their_level_and_none_is_lost(levels: list[int], stream: int) -> None:
    values = np.arange(float(len(levels)))
    (rows,) = permuted(values, levels, draws=30, stream=stream)
    labels = np.array(levels)
    assert rows.shape == (30, len(levels))
    assert (np.sort(rows, axis=1) == values).all()
    assert (labels[rows.astype(int)] == labels).all()


def test_seven_values_are_looked_at_in_every_order_and_eight_are_not() -> None:
    rows = every_order((0,) * 7)
    assert rows is not None
    assert (len(rows), len({tuple(row) for row in rows})) == (5040, 5040)
    assert every_order((0,) * 8) is None
    assert every_order((0, 0, 1)) is None


def test_what_is_drawn_depends_on_the_values_and_not_on_their_order() -> None:
    values = generator(1, stream=0).standard_normal(12)
    (first,), (turned,), (other,) = (
        permuted(one, (0,) * 12, draws=50, stream=stream)
        for one, stream in ((values, 1), (values[::-1], 1), (values, 2))
    )
    assert (first == turned).all()
    assert (first != other).any()


def test_every_order_comes_up_equally_often() -> None:
    (rows,) = permuted(np.arange(3.0), (0, 0, 0), draws=6_000, stream=0)
    counts = np.bincount((rows @ np.array([9, 3, 1])).astype(int))
    # Each of six orders is binomial (6,000, 1/6): four standard deviations are 115.
    assert counts[counts > 0] == pytest.approx([1000] * 6, abs=115)


def test_a_long_series_comes_in_parts_that_fit_the_memory() -> None:
    parts = [
        len(rows)
        for rows in permuted(
            np.arange(float(VALUES_AT_A_TIME // 10)), (0,) * (VALUES_AT_A_TIME // 10), draws=23, stream=0
        )
    ]
    assert parts == [10, 10, 3]


def test_kept_orders_are_those_that_the_values_themselves_are_drawn_in() -> None:
    values, levels = np.array([3.0, 1.0, 2.0, 9.0, 7.0, 8.0, 5.0, 4.0]), (0, 1, 0, 1, 0, 1, 0, 0)
    expected, random = np.empty((300, 8)), generator(1991, stream=2)
    for among in ([0, 2, 4, 6, 7], [1, 3, 5]):
        expected[:, among] = random.permuted(np.tile(np.sort(values[among]), (300, 1)), axis=1)
    for _ in range(2):
        assert (np.concatenate(list(permuted(values, levels, draws=300, stream=2))) == expected).all()
