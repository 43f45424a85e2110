"""The test of the first and the last value, against scipy's t-test and least squares."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qc.stats.end_value import end_test
from qc.stats.order_test import Monotone
from qc.stats.permutations import generator


@pytest.mark.parametrize("last", [True, False])
def test_one_value_against_the_others_is_the_t_test_of_two_samples(*, last: bool) -> None:
    values = generator(2, stream=0).standard_normal(13)
    values[-1 if last else 0] += 4.0
    one, others = (values[-1], values[:-1]) if last else (values[0], values[1:])
    spread = others.std(ddof=1) * np.sqrt(1 + 1 / 12)
    p = 2 * stats.t.sf(abs(one - others.mean()) / spread, 11)
    found = end_test(values, levels=(0,) * 13)
    assert (found.end, found.p_value) == (-1 if last else 0, pytest.approx(2 * p))
    half = stats.t.ppf(0.975, 11) * spread
    assert found.away == pytest.approx(one - others.mean())
    assert found.interval(confidence=0.95) == pytest.approx((found.away - half, found.away + half))
    alone = end_test(values, levels=(0,) * 13, ends=(found.end,))
    assert alone.p_value == pytest.approx(p)


def test_cavities_get_heights_of_their_own_as_in_least_squares() -> None:
    levels = (0, 1, 2) * 5
    values = generator(3, stream=0).standard_normal(15) + np.array([0.0, 10.0, -7.0])[list(levels)]
    values[-1] += 3.0
    design = np.column_stack([np.eye(3)[list(levels)], np.arange(15) == 14])
    fit, squares, *_ = np.linalg.lstsq(design, values, rcond=None)
    error = np.sqrt(squares[0] / 11 * np.linalg.inv(design.T @ design)[3, 3])
    found = end_test(values, levels=levels, ends=(-1,))
    assert (found.away, found.error) == (pytest.approx(fit[3]), pytest.approx(error))
    assert found.p_value == pytest.approx(2 * stats.t.sf(abs(fit[3] / error), 11))


def test_a_stated_direction_halves_the_p_of_a_rise_and_turns_that_of_a_fall_round() -> None:
    values = np.append(generator(4, stream=0).standard_normal(9), 4.0)
    either, rising, falling = (
        end_test(values, levels=(0,) * 10, ends=(-1,), direction=one).p_value for one in Monotone
    )
    assert rising == pytest.approx(either / 2)
    assert falling == pytest.approx(1 - either / 2)
    low_first = end_test(-values[::-1], levels=(0,) * 10, ends=(0,), direction=Monotone.RISING)
    assert low_first.p_value == pytest.approx(rising)


def test_too_few_values_ends_poured_together_and_equal_values_are_never_called() -> None:
    far = np.array([0.0, 0.1, -0.1, 0.0, 9.0])
    assert end_test(far, levels=(0,) * 5).p_value == 1.0
    assert end_test(np.append(0.0, far), levels=(0,) * 6).p_value < 0.01
    assert end_test(np.append(0.0, far), levels=(0,) * 6, ends=()).p_value == 1.0
    assert end_test(np.full(8, 2.0), levels=(0,) * 8).p_value == 1.0


def test_scatter_that_the_balance_makes_by_itself_is_the_least_taken() -> None:
    values = np.array([2.0] * 9 + [2.001])
    assert end_test(values, levels=(0,) * 10).p_value == 0.0
    assert end_test(values, levels=(0,) * 10, least_scatter=0.0005).p_value > 0.1


def test_the_false_alarm_rate_of_both_ends_together_is_the_level_for_normal_values() -> None:
    random = generator(5, stream=0)
    calls = sum(end_test(row, levels=(0,) * 10).p_value <= 0.05 for row in random.standard_normal((2_000, 10)))
    # Four standard errors of 2,000 series.
    assert calls / 2_000 == pytest.approx(0.05, abs=0.02)
