"""Rows that fall apart by active against the same rows as one matrix."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.causes.background import Background
from qc.causes.by_active import by_active
from qc.causes.drawing import draw_batch
from qc.causes.evidence import fit
from qc.causes.foundation import foundation
from qc.causes.model import CAUSE_IDS, cause
from qc.causes.priors import builtin_priors
from qc.causes.rows import rows_of
from qc.simulate.pouring import Ingredient, Recipe

THREE = (
    Ingredient(name="A", label_mg=200.0),
    Ingredient(name="B", displacement=0.8, suspended=False),
    Ingredient(name="C", displacement=3.0),
)
RECIPE = Recipe(units=9, moulds=2, cavities=3, ingredients=THREE, assays=6, cut_units=2, base_pours=1)
BATCH = draw_batch(("slip-of-pen", "uneven-fill"), recipe=RECIPE, seed=4, strength=2.0).batch
BATCHES: dict[str, Callable[[], Batch]] = {
    "all rows": lambda: BATCH,
    "no order": lambda: replace(BATCH, units=tuple(replace(one, pour_order=None) for one in BATCH.units)),
    "assays alone": lambda: replace(
        BATCH, cavity_pours=(), units=tuple(replace(one, mass_g=None) for one in BATCH.units)
    ),
    "an active in some units, another in one": lambda: replace(
        BATCH,
        assays=tuple(
            one
            for at, one in enumerate(BATCH.assays)
            if one.active == "A" or (one.part is Part.WHOLE and at % 3 and (one.active == "B" or one.unit == "2"))
        ),
    ),
    "assayed twice": lambda: replace(BATCH, assays=BATCH.assays + BATCH.assays[2:5]),
}


@pytest.mark.parametrize("batch", BATCHES)
def test_every_way_of_a_cause_is_as_likely_by_active_as_in_one_matrix(
    batch: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With few disturbances added and with all anew, with one shift and with two, with outliers and without."""
    rows, found = rows_of(BATCHES[batch]()), {}
    for few, most in ((0.6, 10_000), (0.6, 0), (0.0, 0)):
        monkeypatch.setattr("qc.causes.evidence.FEW", few)
        monkeypatch.setattr("qc.causes.foundation.MANY_ROWS", most)
        background = Background(rows=rows, priors=builtin_priors(), nodes=6)
        assert (foundation(background).apart is None) is (most > 0)
        assert foundation(background).outlying.any()
        ways = [way for model in map(cause, CAUSE_IDS) for way in model.likelihood(background)]
        found[few, most] = [fit(background, way).log_evidence for way in ways]
    whole = found.pop((0.6, 10_000))
    assert all(apart == pytest.approx(whole, abs=1e-8) for apart in found.values())


def test_each_shape_is_curbed_as_the_long_sum_says() -> None:
    """Shapes that move one row, the same few by the dozen, rows of an active, all, and none."""
    drawn = np.random.default_rng(5)
    actives, units = np.array([-1, -1, 0, 1, 0, 1, 2, 2, -1]), np.array([0, 1, 0, 0, 1, 1, 0, 1, -1])
    apart = by_active(actives, units)
    assert apart is not None
    own, shared, mass = np.eye(9)[:, 2:8], np.array([[1.0, 0], [0, 1]] * 4 + [[0, 0]]), np.eye(9)[:, [0, 1, 8]]
    shared = np.where(units[:, None] == np.arange(2), 1.0, 0.0)
    mixing = own + 0.1 * np.eye(9)[:, [0, 0, 1, 1, 0, 1]]
    spread = sum(apart.kept(factor) for factor in (own, shared, mass, mixing))
    whole = sum(factor @ factor.T for factor in (own, shared, mass, mixing))
    precision, half_log = apart.inverse(np.stack([spread, 2.0 * spread]))
    assert half_log == pytest.approx(0.5 * np.linalg.slogdet(np.stack([whole, 2.0 * whole]))[1])
    shapes = drawn.normal(size=(26, 9))
    shapes[:12, 3:], shapes[12:14, :2], shapes[14, 1:], shapes[15] = 0.0, 0.0, 0.0, 0.0
    long = [[shape @ np.linalg.inv(one) @ shape for shape in shapes] for one in (whole, 2.0 * whole)]
    assert precision.curbs(shapes) == pytest.approx(np.array(long))
    assert precision[1:] @ shapes.T == pytest.approx((np.linalg.inv(2.0 * whole) @ shapes.T)[None])


@pytest.mark.parametrize("actives", [[-1, -1], [-1, 0, 0], [1, 1]])
def test_nothing_falls_apart_where_fewer_than_two_actives_were_assayed(actives: list[int]) -> None:
    assert by_active(np.array(actives), np.arange(len(actives))) is None
