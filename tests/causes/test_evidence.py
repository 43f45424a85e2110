"""The Gaussian algebra against sums done the long way."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from qc.causes.background import Background
from qc.causes.drawing import Drawn
from qc.causes.evidence import Likelihood, covariance, covariance_at, even_shift, fit
from qc.causes.model import CAUSE_IDS, cause
from qc.causes.priors import builtin_priors
from qc.causes.rows import RowKind, rows_of

Draw = Callable[..., Drawn]


def log_density(values: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> float:
    rest = values - mean
    return float(
        -0.5 * rest @ np.linalg.solve(spread, rest)
        - 0.5 * np.linalg.slogdet(spread)[1]
        - 0.5 * values.size * np.log(2 * np.pi)
    )


@pytest.fixture
def background(draw: Draw) -> Background:
    return Background(rows=rows_of(draw("uneven-fill").batch), priors=builtin_priors(), nodes=5)


def test_no_shift_is_the_mean_of_the_normal_densities(background: Background) -> None:
    zero = np.zeros(len(background.rows.rows))
    each = [
        log_density(background.rows.value, zero, covariance_at(background, Likelihood(), node=node))
        for node in range(5)
    ]
    assert fit(background, Likelihood()).log_evidence == pytest.approx(float(np.logaddexp.reduce(each)) - np.log(5))


def test_one_shift_is_the_mean_over_its_amplitudes(background: Background) -> None:
    shapes = np.array([background.rows.of(RowKind.MASS), background.rows.of(RowKind.CONTENT)], dtype=np.float64)
    amplitudes = np.array([-0.02, 0.01, 0.03])
    explanation = Likelihood(shifts=(even_shift(shapes, amplitudes),))
    each = [
        log_density(background.rows.value, amplitude * shape, covariance_at(background, explanation, node=node))
        for node in range(5)
        for shape in shapes
        for amplitude in amplitudes
    ]
    assert fit(background, explanation).log_evidence == pytest.approx(
        float(np.logaddexp.reduce(each)) - np.log(len(each))
    )


def test_two_shifts_are_the_mean_over_both(background: Background) -> None:
    one = background.rows.of(RowKind.MASS).astype(np.float64)[None]
    two = background.rows.position[None] * background.rows.of(RowKind.CONTENT)
    amplitudes = np.array([-0.02, 0.01, 0.03])
    explanation = Likelihood(shifts=(even_shift(one, amplitudes), even_shift(two, amplitudes)))
    each = [
        log_density(
            background.rows.value,
            first * one[0] + second * two[0],
            covariance_at(background, explanation, node=node),
        )
        for node in range(5)
        for first in amplitudes
        for second in amplitudes
    ]
    assert fit(background, explanation).log_evidence == pytest.approx(
        float(np.logaddexp.reduce(each)) - np.log(len(each))
    )


def test_every_covariance_is_positive_definite(draw: Draw) -> None:
    background = Background(rows=rows_of(draw("sound").batch), priors=builtin_priors())
    for model in map(cause, CAUSE_IDS):
        for one in model.likelihood(background):
            assert np.linalg.eigvalsh(covariance(background, one)).min() > 0.0
            for node in range(background.nodes):
                assert np.linalg.eigvalsh(covariance_at(background, one, node=node)).min() > 0.0


def test_weights_of_the_ways_of_every_cause_add_up_to_one(draw: Draw) -> None:
    background = Background(rows=rows_of(draw("sound").batch), priors=builtin_priors())
    for model in map(cause, CAUSE_IDS):
        ways = model.likelihood(background)
        assert sum(one.weight for one in ways) == pytest.approx(1.0), model.id
        for one in ways:
            for shift in one.shifts:
                assert float(np.exp(shift.log_weights).sum()) == pytest.approx(1.0), model.id
