"""What a sample without replacement says of a small whole: against scipy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.proportion import at_most_in_sample, hypergeometric_bound


@pytest.mark.parametrize(("found", "n", "whole", "marked"), [(0, 10, 24, 3), (2, 10, 24, 12), (5, 20, 60, 30)])
def test_chance_agrees_with_scipy_hypergeometric(found: int, n: int, whole: int, marked: int) -> None:
    theirs = stats.hypergeom.cdf(found, whole, marked, n)
    assert at_most_in_sample(found, n=n, whole=whole, marked=marked) == pytest.approx(theirs, rel=1e-10)


@given(st.integers(1, 40), st.data())
def test_bound_is_the_last_count_that_is_not_too_unlikely(whole: int, data: st.DataObject) -> None:
    n = data.draw(st.integers(1, whole))
    found = data.draw(st.integers(0, n))
    bound = hypergeometric_bound(found, n=n, whole=whole, confidence=0.9)
    assert found <= bound <= whole - (n - found)
    if bound > found:
        assert stats.hypergeom.cdf(found, whole, bound, n) > 0.1 - 1e-12
    if bound < whole - (n - found):
        assert stats.hypergeom.cdf(found, whole, bound + 1, n) <= 0.1 + 1e-12


def test_a_whole_that_was_tested_is_known() -> None:
    assert hypergeometric_bound(2, n=24, whole=24) == 2


def test_bound_of_a_large_whole_agrees_with_scipy_hypergeometric() -> None:
    bound = hypergeometric_bound(1, n=30, whole=20_000)
    assert stats.hypergeom.cdf(1, 20_000, bound, 30) > 0.05 >= stats.hypergeom.cdf(1, 20_000, bound + 1, 30)


def test_more_found_than_tested_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^3 found among 2 of 24$"):
        hypergeometric_bound(3, n=2, whole=24)
