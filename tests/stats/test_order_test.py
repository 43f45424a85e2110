"""The test of order: its null distribution, its exactness, its decision (tests/reference/trend/SOURCE.md)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import optimize, stats

from qc.stats import order_test
from qc.stats.order_test import (
    LOOKS,
    MOST_PLACES,
    SURE,
    Monotone,
    Places,
    _sure,
    fewest_alike,
    monotone_share,
    order_p_value,
)
from qc.stats.permutations import generator, permuted

REFERENCE = Path(__file__).parent.parent / "reference/trend"
EBAR = json.loads((REFERENCE / "ebar.json").read_text())
NILE = json.loads((REFERENCE / "nile.json").read_text())
HARDNESS = json.loads((REFERENCE / "hardness.json").read_text())


def places(n: int) -> Places:
    return Places.of(np.arange(n, dtype=float))


def p_alone(values: list[float], direction: Monotone = Monotone.EITHER) -> float:
    series = np.array(values, dtype=float)
    levels = (0,) * len(values)
    return order_p_value(series, places(len(values)), levels=levels, thresholds=(0.05, 0.01), direction=direction)


@pytest.mark.parametrize("n", [6, 10, 12, 20, 30])
@pytest.mark.parametrize("level", ["0.05", "0.01"])
def test_normal_series_exceed_the_published_critical_value_as_often_as_stated(n: int, level: str) -> None:
    null = generator(7, stream=n).standard_normal((20_000, n))
    shares = monotone_share(null, places(n), direction=Monotone.RISING)
    share = float((shares > EBAR[str(n)][level]).mean())
    # Four standard errors of 20,000 draws.
    assert share == pytest.approx(float(level), abs=4 * np.sqrt(float(level) / 20_000))


@pytest.mark.parametrize("name", sorted(NILE))
def test_nile_flows_have_the_shares_of_another_program(name: str) -> None:
    row = np.array([NILE[name]["values"]])
    for direction, key in ((Monotone.RISING, "isotonic_up_Ebar2"), (Monotone.FALLING, "isotonic_down_Ebar2")):
        found = monotone_share(row, places(row.shape[1]), direction=direction)[0]
        assert found == pytest.approx(NILE[name][key], rel=1e-7, abs=1e-12)


def test_nile_fall_of_the_1890s_has_nearly_the_p_of_normal_theory() -> None:
    """Normal theory and permutation agree where the scatter is about normal: 0.233 for a fall in 1871-1890."""
    case = NILE["nile-1871-1890"]
    assert p_alone(case["values"], Monotone.FALLING) == pytest.approx(case["isotonic_down_p"], abs=0.03)


def test_the_drifting_hardness_series_is_called_and_the_series_in_control_is_not() -> None:
    assert p_alone(HARDNESS["C"]) <= 0.001
    assert p_alone(HARDNESS["B"]) > 0.05


def test_six_rising_values_have_the_exact_p_of_two_orders_in_720() -> None:
    assert p_alone([1, 2, 3, 5, 8, 13]) == pytest.approx(2 / 720)
    assert p_alone([1, 2, 3, 5, 8, 13], Monotone.RISING) == pytest.approx(1 / 720)


def test_equal_values_are_never_called() -> None:
    assert p_alone([2.0] * 10) == 1.0


@given(values=st.lists(st.integers(0, 30), min_size=4, max_size=6, unique=True), shift=st.integers(-9, 9))
@settings(max_examples=30)
def test_shifting_scaling_and_turning_round_change_no_p(values: list[int], shift: int) -> None:
    plain = p_alone([float(value) for value in values])
    assert p_alone([3.0 * value + shift for value in values]) == pytest.approx(plain)
    assert p_alone([-float(value) for value in values]) == pytest.approx(plain)
    assert p_alone([float(value) for value in values[::-1]]) == pytest.approx(plain)


def test_units_poured_together_may_change_places() -> None:
    order = np.array([1.0, 1.0, 2.0, 2.0, 3.0, 3.0])
    rows = np.array([[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [2.0, 1.0, 4.0, 3.0, 6.0, 5.0]])
    shares = monotone_share(rows, Places.of(order))
    assert shares[0] == pytest.approx(shares[1])
    assert shares[0] == pytest.approx(16 / 17.5)


def test_too_few_values_can_never_be_called() -> None:
    assert p_alone([0.0, 1.0, 2.0, 3.0]) == pytest.approx(2 / 24)
    assert fewest_alike(places(4), (0,) * 4) == pytest.approx(1 / 24)
    tied = Places.of(np.array([1.0, 1.0, 2.0, 2.0, 3.0]))
    assert fewest_alike(tied, (0,) * 5) == pytest.approx(2 * 2 / 120)
    assert fewest_alike(places(6), (0, 1) * 3) == pytest.approx(1 / 36)


def test_the_p_value_is_that_of_another_program() -> None:
    """scipy's permutation test with its own isotonic regression, on the same statistic: 1,999 orders of twelve."""
    values = generator(6, stream=0).standard_normal(12) + np.arange(12) * 0.1

    def explained(order: NDArray[np.float64]) -> float:
        both = [optimize.isotonic_regression(sign * order).x for sign in (1, -1)]
        return max(float(((fit - fit.mean()) ** 2).sum()) for fit in both)

    theirs = stats.permutation_test(
        (values,), explained, permutation_type="pairings", alternative="greater", n_resamples=1_999, rng=3
    )
    assert 0.01 < theirs.pvalue < 0.2
    assert p_alone(values.tolist()) == pytest.approx(theirs.pvalue, abs=0.025)


def test_drawing_goes_on_until_the_decision_is_sure(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[int] = []

    def counted(*args: Any, draws: int, **others: Any) -> Iterator[NDArray[np.float64]]:
        drawn.append(draws)
        yield from permuted(*args, draws=draws, **others)

    monkeypatch.setattr(order_test, "permuted", counted)
    random = generator(8, stream=0)
    values = random.standard_normal(12)
    clear = p_alone((values + np.arange(12)).tolist())
    assert (clear, drawn) == (pytest.approx(1 / 2_000), [499, 1_500])
    drawn.clear()
    p = p_alone(values.tolist())
    assert p > 0.1
    assert drawn == [499]
    # A p-value beside the threshold is drawn farther, and never more often than is allowed.
    drawn.clear()
    order_p_value(values, places(12), levels=(0,) * 12, thresholds=(p,))
    assert LOOKS[0] < sum(drawn) <= LOOKS[-1]


@given(share=st.floats(0.0, 1.0), threshold=st.floats(0.001, 0.2), draws=st.sampled_from(LOOKS[:2]))
def test_a_share_is_sure_only_where_the_binomial_says_so_too(share: float, threshold: float, draws: int) -> None:
    found = round(share * draws)
    if _sure(found / draws, threshold, draws=draws):
        binomial = stats.binom(draws, threshold)
        tail = binomial.cdf(found) if found / draws < threshold else binomial.sf(found - 1)
        assert tail <= SURE


def test_a_p_value_does_not_depend_on_the_order_of_rows_on_names_or_on_a_seed() -> None:
    values = (generator(9, stream=0).standard_normal(15) + np.arange(15) * 0.15).tolist()
    assert p_alone(values) == p_alone(values)
    assert p_alone(values[::-1]) == p_alone(values)
    assert p_alone([1000.0 * value for value in values]) == p_alone(values)


def test_a_long_order_is_cut_into_stretches() -> None:
    many = places(1000)
    assert (len(many.weights), many.weights.sum()) == (MOST_PLACES, 1000)
    assert set(many.weights.tolist()) == {5.0}
    values = generator(10, stream=1).standard_normal(1000)
    assert p_alone(values.tolist()) > 0.05
    assert p_alone((values + np.arange(1000) / 1000).tolist()) < 0.001
