from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.stats.permutations import generator, permutations, share_at_least


@given(levels=st.lists(st.integers(0, 3), min_size=2, max_size=15), seed=st.integers(0, 99))
def test_values_move_only_inside_their_level_and_none_is_lost(levels: list[int], seed: int) -> None:
    rows = permutations(levels, draws=30, random=generator(seed, stream=1))
    labels = np.array(levels)
    assert (rows[0] == np.arange(len(levels))).all()
    assert (np.sort(rows, axis=1) == np.arange(len(levels))).all()
    assert (labels[rows] == labels).all()


def test_seven_values_are_looked_at_in_every_order_and_eight_are_drawn() -> None:
    rows = permutations([0] * 7, draws=10, random=generator(1, stream=1))
    assert (len(rows), len({tuple(row) for row in rows})) == (5040, 5040)
    rows = permutations([0] * 8, draws=10, random=generator(1, stream=1))
    assert len(rows) == 11


def test_nothing_to_rearrange_leaves_one_row() -> None:
    rows = permutations([0, 1, 2], draws=10, random=generator(1, stream=1))
    assert rows.tolist() == [[0, 1, 2]]


def test_same_seed_gives_the_same_rows_and_another_stream_gives_others() -> None:
    first, again, other = (permutations([0] * 12, draws=50, random=generator(5, stream=stream)) for stream in (1, 1, 2))
    assert (first == again).all()
    assert (first != other).any()


def test_ties_in_the_last_digits_count_against_the_finding() -> None:
    assert share_at_least(np.array([0.3, 0.1 + 0.2, 0.1])).tolist() == pytest.approx([2 / 3, 2 / 3, 1.0])
