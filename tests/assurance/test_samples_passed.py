"""Fixed samples of standard spreads: densities against scipy, chances taken from them against exact ones."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from qc.assurance.operating import plan_chances
from qc.assurance.samples_passed import _at_most, shares_passed
from qc.rules.kinds import kind_of
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.stats.sample_plans import CountPlan, SamplePlan
from qc.stats.standard_samples import (
    ERROR,
    SAMPLES,
    Core,
    Spread,
    StandardSamples,
    core_density,
    density,
    standard_samples,
)

LAWS = {
    Core.NORMAL: stats.norm(),
    Core.STUDENT_5: stats.t(5),
    Core.STUDENT_3: stats.t(3),
    Core.POOR_TAIL: stats.loggamma(0.4, -stats.loggamma(0.4).median() / 2.5, 1 / 2.5),
}


def plan(id: str) -> SamplePlan:
    rule = load_rule(id)
    return kind_of(rule).plan(rule, band=rule.bands[0] if isinstance(rule, MassRule) else None)


@pytest.mark.parametrize("core", LAWS)
def test_densities_are_those_of_scipy(core: Core) -> None:
    values = np.linspace(-30, 30, 601)
    assert core_density(core, values) == pytest.approx(LAWS[core].pdf(values), abs=1e-12)


def test_a_tail_of_rich_units_is_that_of_poor_ones_turned_round() -> None:
    values = np.linspace(-30, 30, 601)
    assert core_density(Core.RICH_TAIL, values).tolist() == core_density(Core.POOR_TAIL, -values).tolist()


def test_units_from_another_pot_are_added_in_their_share() -> None:
    values = np.linspace(-20, 20, 401)
    off = stats.norm.ppf(0.5 / 0.8)
    theirs = 0.8 * stats.norm.pdf(values) + 0.2 * stats.norm.pdf(values, -6, 2)
    assert density(Spread(share=0.2, away=-6.0), values + off) == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("core", LAWS)
def test_each_unit_of_the_samples_takes_each_quantile_once(core: Core) -> None:
    found = standard_samples(Spread(core=core), 10)
    theirs = LAWS[core].ppf((np.arange(SAMPLES) + 0.5) / SAMPLES)
    every = np.sort(found.units.ravel()).reshape(SAMPLES, 10)
    assert every[:, 0].tolist() == every[:, 9].tolist()
    assert every[5:-5, 0] == pytest.approx(theirs[5:-5], abs=2e-3)
    assert found.mean == pytest.approx(found.units.mean(axis=1))
    assert found.sd == pytest.approx(found.units.std(axis=1, ddof=1))


def test_a_share_of_units_is_from_the_other_pot() -> None:
    found = standard_samples(Spread(share=0.2, away=60.0), 30)
    assert float((found.units > 30).mean()) == pytest.approx(0.2, abs=0.002)


@pytest.mark.parametrize(("mean", "share"), [(83.4999, 0.0), (83.5, 1.0), (116.5, 1.0), (116.5001, 0.0)])
def test_samples_without_spread_pass_up_to_the_limit_of_the_acceptance_value(mean: float, share: float) -> None:
    found = shares_passed(np.array([mean]), np.zeros(1), plan=plan("harmonised-udu"), spread=Spread())
    assert [one.tolist() for one in found] == [[share], [share]]


@pytest.mark.parametrize(("scale", "met"), [(14.99, True), (15.0, True), (15.01, False)])
def test_a_unit_exactly_at_a_limit_about_the_mean_of_its_sample_lies_within(scale: float, met: bool) -> None:
    drawn = StandardSamples(units=np.array([[-1.0, 0.0, 1.0]]), mean=np.zeros(1), sd=np.ones(1))
    of, middle = plan("ph-eur-2.9.6-b"), np.array([[100.0]])
    assert isinstance(of, CountPlan)
    assert _at_most(0, of, middle, np.array([[scale]]), drawn, limit=0.15).tolist() == [[met]]


MEANS, SDS = (part.ravel() for part in np.meshgrid([88.0, 92.0, 96.0, 100.0], [0.5, 1.5, 2.5, 4.0, 5.0, 6.0, 7.0, 9.0]))


@pytest.mark.parametrize("id", ["harmonised-udu", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "ph-eur-2.9.5", "chp-0107"])
def test_chances_of_normal_units_are_the_exact_ones_within_the_error_stated(id: str) -> None:
    exact = plan_chances(MEANS, SDS, plan=plan(id))
    first, overall = shares_passed(MEANS, SDS, plan=plan(id), spread=Spread())
    assert np.abs(first - exact.first_stage).max() < ERROR
    assert np.abs(overall - exact.overall).max() < ERROR


def counted(some: NDArray[np.float64], limit: float, *, about: CountPlan) -> NDArray[np.intp]:
    centre = 100.0 if about.about_label else some.mean(axis=1, keepdims=True)
    return np.asarray((np.abs(some - centre) > limit * centre).sum(axis=1))


@pytest.mark.parametrize("id", ["ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "ph-eur-2.9.5", "chp-0107"])
@pytest.mark.parametrize("spread", [Spread(), Spread(core=Core.STUDENT_3), Spread(share=0.2, away=-6.0)])
def test_samples_are_judged_as_counting_unit_by_unit_does(id: str, spread: Spread) -> None:
    rule = plan(id)
    assert isinstance(rule, CountPlan)
    mean, sd, n = 99.0, 4.5, rule.first_size
    few = mean + sd * standard_samples(spread, n).units
    centre = few.mean(axis=1)
    kept = (counted(few, rule.outer, about=rule) <= rule.most_outer) & (centre >= rule.mean_low)
    kept &= centre <= rule.mean_high
    first = kept & (counted(few, rule.inner, about=rule) <= rule.passes_with)
    overall = first
    if rule.second_size:
        many = mean + sd * standard_samples(spread, n + rule.second_size).units
        goes_on = kept & (counted(few, rule.inner, about=rule) <= rule.continues_with)
        met = (counted(many, rule.outer, about=rule) == 0) & (
            counted(many, rule.inner, about=rule) <= rule.second_passes_with
        )
        overall = first | (goes_on & met)
    found = shares_passed(np.array([mean]), np.array([sd]), plan=rule, spread=spread)
    assert [one.tolist() for one in found] == [[first.mean()], [overall.mean()]]


def test_a_sample_of_another_size_has_no_second_stage_though_its_counts_would_ask_for_one() -> None:
    rule = plan("ph-eur-2.9.6-b")
    assert isinstance(rule, CountPlan)
    alone = rule.with_sample_of(20)
    assert alone.continues_with > alone.passes_with
    first, overall = shares_passed(np.array([99.0]), np.array([10.0]), plan=alone, spread=Spread())
    assert 0.1 < first[0] < 0.9
    assert overall.tolist() == first.tolist()
