"""Points of quadrature against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from qc.stats.quadrature import hermite_points, legendre_points


@pytest.mark.parametrize("count", [1, 2, 3, 7, 16, 20, 40, 48, 64, 200])
def test_points_and_weights_are_those_of_numpy(count: int) -> None:
    points, weights = legendre_points(count)
    theirs = np.polynomial.legendre.leggauss(count)
    assert points == pytest.approx(theirs[0], abs=2e-15)
    assert weights == pytest.approx(theirs[1], abs=1e-14)


@pytest.mark.parametrize("count", [1, 2, 5, 12])
def test_a_polynomial_of_twice_the_points_less_one_is_summed_exactly(count: int) -> None:
    points, weights = legendre_points(count)
    for degree in range(2 * count):
        assert (weights * points**degree).sum() == pytest.approx(
            2.0 / (degree + 1) if degree % 2 == 0 else 0.0, abs=1e-14
        )


@pytest.mark.parametrize("count", [1, 2, 3, 11, 24])
def test_points_for_a_normal_variable_are_those_of_numpy(count: int) -> None:
    points, weights = hermite_points(count)
    theirs = np.polynomial.hermite_e.hermegauss(count)
    assert points == pytest.approx(theirs[0], abs=1e-13)
    assert weights == pytest.approx(theirs[1] / np.sqrt(2.0 * np.pi), abs=1e-13)
