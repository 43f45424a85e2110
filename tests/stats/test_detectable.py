"""The smallest change that a test of order would have shown."""

from __future__ import annotations

import numpy as np
import pytest

from qc.stats.detectable import (
    SECTIONS,
    SIMULATED_SERIES,
    WIDEST_SEARCH,
    chance_to_call,
    detectable_changes,
    normal_critical_value,
)
from qc.stats.drift import centred_by_level, straight
from qc.stats.order_test import Monotone, Places, monotone_share
from qc.stats.permutations import generator


def detectable(n: int, critical: list[float], *, levels: list[int] | None = None) -> list[float | None]:
    order = np.arange(float(n))
    return detectable_changes(
        straight(order, first=0, last=n - 1).column,
        Places.of(order),
        levels=levels or [0] * n,
        critical_values=critical,
        power=0.9,
        random=generator(1, stream=2),
    )


@pytest.mark.parametrize("n", [8, 20])
def test_the_detectable_change_is_called_nine_times_in_ten(n: int) -> None:
    order = np.arange(float(n))
    column, at = straight(order, first=0, last=n - 1).column, Places.of(order)
    critical = normal_critical_value(at, level=0.05, random=generator(1, stream=1))
    (change,) = detectable(n, [critical])
    assert change is not None
    found = chance_to_call(column, at, critical_value=critical, change=change, random=generator(2, stream=3))
    assert found == pytest.approx(0.9, abs=0.06)


def test_nothing_is_detectable_where_nothing_could_be_called() -> None:
    assert detectable(4, [2.0]) == [None]


def test_nothing_is_detectable_where_the_cavities_take_up_every_change() -> None:
    assert detectable(4, [0.5, 0.9], levels=[0, 1, 2, 3]) == [None, None]


@pytest.mark.parametrize("levels", [[0] * 12, [0, 1, 2] * 4], ids=["one cavity", "three cavities"])
@pytest.mark.parametrize("critical", [0.3, 0.41, 0.5, 0.55, 0.62, 0.7, 0.77, 0.85, 0.93, 0.999, 0.99999])
def test_the_search_finds_what_halving_the_range_of_every_series_finds(critical: float, levels: list[int]) -> None:
    order = np.arange(12.0)
    signal = centred_by_level(straight(order, first=0, last=11).column, levels)
    noise = centred_by_level(generator(1, stream=2).standard_normal((SIMULATED_SERIES, 12)), levels)

    def called(changes: np.ndarray) -> np.ndarray:
        rows = noise + changes[:, None] * signal
        return monotone_share(rows, Places.of(order), direction=Monotone.RISING) >= critical

    # The best rising curve explains less than all of three cavities' squares: a change may never be called.
    (found,) = detectable(12, [critical], levels=levels)
    high = np.full(SIMULATED_SERIES, WIDEST_SEARCH / np.sqrt(signal @ signal))
    while called(high).mean() < 0.99:
        high *= 4
        if high[0] > 1e5:
            assert found is None
            return
    low = np.zeros(SIMULATED_SERIES)
    for _ in range(int(np.log2(SECTIONS**2))):
        middle = (low + high) / 2
        inside = called(middle)
        low, high = np.where(inside, low, middle), np.where(inside, middle, high)
    assert found == pytest.approx(np.quantile(high, 0.9), rel=1e-12)


def test_several_tests_asked_together_get_the_answers_they_get_alone() -> None:
    critical = [0.3, 2.0, 0.5, 0.8]
    together = detectable(15, critical)
    assert together == [detectable(15, [one])[0] for one in critical]
    least, none, middle, most = together
    assert none is None
    assert least is not None
    assert middle is not None
    assert most is not None
    assert least < middle < most


def test_long_series_are_tested_in_parts_with_the_same_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = detectable(20, [0.4, 0.6])
    monkeypatch.setattr("qc.stats.detectable.MOST_VALUES", 7_000)
    assert detectable(20, [0.4, 0.6]) == whole
