"""The Gaussian algebra against sums done the long way."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from qc.causes.background import Field
from qc.causes.catalogue import CAUSES
from qc.causes.drawing import Drawn
from qc.causes.evidence import Likelihood, covariance, covariance_at, even_shift, fit
from qc.causes.priors import builtin_priors
from qc.causes.rows import Kind, rows_of

Draw = Callable[..., Drawn]


def log_density(values: np.ndarray, mean: np.ndarray, spread: np.ndarray) -> float:
    rest = values - mean
    return float(
        -0.5 * rest @ np.linalg.solve(spread, rest)
        - 0.5 * np.linalg.slogdet(spread)[1]
        - 0.5 * values.size * np.log(2 * np.pi)
    )


@pytest.fixture
def field(draw: Draw) -> Field:
    return Field(rows=rows_of(draw("uneven-fill").batch), priors=builtin_priors(), nodes=5)


def test_no_shift_is_the_mean_of_the_normal_densities(field: Field) -> None:
    zero = np.zeros(len(field.rows.rows))
    each = [log_density(field.rows.value, zero, covariance_at(field, Likelihood(), node=node)) for node in range(5)]
    assert fit(field, Likelihood()).log_evidence == pytest.approx(float(np.logaddexp.reduce(each)) - np.log(5))


def test_one_shift_is_the_mean_over_its_amplitudes(field: Field) -> None:
    shapes = np.array([field.rows.of(Kind.MASS), field.rows.of(Kind.CONTENT)], dtype=np.float64)
    amplitudes = np.array([-0.02, 0.01, 0.03])
    explanation = Likelihood(shifts=(even_shift(shapes, amplitudes),))
    each = [
        log_density(field.rows.value, amplitude * shape, covariance_at(field, explanation, node=node))
        for node in range(5)
        for shape in shapes
        for amplitude in amplitudes
    ]
    assert fit(field, explanation).log_evidence == pytest.approx(float(np.logaddexp.reduce(each)) - np.log(len(each)))


def test_two_shifts_are_the_mean_over_both(field: Field) -> None:
    one = field.rows.of(Kind.MASS).astype(np.float64)[None]
    two = field.rows.position[None] * field.rows.of(Kind.CONTENT)
    amplitudes = np.array([-0.02, 0.01, 0.03])
    explanation = Likelihood(shifts=(even_shift(one, amplitudes), even_shift(two, amplitudes)))
    each = [
        log_density(
            field.rows.value,
            first * one[0] + second * two[0],
            covariance_at(field, explanation, node=node),
        )
        for node in range(5)
        for first in amplitudes
        for second in amplitudes
    ]
    assert fit(field, explanation).log_evidence == pytest.approx(float(np.logaddexp.reduce(each)) - np.log(len(each)))


def test_every_covariance_is_positive_definite(draw: Draw) -> None:
    field = Field(rows=rows_of(draw("sound").batch), priors=builtin_priors())
    for model in CAUSES:
        for one in model.likelihood(field):
            assert np.linalg.eigvalsh(covariance(field, one)).min() > 0.0
            for node in range(field.nodes):
                assert np.linalg.eigvalsh(covariance_at(field, one, node=node)).min() > 0.0


def test_weights_of_the_ways_of_every_cause_add_up_to_one(draw: Draw) -> None:
    field = Field(rows=rows_of(draw("sound").batch), priors=builtin_priors())
    for model in CAUSES:
        ways = model.likelihood(field)
        assert sum(one.weight for one in ways) == pytest.approx(1.0), model.id
        for one in ways:
            for shift in one.shifts:
                assert float(np.exp(shift.log_weights).sum()) == pytest.approx(1.0), model.id
