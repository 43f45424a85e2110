"""Gauss-Legendre points against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from qc.stats.quadrature import legendre_points


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
