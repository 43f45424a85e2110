"""What a sample without replacement says of a small whole: against scipy and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.proportion import at_most_in_sample, hypergeometric_bound
from qc.stats.tolerance import remaining_factor, two_sided_factor


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


@pytest.mark.parametrize("confidence", [0.95, 0.995, 0.9995])
@pytest.mark.parametrize("n", [3, 10, 20, 21, 30, 41, 200])
def test_factor_for_one_further_unit_is_the_prediction_interval(n: int, confidence: float) -> None:
    theirs = stats.t.ppf(0.5 * (1 + confidence), n - 1) * math.sqrt(1 + 1 / n)
    assert remaining_factor(n, remaining=1, within=1, confidence=confidence) == pytest.approx(theirs, rel=1e-5)


@pytest.mark.parametrize(("n", "confidence"), [(2, 0.95), (3, 0.99), (5, 0.9), (10, 0.95), (20, 0.95), (30, 0.99)])
def test_factor_for_very_many_further_units_is_the_tolerance_factor(n: int, confidence: float) -> None:
    of_all = two_sided_factor(n, coverage=0.95, confidence=confidence)
    away = [
        abs(remaining_factor(n, remaining=many, within=many * 95 // 100, confidence=confidence) / of_all - 1)
        for many in (100, 10_000, 1_000_000)
    ]
    assert away == sorted(away, reverse=True)
    assert away[-1] < 2e-5


@pytest.mark.parametrize(
    ("n", "remaining", "within"),
    [(3, 17, 17), (10, 14, 14), (10, 300, 285), (20, 40, 38), (600, 5_000, 4_750), (1_000, 2_000, 1_900)],
)
def test_factor_gives_the_confidence_asked_for_by_another_route(n: int, remaining: int, within: int) -> None:
    """The binomial chance summed over mean and SD of the sample, which the package sums the other way round."""
    factor = remaining_factor(n, remaining=remaining, within=within)
    error = np.linspace(-8.0, 8.0, 321)[:, None] / math.sqrt(n)
    sd = np.sqrt(stats.chi2.ppf((np.arange(4_000) + 0.5) / 4_000, n - 1) / (n - 1))[None, :]
    inside = stats.norm.cdf(error + factor * sd) - stats.norm.cdf(error - factor * sd)
    enough = stats.binom.sf(within - 1, remaining, inside).mean(axis=1)
    assert float(
        np.sum(enough * stats.norm.pdf(error[:, 0], scale=1 / math.sqrt(n))) * (error[1, 0] - error[0, 0])
    ) == (pytest.approx(0.95, abs=2e-5))


@example(n=41, remaining=1, level=0.99)
@example(n=21, remaining=1, level=0.999)
@example(n=20, remaining=1, level=0.999)
@given(st.integers(2, 3_000), st.integers(1, 1_000_000), st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999]))
def test_a_factor_is_found_for_any_batch_and_grows_with_the_confidence(n: int, remaining: int, level: float) -> None:
    within = math.ceil(0.95 * remaining)
    factor = remaining_factor(n, remaining=remaining, within=within, confidence=level)
    assert 0.0 < factor < remaining_factor(n, remaining=remaining, within=within, confidence=0.5 * (1 + level))


def test_a_confidence_too_near_to_certainty_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^no factor is found for a confidence of 0\.9999999999999999; ask for less$"):
        remaining_factor(10, remaining=4, within=4, confidence=1 - 1e-16)


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
