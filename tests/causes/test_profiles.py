"""The stored profiles are those of the melt model, and every shape is scaled alike."""

from __future__ import annotations

import numpy as np
import pytest

from qc.causes.models.settling_in_pour import STORED_PROFILES, melt_that_settles, plain_shapes, profile_library, rise_of
from qc.simulate.melt import pour_settling_melt
from qc.simulate.pouring import FaultDraw, Recipe

STORED = np.loadtxt(STORED_PROFILES, delimiter=",").tolist()
STRENGTHS = (0.5, 1.0, 1.0, 1.7)


@pytest.mark.parametrize("number", [0, 13, 47])
def test_a_stored_profile_is_that_of_its_melt(number: int) -> None:
    rng = np.random.default_rng([20251125, number])
    melt = melt_that_settles(FaultDraw(recipe=Recipe(), strength=STRENGTHS[number % 4], rng=rng))
    logarithms = np.log(np.maximum(pour_settling_melt(melt, units=24).relative, 0.05))
    assert STORED[number] == pytest.approx((logarithms / rise_of(logarithms)).tolist(), abs=0.0006)


def test_every_profile_has_a_fitted_rise_of_one() -> None:
    shapes, weights = profile_library(np.linspace(0.0, 1.0, 24), falling=0.08, greatest=1.2)
    for profile in shapes[: len(STORED)]:
        assert rise_of(profile) == pytest.approx(1.0, abs=0.01)
    assert weights.sum() == pytest.approx(1.0)
    for shape in plain_shapes(np.linspace(0.0, 1.0, 101)):
        assert rise_of(shape) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("rise", [0.06, 0.28, 0.8, 1.2])
def test_no_shape_makes_active_at_any_rise(rise: float) -> None:
    """The units together hold no more than an even melt would have given them."""
    shapes, _ = profile_library(np.linspace(0.0, 1.0, 201), falling=0.08, greatest=1.2)
    assert np.exp(rise * shapes).mean(axis=1).max() <= 1.01
