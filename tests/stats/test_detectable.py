"""What the tests would have shown, against simulation of the tests themselves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from qc.stats.detectable import chance_to_call, detectable_change, detectable_end
from qc.stats.drift import centred_by_level
from qc.stats.order_test import Monotone, Places, monotone_share
from qc.stats.permutations import generator


def detectable(n: int, *, level: float = 0.03, levels: tuple[int, ...] | None = None) -> float | None:
    order = np.arange(float(n))
    return detectable_change(order / (n - 1), Places.of(order), levels=levels or (0,) * n, level=level, power=0.9)


@pytest.mark.parametrize("n", [8, 12, 30, 100])
@pytest.mark.parametrize("level", [0.05, 0.0075])
def test_the_detectable_change_is_called_about_nine_times_in_ten(n: int, level: float) -> None:
    order, random = np.arange(float(n)), generator(1, stream=n)
    places, change = Places.of(order), detectable(n, level=level)
    assert change is not None
    null = monotone_share(random.standard_normal((20_000, n)), places)
    rows = random.standard_normal((4_000, n)) + change * order / (n - 1)
    power = float((monotone_share(rows, places) >= np.quantile(null, 1 - level)).mean())
    assert power == pytest.approx(0.9, abs=0.035)
    assert chance_to_call(order / (n - 1), places, level=level, change=change) == pytest.approx(0.9)


def test_a_greater_change_or_level_is_called_more_often() -> None:
    places, column = Places.of(np.arange(10.0)), np.arange(10.0) / 9
    chances = [chance_to_call(column, places, level=0.03, change=change) for change in (0.0, 2.0, 4.0, 8.0)]
    assert chances == sorted(chances)
    assert chances[0] < 0.05
    assert chances[-1] > 0.99
    assert chance_to_call(column, places, level=0.05, change=3.0) > chance_to_call(
        column, places, level=0.01, change=3.0
    )
    assert chance_to_call(column, places, level=0.03, change=-3.0) == chance_to_call(
        column, places, level=0.03, change=3.0
    )


def test_cavities_taken_out_take_a_part_of_every_change_with_them() -> None:
    plain, taken = detectable(12), detectable(12, levels=(0, 1, 2) * 4)
    assert plain is not None
    assert taken is not None
    assert taken > plain
    column = np.arange(12.0) / 11
    sizes = [float(np.sqrt((centred_by_level(column, levels) ** 2).sum())) for levels in ((0,) * 12, (0, 1, 2) * 4)]
    assert taken / plain > sizes[0] / sizes[1]


def test_a_stated_direction_needs_less() -> None:
    order = np.arange(10.0)
    either, rising = (
        detectable_change(order / 9, Places.of(order), levels=(0,) * 10, level=0.03, power=0.9, direction=direction)
        for direction in (Monotone.EITHER, Monotone.RISING)
    )
    assert either is not None
    assert rising is not None
    assert rising < either


@pytest.mark.parametrize(("n", "level", "shown"), [(4, 0.05, False), (5, 0.05, True), (5, 0.016, False)])
def test_nothing_is_detectable_where_no_order_could_be_called(n: int, level: float, *, shown: bool) -> None:
    """Two of n! orders are the most extreme: 2/24 = 0.083 for four values, 2/120 = 0.017 for five."""
    assert (detectable(n, level=level) is not None) is shown


def test_nothing_is_detectable_where_the_cavities_take_up_every_change() -> None:
    assert detectable(4, levels=(0, 1, 2, 3)) is None


@pytest.mark.parametrize("n", [6, 10, 24])
@pytest.mark.parametrize("level", [0.015, 0.005])
def test_the_distance_of_an_end_unit_that_is_called_nine_times_in_ten_is_that_of_the_noncentral_t(
    n: int, level: float
) -> None:
    found = detectable_end(n, levels=1, level=level, power=0.9)
    assert found is not None
    limit = stats.t.ppf(1 - level / 4, n - 2)
    assert stats.nct.sf(limit, n - 2, found * np.sqrt(1 - 1 / n)) == pytest.approx(0.9, abs=0.012)
    assert detectable_end(5, levels=1, level=level, power=0.9) is None
