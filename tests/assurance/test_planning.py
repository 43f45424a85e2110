"""Acceptance limits against figures computed after ASTM E2810 (none printed), and plans against what must hold."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from chances import pass_chances

from qc.assurance.joint_region import assured_chance, joint_region
from qc.assurance.planning import (
    acceptance_limits,
    greatest_sample_sd,
    greatest_true_sd,
    price_of_sample,
    units_needed,
)
from qc.rules.kinds import dosage_units, mass
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.stats.sample_plans import AcceptanceGeometry

ROWS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "reference" / "chance" / "capability.json").read_text()
)["greatest_sd"]


def dosage_rule() -> DosageUnitRule:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule


def plan_of_dosage() -> AcceptanceGeometry:
    return dosage_units.KIND.plan(dosage_rule())


@pytest.mark.parametrize("row", [pytest.param(row, id=row["id"]) for row in ROWS[::4]])
def test_greatest_sample_sd_agrees_with_the_method(row: dict[str, Any]) -> None:
    inputs = row["inputs"]
    found = greatest_sample_sd(
        inputs["mean"],
        n=inputs["n"],
        plan=dosage_units.KIND.plan(dosage_rule(), target_percent=inputs["target"]),
        wanted=inputs["lower_bound"],
        confidence=inputs["confidence"],
    )
    assert found == pytest.approx(row["expected"]["max_sd"], abs=1e-6)


def test_table_of_limits_grows_with_the_sample_and_is_greatest_in_the_middle() -> None:
    table = acceptance_limits(plan=plan_of_dosage(), means=[83.0, 90.0, 95.0, 100.0, 105.0], numbers=[10, 30, 100])
    sds = table.greatest_sd_percent
    assert [len(row) for row in sds] == [3] * 5
    assert all(list(row) == sorted(row) for row in sds)
    assert sds[0] == (0.0, 0.0, 0.0)
    assert sds[3] == tuple(max(row[column] for row in sds) for column in range(3))
    assert sds[1][0] == pytest.approx(greatest_sample_sd(90, n=10, plan=plan_of_dosage()))


def test_one_unit_fewer_than_needed_is_not_enough() -> None:
    n = units_needed(98, 4, plan=plan_of_dosage())
    assert n is not None
    geometry = plan_of_dosage()
    assert assured_chance(joint_region(98, 4, n=n), geometry=geometry) >= 0.95
    assert assured_chance(joint_region(98, 4, n=n - 1), geometry=geometry) < 0.95


def test_no_number_of_units_helps_a_batch_that_cannot_pass() -> None:
    assert units_needed(100, 8, plan=plan_of_dosage(), most=500) is None


@pytest.mark.parametrize(("needed", "told"), [(2, 2), (1000, 1000), (1001, None)])
def test_more_than_a_thousand_units_are_not_sought(
    needed: int, told: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("qc.assurance.planning.joint_region", lambda *_, n, **__: n)
    monkeypatch.setattr("qc.assurance.planning.assured_chance", lambda n, **_: float(n >= needed))
    assert units_needed(100, 4, plan=plan_of_dosage()) == told


def test_greatest_true_sd_passes_with_the_chance_wanted() -> None:
    sd = greatest_true_sd(97, plan=plan_of_dosage(), chance=0.9)
    assert float(pass_chances(97, sd, rule=dosage_rule()).overall) == pytest.approx(0.9, abs=1e-5)


def test_a_mean_beyond_the_limits_may_have_no_spread_at_all() -> None:
    assert greatest_true_sd(80, plan=plan_of_dosage()) == 0.0
    assert greatest_sample_sd(80, n=30, plan=plan_of_dosage()) == 0.0


def test_the_full_sample_costs_what_the_rule_costs() -> None:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    band = next(band for band in rule.bands if "suppositories" in band.forms)
    plan = mass.KIND.plan(rule, band=band)
    found = price_of_sample(plan=plan, numbers=(10, 20), sound=(100, 2), poor=(100, 5))
    chances = pass_chances(100, [2.0, 5.0], rule=rule, band=band).overall
    assert [found[1].sound_refused, found[1].poor_passed] == pytest.approx([1 - chances[0], chances[1]])
    assert found[0].poor_passed > found[1].poor_passed


def test_a_sample_of_five_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^a sample of 5; chances are worked out from 6 units on$"):
        price_of_sample(plan=plan_of_dosage(), numbers=(5,), sound=(100, 2), poor=(100, 9))
