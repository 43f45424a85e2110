"""The small distribution functions against scipy.special."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from qc.stats.chi_square import chi_square_cdf, chi_square_quantile, normal_cdf
from qc.stats.sphere import beta_cdf, residual_tail


@pytest.mark.parametrize("degrees", [1, 2, 3, 9, 19, 29, 99, 499, 1000, 1001, 3000])
def test_chi_square_agrees_with_scipy(degrees: int) -> None:
    values = np.concatenate([[0.0], np.linspace(0.01, 2.5, 200) * degrees, [np.inf]])
    theirs = special.gammainc(degrees / 2, values / 2)
    assert np.abs(chi_square_cdf(values, degrees=degrees) - theirs).max() < 5e-13


@pytest.mark.parametrize("degrees", [1, 4, 9, 29, 499, 1500])
@pytest.mark.parametrize("chance", [1e-6, 0.0253, 0.5, 0.9747, 1 - 1e-6])
def test_chi_square_quantile_agrees_with_scipy(degrees: int, chance: float) -> None:
    assert chi_square_quantile(chance, degrees=degrees) == pytest.approx(stats.chi2.ppf(chance, degrees), rel=1e-9)


def test_chi_square_refuses_no_degrees_of_freedom() -> None:
    with pytest.raises(ValueError, match=r"^0 degrees of freedom; a chi-square distribution has at least 1$"):
        chi_square_cdf(1.0, degrees=0)


@pytest.mark.parametrize("chance", [0.0, 1.0])
def test_chi_square_quantile_refuses_a_certain_chance(chance: float) -> None:
    with pytest.raises(ValueError, match=f"^a quantile at the chance {chance}; a chance between 0 and 1 is needed$"):
        chi_square_quantile(chance, degrees=3)


def test_normal_agrees_with_scipy() -> None:
    values = np.linspace(-9, 9, 401)
    assert np.abs(normal_cdf(values) - special.ndtr(values)).max() < 1e-15


@pytest.mark.parametrize(("a", "b"), [(9.5, 4.5), (1.0, 1.0), (1.5, 20.0), (30.0, 49.5)])
def test_beta_agrees_with_scipy(a: float, b: float) -> None:
    values = np.linspace(0, 1, 3001)
    assert np.abs(beta_cdf(values, a=a, b=b) - special.betainc(a, b, values)).max() < 3e-7


def test_beta_refuses_small_parameters() -> None:
    with pytest.raises(ValueError, match=r"^a beta distribution with 0\.5 and 2\.0; both must be at least 1$"):
        beta_cdf(np.array([0.1]), a=0.5, b=2.0)


@pytest.mark.parametrize("n", [4, 10, 20, 29])
def test_residual_tail_agrees_with_the_t_distribution(n: int) -> None:
    """Thompson (1935): t = e sqrt(n (n-2) / (n-1 - n e^2)) has Student's distribution with n - 2 degrees."""
    values = np.linspace(-0.98, 0.98, 197) * np.sqrt((n - 1) / n)
    theirs = stats.t.sf(values * np.sqrt(n * (n - 2) / (n - 1 - n * values**2)), n - 2)
    seen = theirs > 1e-9
    assert residual_tail(values, n=n)[seen] == pytest.approx(theirs[seen], rel=1e-4)


def test_residual_tail_refuses_three_values() -> None:
    with pytest.raises(ValueError, match=r"^the residuals of 3 values; at least 4 are needed$"):
        residual_tail(np.array([0.1]), n=3)
