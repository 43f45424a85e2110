"""The Gaussian algebra against sums done the long way."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pytest
from msgspec.structs import replace

from qc.causes.background import MANY_ROWS, Background
from qc.causes.drawing import Drawn
from qc.causes.evidence import Likelihood, _curbs, covariance_at, fit
from qc.causes.foundation import foundation, inverse_of_lower
from qc.causes.model import CAUSE_IDS, cause
from qc.causes.priors import Priors, builtin_priors
from qc.causes.rows import RowKind, rows_of
from qc.causes.shifts import even_shift

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
    """Without outliers, so that every node counts alike."""
    sections = builtin_priors().sections
    normal = Priors(sections={**sections, "outliers": {**sections["outliers"], "weight": 0.0}})
    return Background(rows=rows_of(draw("uneven-fill").batch), priors=normal, nodes=5)


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


def test_which_of_many_shapes_stands_first_does_not_matter_to_two_causes_at_once(draw: Draw) -> None:
    """Without masses each share lost is one shape, and all these differ in size alone."""
    batch = draw("settling-in-pour").batch
    unweighed = replace(batch, units=tuple(replace(unit, mass_g=None) for unit in batch.units), cavity_pours=())
    background = Background(rows=rows_of(unweighed), priors=builtin_priors(), nodes=3)
    (settling,), (lost,) = (cause(id).likelihood(background) for id in ("settling-in-pour", "active-lost"))
    (shift,), found = lost.shifts, []
    for order in (np.arange(len(shift.shapes)), np.arange(len(shift.shapes))[::-1]):
        names = ("shapes", "amplitudes", "log_weights")
        moved = replace(shift, **{name: getattr(shift, name)[order] for name in names})
        found.append(fit(background, settling.together_with(replace(lost, shifts=(moved,)))).log_evidence)
    assert found[0] == pytest.approx(found[1], abs=1e-9)


@pytest.mark.parametrize("kernels", [("mixing",), ("fill", "ends"), ("cavity", "content-scatter", "mass-level")])
def test_added_variance_is_that_of_the_whole_covariance(kernels: tuple[str, ...], background: Background) -> None:
    """The update by low rank against the density with the covariance written out."""
    added = Likelihood(added={name: np.linspace(0.01, 0.05, 5) ** 2 for name in kernels})
    shape = background.volumes.astype(np.float64)
    moved = replace(added, shifts=(even_shift(shape[None], np.array([-0.02, 0.03])),))
    for likelihood, shifts in ((added, (0.0,)), (moved, (-0.02, 0.03))):
        each = [
            log_density(background.rows.value, shift * shape, covariance_at(background, likelihood, node=node))
            for node in range(5)
            for shift in shifts
        ]
        assert fit(background, likelihood).log_evidence == pytest.approx(
            float(np.logaddexp.reduce(each)) - np.log(len(each))
        )


class TestOutliers:
    """Units and assays with a spread several times the usual one, in nodes of their own."""

    def test_nodes_with_outliers_weigh_what_their_price_says(self, draw: Draw) -> None:
        batch = draw("sound").batch
        heavy = replace(batch, units=(replace(batch.units[0], mass_g=Decimal("2.32")), *batch.units[1:]))
        background = Background(rows=rows_of(heavy), priors=builtin_priors(), nodes=5)
        solved = foundation(background)
        assert solved.origin.tolist() == [0, 1, 2, 3, 4, 0, 1]
        assert not solved.outlying[:5].any()
        assert solved.outlying[5:, 0].all()
        zero = np.zeros(len(background.rows.rows))
        each = [
            log_density(background.rows.value, zero, covariance_at(background, Likelihood(), node=node))
            for node in range(7)
        ]
        assert solved.plain == pytest.approx(np.array(each) + solved.log_weight)

    def test_a_batch_without_outliers_has_no_node_more(self, draw: Draw) -> None:
        units = tuple(replace(unit, mass_g=Decimal("2.113")) for unit in draw("sound").batch.units)
        even = replace(draw("sound").batch, units=units, assays=(), cavity_pours=())
        assert foundation(Background(rows=rows_of(even), priors=builtin_priors(), nodes=5)).origin.size == 5


def test_every_covariance_is_positive_definite(draw: Draw) -> None:
    background = Background(rows=rows_of(draw("sound").batch), priors=builtin_priors())
    for model in map(cause, CAUSE_IDS):
        for one in model.likelihood(background):
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


def test_it_does_not_matter_which_way_takes_less_work(draw: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    # Disturbances added to the background, or all of it factorised anew; shapes by the rows that they move, or whole.
    rows, found = rows_of(draw("sound").batch), []
    for few, many_rows in ((np.inf, 1000), (0.0, 0)):
        monkeypatch.setattr("qc.causes.evidence.FEW", few)
        monkeypatch.setattr("qc.causes.evidence.MANY_ROWS", many_rows)
        background = Background(rows=rows, priors=builtin_priors(), nodes=5)
        ways = [way for model in map(cause, CAUSE_IDS) for way in model.likelihood(background)]
        assert any(way.added for way in ways)
        found.append([fit(background, way).log_evidence for way in ways])
    assert found[0] == pytest.approx(found[1], rel=1e-9)


def test_the_inverse_by_halves_is_that_of_the_library() -> None:
    roots = np.tril(np.random.default_rng(6).standard_normal((3, 130, 130))) / 12 + 2 * np.eye(130)
    assert np.abs(inverse_of_lower(roots) - np.linalg.inv(roots)).max() < 1e-12


@pytest.mark.parametrize("count", [MANY_ROWS, MANY_ROWS + 1])
def test_each_shape_of_many_rows_is_curbed_as_the_long_sum_says(count: int) -> None:
    """Shapes that move few rows, alone and by the dozen, all rows but one, every row, and none."""
    drawn = np.random.default_rng(5)
    root = drawn.normal(size=(2, count, count))
    precision = root @ root.swapaxes(1, 2)
    rows = drawn.normal(size=(34, count))
    rows[:15, 3:] = 0.0
    rows[15:30, :7] = 0.0
    rows[30, 1:] = rows[31, 0] = rows[32] = 0.0
    curbs = _curbs(rows, precision)
    long = [[row @ one @ row for row in rows] for one in precision]
    assert curbs == pytest.approx(np.array(long), rel=1e-12)
