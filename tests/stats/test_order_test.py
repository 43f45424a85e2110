"""The test of order: its null distribution, its exactness, its joint decision (tests/reference/trend/SOURCE.md)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.stats.order_test import Monotone, Places, joint_order_tests, monotone_share
from qc.stats.permutations import generator, permutations

REFERENCE = Path(__file__).parent.parent / "reference/trend"
EBAR = json.loads((REFERENCE / "ebar.json").read_text())
NILE = json.loads((REFERENCE / "nile.json").read_text())
HARDNESS = json.loads((REFERENCE / "hardness.json").read_text())


def places(n: int) -> Places:
    return Places.of(np.arange(n, dtype=float))


def p_alone(values: list[float], direction: Monotone = Monotone.EITHER) -> float:
    rows = permutations([0] * len(values), draws=9_999, random=generator(1, stream=0))
    series = np.array(values, dtype=float)
    return joint_order_tests([series], places(len(values)), rows, directions=[direction])[0].p_alone


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


def test_copies_of_one_series_cost_nothing_and_unlike_series_do() -> None:
    random = generator(3, stream=0)
    one, other = random.standard_normal(12) + np.arange(12) * 0.4, random.standard_normal(12)
    rows = permutations([0] * 12, draws=1_999, random=random)
    both = [Monotone.EITHER] * 2
    copies = joint_order_tests([one, one], places(12), rows, directions=both)
    unlike = joint_order_tests([one, other], places(12), rows, directions=both)
    assert copies[0].p_value == copies[0].p_alone
    assert copies[0].p_alone < unlike[0].p_value <= 2 * unlike[0].p_alone
    half = joint_order_tests([one], places(12), rows, directions=both[:1], share_of_level=0.5)
    assert half[0].p_value == pytest.approx(2 * half[0].p_alone)


def test_too_few_values_can_never_be_called() -> None:
    rows = permutations([0] * 4, draws=99, random=generator(1, stream=0))
    found = joint_order_tests([np.arange(4.0)], places(4), rows, directions=[Monotone.EITHER])
    assert len(rows) == 24
    assert found[0].p_value == pytest.approx(2 / 24)
    assert found[0].critical_value > 1


def test_the_share_at_the_critical_value_is_called_and_below_it_is_not() -> None:
    random = generator(11, stream=0)
    rows = permutations([0] * 15, draws=1_999, random=random)
    values = random.standard_normal(15)
    found = joint_order_tests([values], places(15), rows, directions=[Monotone.EITHER])[0]
    shares = np.sort(monotone_share(values[rows], places(15)))
    assert (shares >= found.critical_value).mean() <= 0.05
    below = shares[shares < found.critical_value].max()
    assert (shares >= below).mean() > 0.05
