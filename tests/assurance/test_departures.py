"""Simulated chances: against the deterministic ones where the batch is ideal, and against what must hold."""

from __future__ import annotations

from typing import Any

import pytest

from qc.assurance.departures import Departure, Sampling, simulated_chances
from qc.assurance.operating import pass_chances
from qc.rules.kinds import kind_of
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule
from qc.stats.sample_plans import SamplePlan

BATCHES = 40_000


def planned(rule: Rule, **asked: Any) -> SamplePlan:
    return kind_of(rule).plan(rule, **asked)


def dosage_rule() -> DosageUnitRule:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule


def content_rule() -> ContentRule:
    rule = load_rule("ph-eur-2.9.6-b")
    assert isinstance(rule, ContentRule)
    return rule


def mass_rule() -> MassRule:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    return rule


def overall(**figures: float | int | bool | Sampling) -> float:
    return simulated_chances(Departure(**figures), plan=planned(dosage_rule()), batches=BATCHES).pass_overall  # type: ignore[arg-type]


@pytest.mark.parametrize("sampling", [Sampling.RANDOM, Sampling.STRATIFIED, Sampling.FIRST])
def test_an_ideal_batch_passes_as_often_as_worked_out_however_it_is_sampled(sampling: Sampling) -> None:
    ideal = Departure(units=40, mean=97, sd=6, sampling=sampling)
    found = simulated_chances(ideal, plan=planned(dosage_rule()), batches=BATCHES, seed=4)
    exact = pass_chances(97, 6, rule=dosage_rule())
    assert abs(found.pass_first_stage - float(exact.first_stage)) < 4.5 * found.standard_error_first
    assert abs(found.pass_overall - float(exact.overall)) < 4.5 * found.standard_error_overall


def test_content_and_mass_tests_agree_with_their_worked_out_chances() -> None:
    content = simulated_chances(Departure(units=60, sd=9), plan=planned(content_rule()), batches=BATCHES)
    exact = pass_chances(100, 9, rule=content_rule())
    assert abs(content.pass_overall - float(exact.overall)) < 4.5 * content.standard_error_overall
    band = next(band for band in mass_rule().bands if "suppositories" in band.forms)
    mass = simulated_chances(Departure(units=24, sd=3), plan=planned(mass_rule(), band=band), batches=BATCHES)
    exact = pass_chances(100, 3, rule=mass_rule(), band=band)
    assert abs(mass.pass_overall - float(exact.overall)) < 4.5 * mass.standard_error_overall


def test_a_mass_table_of_several_rows_is_not_simulated_by_its_first_one() -> None:
    assert len(mass_rule().bands) > 1
    with pytest.raises(ValueError, match=r"^ph-eur-2\.9\.5 has \d+ rows of limits; name the dosage form and the mass"):
        simulated_chances(Departure(units=24, sd=3), plan=planned(mass_rule()), batches=10)


@pytest.mark.parametrize(("target", "rounded"), [(106.0, False), (100.0, True), (106.0, True)])
def test_target_and_rounding_count_as_they_do_for_an_ideal_batch(target: float, rounded: bool) -> None:
    batch = Departure(units=200, mean=106, sd=5.5)
    found = simulated_chances(
        batch, plan=planned(dosage_rule(), target_percent=target, rounded=rounded), batches=BATCHES
    )
    exact = pass_chances(106, 5.5, rule=dosage_rule(), target_percent=target, rounded=rounded)
    assert abs(found.pass_first_stage - float(exact.first_stage)) < 4.5 * found.standard_error_first


def test_assay_error_adds_to_the_true_spread() -> None:
    found = simulated_chances(Departure(units=40, sd=3, assay_sd=4), plan=planned(dosage_rule()), batches=BATCHES)
    exact = pass_chances(100, 5, rule=dosage_rule())
    assert abs(found.pass_first_stage - float(exact.first_stage)) < 4.5 * found.standard_error_first


def test_the_same_seed_gives_the_same_figures_and_another_seed_others() -> None:
    batch = Departure(units=40, sd=6, drift=5)
    first = simulated_chances(batch, plan=planned(dosage_rule()), batches=5000, seed=1)
    assert first == simulated_chances(batch, plan=planned(dosage_rule()), batches=5000, seed=1)
    assert (
        first.pass_overall != simulated_chances(batch, plan=planned(dosage_rule()), batches=5000, seed=2).pass_overall
    )
    assert (first.seed, first.batches) == (1, 5000)


def test_units_from_the_beginning_hide_a_drift_that_the_whole_pour_shows() -> None:
    hidden = overall(units=200, mean=100, sd=2, drift=40, sampling=Sampling.FIRST)
    shown = overall(units=200, mean=100, sd=2, drift=40, sampling=Sampling.STRATIFIED)
    assert shown < 0.01
    assert hidden < 0.01  # the first units are 20 % poor, which the test sees too
    shallow = {how: overall(units=200, mean=100, sd=2, drift=25, sampling=how) for how in Sampling}
    assert shallow[Sampling.FIRST] > shallow[Sampling.STRATIFIED] + 0.2


def test_a_second_population_costs_the_more_the_farther_it_lies_off() -> None:
    near = overall(units=60, sd=3, other_fraction=0.1, other_shift=-5)
    far = overall(units=60, sd=3, other_fraction=0.1, other_shift=-20)
    assert far < near - 0.1


def test_a_sample_of_the_whole_of_a_small_batch_is_certain() -> None:
    """Ten of ten units whose SD is known: the sample is the batch. AV = 2.4 s with s = sd sqrt(10/9)."""
    limit = 15 / 2.4 / (10 / 9) ** 0.5
    assert overall(units=10, sd=limit * 0.999, as_made=True) == 1.0
    assert overall(units=10, sd=limit * 1.001, as_made=True) == 0.0


def test_ten_of_twenty_four_vary_less_than_ten_of_very_many() -> None:
    known = simulated_chances(Departure(units=24, sd=4.5, as_made=True), plan=planned(dosage_rule()), batches=BATCHES)
    process = simulated_chances(Departure(units=24, sd=4.5), plan=planned(dosage_rule()), batches=BATCHES)
    assert known.pass_first_stage > process.pass_first_stage + 0.01
    assert known.pass_overall == known.pass_first_stage  # too few are left for a second stage


@pytest.mark.parametrize(
    ("figures", "batches", "message"),
    [
        ({"units": 9}, 10, r"a batch of 9 units; the test asks for 10"),
        ({"units": 30, "sd": -1.0}, 10, r"an SD of -1\.0; it cannot be negative"),
        ({"units": 30, "other_fraction": 1.5}, 10, r"a fraction of 1\.5 in a second population; give 0 to 1"),
        ({"units": 30}, 0, r"0 batches; at least 1 is needed"),
    ],
)
def test_an_impossible_batch_is_refused(figures: dict[str, float], batches: int, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        simulated_chances(Departure(**figures), plan=planned(dosage_rule()), batches=batches)  # type: ignore[arg-type]
