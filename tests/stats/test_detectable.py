"""The smallest change that a test of order would have shown."""

from __future__ import annotations

import numpy as np
import pytest

from qc.stats.detectable import (
    HALVINGS,
    SIMULATED_SERIES,
    WIDEST_SEARCH,
    chance_to_call,
    detectable_changes,
    normal_critical_value,
)
from qc.stats.drift import centred_by_level
from qc.stats.order_test import Monotone, Places, monotone_share
from qc.stats.permutations import generator


def detectable(n: int, critical: list[float], *, levels: list[int] | None = None) -> list[float | None]:
    order = np.arange(float(n))
    return detectable_changes(
        order / (n - 1),
        Places.of(order),
        levels=levels or [0] * n,
        critical_values=critical,
        power=0.9,
        random=generator(1, stream=2),
    )


@pytest.mark.parametrize("n", [8, 20])
def test_the_detectable_change_is_called_nine_times_in_ten(n: int) -> None:
    order = np.arange(float(n))
    column, at = order / (n - 1), Places.of(order)
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
def test_the_search_finds_what_a_walk_through_every_change_finds(critical: float, levels: list[int]) -> None:
    signal = centred_by_level(np.arange(12.0) / 11, levels)
    noise = centred_by_level(generator(1, stream=2).standard_normal((SIMULATED_SERIES, 12)), levels)
    at = Places.of(np.arange(12.0))

    def called(change: float) -> np.ndarray:
        return monotone_share(noise + change * signal, at, direction=Monotone.RISING) >= critical

    # The best rising curve explains less than all of three cavities' squares: a change may never be called.
    (found,) = detectable(12, [critical], levels=levels)
    top = WIDEST_SEARCH / np.sqrt(signal @ signal)
    while called(top).mean() < 0.99:
        top *= 4
        if top > 1e5:
            assert found is None
            return
    steps = top * np.arange(1, 2**HALVINGS + 1) / 2**HALVINGS
    all_called = np.array([called(change) for change in steps])
    first = np.where(all_called.any(axis=0), steps[all_called.argmax(axis=0)], top)
    assert found == pytest.approx(np.quantile(first, 0.9), rel=1e-12)


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
