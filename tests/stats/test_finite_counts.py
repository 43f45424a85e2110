"""What a sample without replacement says of a small whole: against scipy and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.finite_counts import at_most_in_sample, marked_at_most, remaining_factor


@pytest.mark.parametrize(("found", "n", "whole", "marked"), [(0, 10, 24, 3), (2, 10, 24, 12), (5, 20, 60, 30)])
def test_chance_agrees_with_scipy_hypergeometric(found: int, n: int, whole: int, marked: int) -> None:
    theirs = stats.hypergeom.cdf(found, whole, marked, n)
    assert at_most_in_sample(found, n=n, whole=whole, marked=marked) == pytest.approx(theirs, rel=1e-10)


@given(st.integers(1, 40), st.data())
def test_bound_is_the_last_count_that_is_not_too_unlikely(whole: int, data: st.DataObject) -> None:
    n = data.draw(st.integers(1, whole))
    found = data.draw(st.integers(0, n))
    bound = marked_at_most(found, n=n, whole=whole, confidence=0.9)
    assert found <= bound <= whole - (n - found)
    if bound > found:
        assert stats.hypergeom.cdf(found, whole, bound, n) > 0.1 - 1e-12
    if bound < whole - (n - found):
        assert stats.hypergeom.cdf(found, whole, bound + 1, n) <= 0.1 + 1e-12


def test_a_whole_that_was_tested_is_known() -> None:
    assert marked_at_most(2, n=24, whole=24) == 2


def test_more_found_than_tested_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^3 found among 2 of 24$"):
        marked_at_most(3, n=2, whole=24)


@pytest.mark.parametrize("n", [3, 10, 30])
def test_factor_for_one_further_unit_is_the_prediction_interval(n: int) -> None:
    theirs = stats.t.ppf(0.975, n - 1) * math.sqrt(1 + 1 / n)
    assert remaining_factor(n, remaining=1, within=1) == pytest.approx(theirs, rel=1e-5)


def test_factor_for_the_rest_of_a_batch_holds_with_the_confidence_stated() -> None:
    factor = remaining_factor(10, remaining=14, within=13, confidence=0.95)
    values = np.random.Generator(np.random.Philox(11)).standard_normal((100_000, 24))
    tested, rest = values[:, :10], values[:, 10:]
    centre, reach = tested.mean(axis=1, keepdims=True), factor * tested.std(axis=1, ddof=1, keepdims=True)
    held = ((np.abs(rest - centre) <= reach).sum(axis=1) >= 13).mean()
    assert held == pytest.approx(0.95, abs=4.5 * math.sqrt(0.95 * 0.05 / 100_000))


def test_more_units_inside_than_there_are_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^5 of 4 further units from 10 units at a confidence of 0\.95$"):
        remaining_factor(10, remaining=4, within=5)
