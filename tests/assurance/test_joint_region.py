"""The joint region and the bound on it, against figures computed after ASTM E2709 / E2810 (none of them printed)."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chances import pass_chances
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.assurance.dosage_unit_chance import acceptance_value_chance
from qc.assurance.joint_region import (
    assured_chance,
    joint_region,
    lower_bounds,
)
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import load_rule
from qc.stats.chi_square import fraction_within
from qc.stats.sample_plans import AcceptanceGeometry

TABLES: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).parents[1] / "reference" / "chance" / "capability.json").read_text()
)


def rule() -> DosageUnitRule:
    found = load_rule("harmonised-udu")
    assert isinstance(found, DosageUnitRule)
    return found


def geometry() -> AcceptanceGeometry:
    return dosage_units.KIND.plan(rule())


def rows(name: str) -> list[Any]:
    return [pytest.param(row["inputs"], row["expected"], id=row["id"]) for row in TABLES[name]]


@pytest.mark.parametrize(("inputs", "expected"), rows("bounds"))
def test_region_and_bound_agree_with_the_method(inputs: dict[str, float], expected: dict[str, float]) -> None:
    region = joint_region(inputs["mean"], inputs["sd"], n=int(inputs["n"]), confidence=inputs["confidence"])
    found = [region.sd_high, region.mean_low, region.mean_high]
    theirs = [expected[name] for name in ("sigma_upper", "mu_low", "mu_high")]
    assert found == pytest.approx(theirs, rel=1e-8)
    assert assured_chance(region, geometry=geometry()) == pytest.approx(expected["pass_prob_lower_bound"], abs=1e-7)


@pytest.mark.parametrize(("inputs", "expected"), rows("lower_bounds"))
def test_parts_of_the_bound_agree_with_the_method(inputs: dict[str, float], expected: dict[str, float]) -> None:
    cell, plan = (np.array([inputs["mu"]]), np.array([inputs["sigma"]])), geometry()
    for n, k, theirs in ((10, plan.first_k, expected["P_S1"]), (30, plan.second_k, expected["P_C21"])):
        assert acceptance_value_chance(*cell, n=n, k=k, geometry=plan)[0] == pytest.approx(theirs, abs=1e-8)
    assert lower_bounds(*cell, geometry=plan)[0] == pytest.approx(expected["LBOUND"], abs=1e-7)


@given(mean=st.floats(85, 115), sd=st.floats(0.3, 12))
def test_bound_never_exceeds_the_chance_it_bounds(mean: float, sd: float) -> None:
    chances = pass_chances(mean, sd, rule=rule())
    bound = float(lower_bounds(mean, sd, geometry=geometry())[0])
    assert bound <= float(chances.overall) + float(chances.error_bound)


@pytest.mark.parametrize(("mean", "sd", "n"), [(100, 3, 10), (97, 2, 30), (104, 1, 10)])
def test_no_point_of_the_region_lies_below_its_corners(mean: float, sd: float, n: int) -> None:
    region = joint_region(mean, sd, n=n)
    least = assured_chance(region, geometry=geometry())
    for share in np.linspace(0.05, 1.0, 8):
        reach = share * (region.mean_high - mean)
        for at in np.linspace(mean - reach, mean + reach, 9):
            bound = lower_bounds(at, share * region.sd_high, geometry=geometry())[0]
            assert bound >= least - 1e-9


def test_region_holds_mean_and_sd_with_its_confidence() -> None:
    values = np.random.Generator(np.random.Philox(2)).standard_normal((40_000, 10))
    means, sds = values.mean(axis=1), values.std(axis=1, ddof=1)
    unit = joint_region(0.0, 1.0, n=10)
    # The true point (0, 1) lies in the triangle: below its upper edge, and within the interval of a known SD of 1.
    held = ((sds * unit.sd_high >= 1.0) & (np.abs(means) <= unit.mean_high / unit.sd_high)).mean()
    assert held == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 40_000))


def test_a_rule_of_one_stage_is_bounded_by_its_first() -> None:
    one = dosage_units.KIND.plan(replace(rule(), second_size=0))
    first = acceptance_value_chance(np.array([100.0]), np.array([5.0]), n=10, k=one.first_k, geometry=one)
    assert lower_bounds(100, 5, geometry=one).tolist() == first.tolist()


def test_the_region_of_a_sample_without_spread_is_its_mean() -> None:
    region = joint_region(98.5, 0.0, n=10)
    assert (region.sd_high, region.mean_low, region.mean_high) == (0.0, 98.5, 98.5)


@pytest.mark.parametrize(("mean", "inside"), [(84.9, 0.0), (85.0, 1.0), (115.0, 1.0), (115.1, 0.0)])
def test_no_spread_is_inside_up_to_the_limit(mean: float, inside: float) -> None:
    assert fraction_within(mean, 0.0, low=85, high=115) == inside


@pytest.mark.parametrize(
    ("sd", "n", "confidence", "message"),
    [
        (1.0, 1, 0.95, r"mean and SD of 1 unit; at least 2 units are needed"),
        (-1.0, 10, 0.95, r"an SD of -1\.0; it cannot be negative"),
        (1.0, 10, 1.0, r"a confidence of 1\.0; a number between 0 and 1 is needed"),
    ],
)
def test_an_impossible_sample_is_refused(sd: float, n: int, confidence: float, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        joint_region(100, sd, n=n, confidence=confidence)
