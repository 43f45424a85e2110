"""What to measure next: the plan that separates the open causes comes first, and none tells more than is open."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.integrate import quad
from scipy.stats import norm

from qc.batch import Part
from qc.causes.drawing import Drawn
from qc.causes.next_measurement import _expected_bits, thought_of
from qc.causes.rows import rows_of
from qc.causes.weigh import weigh_causes
from qc.say.messages import words

Draw = Callable[..., Drawn]


def test_without_parts_cutting_a_unit_tells_of_settling_inside_it(draw: Draw) -> None:
    batch = draw("sound").batch
    whole = replace(batch, assays=tuple(assay for assay in batch.assays if assay.part is Part.WHOLE))
    measurements = {words(one.what): one for one in weigh_causes(whole).next_measurements}
    cutting = [one for what, one in measurements.items() if what.startswith("Cut unit ")]
    assert cutting
    assert max(measurements.values(), key=lambda one: one.bits) == cutting[0]


def test_without_assays_only_assays_tell(draw: Draw) -> None:
    batch = replace(draw("sound").batch, assays=())
    found = weigh_causes(batch).next_measurements
    assert found
    assert all(words(one.what).startswith(("Assay units ", "Cut unit ")) for one in found)


def test_base_pours_tell_cavities_from_uneven_filling(draw: Draw, recipe: object) -> None:
    batch = replace(draw("cavity-differences", seed=3).batch, cavity_pours=(), assays=())
    once = replace(batch, units=batch.units[:6])
    found = weigh_causes(once)
    assert {"uneven-fill", "cavity-differences"} <= {one.cause for one in found.causes[:3]}
    assert "cavity-differences" in next(one.alike for one in found.causes if one.cause == "uneven-fill")
    pours = [one for one in found.next_measurements if words(one.what).startswith("Pour 5 units of plain base")]
    assert pours
    assert pours[0].bits > 0.1


def test_no_unit_that_an_assay_used_up_is_asked_for(draw: Draw) -> None:
    for seed in range(3):
        batch = draw("balance-drift", seed=seed).batch
        used = {assay.unit for assay in batch.assays}
        rows = thought_of(batch, rows_of(batch))
        assert used
        assert not used & {batch.units[row.unit].name for row in rows if row.unit >= 0}


@pytest.mark.parametrize("seed", range(3))
def test_no_measurement_tells_more_than_is_open(seed: int, draw: Draw) -> None:
    found = weigh_causes(replace(draw("sound", seed=seed).batch, cavity_pours=(), assays=())).next_measurements
    assert found
    for one in found:
        assert 0.0 < one.bits <= one.open_bits
        assert one.effort > 0.0
        assert len(one.between) == 2


def test_when_nothing_is_open_nothing_more_is_asked_for(draw: Draw) -> None:
    found = weigh_causes(draw("uneven-fill", strength=2.0).batch)
    assert found.causes[0].probability > 0.999
    assert found.next_measurements == ()


@pytest.mark.parametrize(("apart", "spread"), [(0.0, 2.0), (1.0, 1.0), (3.0, 1.0), (2.0, 0.5), (8.0, 1.0)])
def test_expected_information_is_that_of_numerical_integration(apart: float, spread: float) -> None:
    """Cover and Thomas (2006), Elements of Information Theory, 2nd ed., equation 8.47, by scipy's quadrature."""
    chances, results = (0.7, 0.3), (norm(0.0, 1.0), norm(apart, spread))

    def told(at: float) -> float:
        mixed = sum(chance * result.pdf(at) for chance, result in zip(chances, results, strict=True))
        each = zip(chances, (result.pdf(at) for result in results), strict=True)
        return float(sum(chance * one * np.log2(one / mixed) for chance, one in each if one > 0.0))

    exact = quad(told, -12.0, 20.0, points=(0.0, apart), limit=200)[0]
    predicted = [[(np.array([mean]), np.array([[sd**2]]))] for mean, sd in ((0.0, 1.0), (apart, spread))]
    assert _expected_bits(np.array(chances), predicted) == pytest.approx(exact, abs=0.005)
