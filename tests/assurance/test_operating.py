"""Chances of passing against computed tables (tests/reference/chance/SOURCE.md), and against what must hold."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chances import pass_chances
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.typing import NDArray
from scipy import stats

from qc.assurance.dosage_unit_chance import PICTURE, PICTURE_ERROR, QUADRATURE_ERROR, second_stage_chance, stage_surface
from qc.assurance.operating import operating_curve, plan_chances
from qc.rules.kinds import dosage_units
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassBand, MassRule
from qc.rules.kinds.mean_mass import MeanMassRule
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule
from qc.stats.sample_plans import CountPlan

CELLS: dict[str, list[dict[str, Any]]] = json.loads(
    (Path(__file__).parents[1] / "reference" / "chance" / "operating_characteristics.json").read_text()
)


def dosage_rule() -> DosageUnitRule:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule


def content_rule(id: str = "ph-eur-2.9.6-b") -> ContentRule:
    rule = load_rule(id)
    assert isinstance(rule, ContentRule)
    return rule


def mass_rule(id: str = "ph-eur-2.9.5") -> MassRule:
    rule = load_rule(id)
    assert isinstance(rule, MassRule)
    return rule


def suppositories(rule: MassRule) -> MassBand:
    return next(band for band in rule.bands if "suppositories" in band.forms)


def cells(name: str) -> list[Any]:
    return [pytest.param(cell, id=cell["id"]) for cell in CELLS[name]]


class TestDosageUnits:
    """First stage: AV of 10 at most L1; second: AV of 30 at most L1 and every unit within L2 of M (2.9.40)."""

    @pytest.mark.parametrize("cell", cells("dosage_units"))
    def test_first_stage_agrees_with_two_other_quadratures(self, cell: dict[str, Any]) -> None:
        found = pass_chances(cell["inputs"]["mean"], cell["inputs"]["sd"], rule=dosage_rule())
        assert float(found.first_stage) == pytest.approx(cell["expected"]["p_stage1_exact"], abs=1e-9)

    @pytest.mark.parametrize("cell", cells("dosage_units"))
    def test_overall_agrees_with_sixteen_million_simulated_batches(self, cell: dict[str, Any]) -> None:
        found = pass_chances(cell["inputs"]["mean"], cell["inputs"]["sd"], rule=dosage_rule())
        allowed = 4 * max(cell["expected"]["se_overall"], 6e-8)
        assert float(found.overall) == pytest.approx(cell["expected"]["p_overall_mc"], abs=allowed)

    def test_all_cells_together_scatter_no_more_than_the_simulation_does(self) -> None:
        steps = []
        for cell in CELLS["dosage_units"]:
            if cell["expected"]["se_overall"] > 1e-5:
                found = pass_chances(cell["inputs"]["mean"], cell["inputs"]["sd"], rule=dosage_rule())
                steps.append((float(found.overall) - cell["expected"]["p_overall_mc"]) / cell["expected"]["se_overall"])
        assert len(steps) > 25
        assert np.mean(np.square(steps)) < 1.6

    def test_published_anchor_half_pass_where_95_percent_lie_within_85_to_115(self) -> None:
        """Pharm. Technol., article 694694, page 2: 95.2 % coverage at mean 100 goes with "50 %"."""
        sd = 15 / stats.norm.ppf(1 - 0.048 / 2)
        assert float(pass_chances(100, sd, rule=dosage_rule()).overall) == pytest.approx(0.5, abs=0.03)

    def test_half_as_many_nodes_again_stay_within_the_error_stated(self) -> None:
        geometry = dosage_units.KIND.plan(dosage_rule())
        sds = np.array([0.0215, 0.05, 0.13, 0.2, 0.3, 0.4375, 0.5, 0.7, 1, 2, 4, 6, 7, 9, 12])
        # Over the whole plane, and in steps of the SD from both of its ends, where a small SD is hardest to resolve.
        inward = np.linspace(-1, 14, 40)[None, :] * sds[:, None]
        means = np.concatenate(
            [np.tile(np.linspace(82, 118, 37), (sds.size, 1)), 83.5 + inward, 116.5 - inward], axis=1
        )
        mean, sd = means.ravel(), np.repeat(sds, means.shape[1])
        finer, _ = second_stage_chance(mean, sd, surface=stage_surface(geometry, fine=1.5))
        once, _ = second_stage_chance(mean, sd, surface=stage_surface(geometry))
        assert np.abs(once - finer).max() < QUADRATURE_ERROR

    @pytest.mark.parametrize("sd", [1.0, 0.05, 0.021, 0.0209, 0.003, 1e-4, 1e-7])
    @pytest.mark.parametrize(("steps", "side"), [(1.8, 1), (2.2, -1), (2.6, 1), (3.0, -1)])
    def test_near_an_end_only_the_ratio_of_distance_to_spread_counts(self, sd: float, steps: float, side: int) -> None:
        end = 100 - 16.5 * side
        large = pass_chances(end + side * steps * 2.0, 2.0, rule=dosage_rule())
        found = pass_chances(end + side * steps * sd, sd, rule=dosage_rule())
        assert float(found.overall) == pytest.approx(float(large.overall), abs=2 * QUADRATURE_ERROR)

    def test_no_spread_passes_exactly_within_the_limit_of_the_mean(self) -> None:
        found = pass_chances([83.4999, 83.5, 100.0, 116.5, 116.5001], 0.0, rule=dosage_rule())
        assert found.overall.tolist() == [0.0, 1.0, 1.0, 1.0, 0.0]

    def test_rounding_the_acceptance_value_helps_a_little(self) -> None:
        plain = pass_chances(97, [3.0, 5.0, 7.0], rule=dosage_rule())
        rounded = pass_chances(97, [3.0, 5.0, 7.0], rule=dosage_rule(), rounded=True)
        wider = pass_chances(97, [3.0, 5.0, 7.0], rule=replace(dosage_rule(), l1_percent=Decimal("15.05")))
        assert (rounded.overall >= plain.overall).all()
        assert rounded.overall.tolist() == wider.overall.tolist()

    def test_a_target_above_the_range_helps_a_rich_batch(self) -> None:
        usual = pass_chances(110, 4, rule=dosage_rule())
        aimed = pass_chances(110, 4, rule=dosage_rule(), target_percent=105.0)
        assert float(aimed.overall) > float(usual.overall) + 0.3

    def test_a_rule_of_one_stage_passes_overall_as_at_the_first(self) -> None:
        found = pass_chances([95, 100], 5, rule=replace(dosage_rule(), second_size=0))
        assert found.overall.tolist() == found.first_stage.tolist()

    def test_tighter_single_unit_limits_are_within_their_own_error_of_simulation(self) -> None:
        """Half the usual limit makes pairs of stray units common; the error bound has to own up to it."""
        rule = replace(dosage_rule(), l2_percent=Decimal(15))
        found = pass_chances(100, 5.5, rule=rule)
        generator = np.random.Generator(np.random.Philox(3))
        sample = 100 + 5.5 * generator.standard_normal((200_000, 30))
        first = sample[:, :10]

        def value(part: Any, k: float) -> Any:
            mean = part.mean(axis=1)
            return np.maximum(np.maximum(98.5 - mean, mean - 101.5), 0) + k * part.std(axis=1, ddof=1)

        reference = np.clip(sample.mean(axis=1), 98.5, 101.5)
        held = (np.abs(sample - reference[:, None]) <= 0.15 * reference[:, None]).all(axis=1)
        passed = (value(first, 2.4) <= 15) | ((value(sample, 2.0) <= 15) & held)
        seen = float(passed.mean())
        error = 4 * np.sqrt(seen * (1 - seen) / 200_000)
        assert 1e-4 < float(found.error_bound) < 0.02
        assert abs(float(found.overall) - seen) < float(found.error_bound) + error

    @given(mean=st.floats(80, 120), sd=st.floats(0.1, 15))
    def test_chances_are_chances_and_a_second_stage_never_harms(self, mean: float, sd: float) -> None:
        found = pass_chances(mean, sd, rule=dosage_rule())
        assert 0.0 <= float(found.first_stage) <= float(found.overall) <= 1.0
        assert float(found.error_bound) <= 1e-4

    @given(mean=st.floats(85, 115), sd=st.floats(0.5, 12), factor=st.floats(1.01, 1.5))
    def test_more_spread_never_helps_where_the_mean_is_inside(self, mean: float, sd: float, factor: float) -> None:
        less = pass_chances(mean, sd, rule=dosage_rule())
        more = pass_chances(mean, sd * factor, rule=dosage_rule())
        if 90 <= mean <= 110:
            assert float(more.first_stage) <= float(less.first_stage) + 1e-9
            assert float(more.overall) <= float(less.overall) + 2 * QUADRATURE_ERROR


class TestMass:
    """Of 20 units not more than 2 beyond 5 % of their mean, none beyond 10 % (2.9.5, suppositories)."""

    @pytest.mark.parametrize("cell", cells("mass"))
    def test_chance_agrees_with_sixteen_million_simulated_batches(self, cell: dict[str, Any]) -> None:
        rule = mass_rule()
        found = pass_chances(100, cell["inputs"]["rsd_percent"], rule=rule, band=suppositories(rule))
        assert float(found.overall) == pytest.approx(cell["expected"]["p_pass"], abs=4 * cell["expected"]["se"])

    def test_only_the_ratio_of_spread_to_mean_counts(self) -> None:
        rule = mass_rule()
        found = pass_chances([100, 50, 2], [4, 2, 0.08], rule=rule, band=suppositories(rule))
        assert found.overall == pytest.approx([found.overall[0]] * 3, abs=1e-12)

    def test_many_spreads_are_read_off_a_series_that_agrees_with_single_ones(self) -> None:
        rule = mass_rule()
        many = pass_chances(100, np.linspace(0.2, 20, 101), rule=rule, band=suppositories(rule))
        few = pass_chances(100, np.linspace(0.2, 20, 101)[::10], rule=rule, band=suppositories(rule))
        assert many.overall[::10] == pytest.approx(few.overall, abs=1e-7)

    def test_against_a_label_the_chance_is_binomial(self) -> None:
        rule = mass_rule("chp-0107")
        band = rule.bands[0]
        inner, outer = float(band.limit_percent), float(band.outer_percent)
        near = stats.norm.cdf(inner, 1, 5) - stats.norm.cdf(-inner, 1, 5)
        both = stats.norm.cdf(outer, 1, 5) - stats.norm.cdf(-outer, 1, 5)
        n = rule.sample_size
        expected = near**n + n * near ** (n - 1) * (both - near)
        assert rule.most_beyond_limit == 1
        assert float(pass_chances(101, 5, rule=rule, band=band).overall) == pytest.approx(expected, rel=1e-12)

    def test_against_a_label_no_spread_is_judged_by_the_mean(self) -> None:
        rule = mass_rule("chp-0107")
        band = rule.bands[0]
        edge = 100 + float(band.limit_percent)
        found = pass_chances([edge, edge + 0.01], 0.0, rule=rule, band=band)
        assert found.overall.tolist() == [1.0, 0.0]

    def test_a_table_of_several_rows_asks_which(self) -> None:
        rule = mass_rule()
        message = rf"^ph-eur-2\.9\.5 has {len(rule.bands)} rows of limits; name the dosage form and the mass of a unit$"
        with pytest.raises(ValueError, match=message):
            pass_chances(100, 3, rule=rule)


class TestContent:
    """Of 10 units not more than 1 outside 85-115 % of their mean, or 3 of 30 (2.9.6, test B)."""

    @pytest.mark.parametrize("cell", cells("content_b"))
    def test_chances_agree_with_sixteen_million_simulated_batches(self, cell: dict[str, Any]) -> None:
        found = pass_chances(100, cell["inputs"]["rsd_percent"], rule=content_rule())
        expected = cell["expected"]
        assert float(found.first_stage) == pytest.approx(
            expected["p_stage1_pass"], abs=4 * max(expected["se_stage1"], 6e-8)
        )
        assert float(found.overall) == pytest.approx(expected["p_overall"], abs=4 * max(expected["se_overall"], 6e-8))

    def test_tablets_are_judged_more_strictly_than_moulded_units(self) -> None:
        strict = pass_chances(100, [5.0, 7.0, 9.0], rule=content_rule("ph-eur-2.9.6-a"))
        usual = pass_chances(100, [5.0, 7.0, 9.0], rule=content_rule())
        assert (strict.overall < usual.overall).all()

    def test_a_bounded_mean_lets_a_poor_batch_fail(self) -> None:
        """Test C: the mean of 10 within 90-110 % of label, each unit within 75-125 % of the mean."""
        rule = content_rule("ph-eur-2.9.6-c")
        found = pass_chances([100.0, 90.0, 80.0], 3.0, rule=rule)
        assert found.overall.tolist() == pytest.approx([1.0, 0.5, 0.0], abs=1e-6)

    def test_a_mean_at_its_bound_without_spread_passes(self) -> None:
        rule = content_rule("ph-eur-2.9.6-c")
        assert rule.mean_low_percent is not None
        edge = float(rule.mean_low_percent)
        assert pass_chances([edge - 0.01, edge, edge + 0.01], 0.0, rule=rule).overall.tolist() == [0.0, 1.0, 1.0]

    def test_a_bounded_mean_in_two_stages_agrees_with_simulation(self) -> None:
        rule = replace(content_rule(), mean_low_percent=Decimal(95), mean_high_percent=Decimal(105))
        sample = 96 + 8 * np.random.Generator(np.random.Philox(26)).standard_normal((60_000, 30))

        def beyond(some: NDArray[np.float64], limit: float) -> NDArray[np.intp]:
            centre = some.mean(axis=1, keepdims=True)
            return np.asarray((np.abs(some - centre) > limit * centre).sum(axis=1))

        few = sample[:, :10]
        kept = (np.abs(few.mean(axis=1) - 100) <= 5) & (beyond(few, 0.25) == 0)
        first = kept & (beyond(few, 0.15) <= 1)
        second = kept & (beyond(few, 0.15) <= 3) & (beyond(sample, 0.15) <= 3) & (beyond(sample, 0.25) == 0)
        found = pass_chances(96, 8, rule=rule)
        # The bound on the mean is judged at the first stage alone.
        for chance, seen in ((found.first_stage, first.mean()), (found.overall, (first | second).mean())):
            assert abs(float(chance) - seen) < 4.5 * (seen * (1 - seen) / 60_000) ** 0.5

    def test_bounds_that_no_mean_reaches_change_nothing(self) -> None:
        rule = replace(content_rule(), mean_low_percent=Decimal(1), mean_high_percent=Decimal(900))
        free = pass_chances(100, [6.0, 9.0], rule=content_rule())
        assert pass_chances(100, [6.0, 9.0], rule=rule).overall == pytest.approx(free.overall, abs=1e-7)


def test_means_and_spreads_are_broadcast() -> None:
    found = pass_chances(np.array([[95.0], [100.0]]), np.array([3.0, 5.0, 7.0]), rule=dosage_rule())
    assert found.overall.shape == found.first_stage.shape == found.error_bound.shape == (2, 3)
    assert found.overall[1, 2] == float(pass_chances(100, 7, rule=dosage_rule()).overall)


@pytest.mark.parametrize(
    ("mean", "sd", "message"),
    [
        (0.0, 1.0, "the mean 0 cannot be used; give a number greater than 0, in % of label"),
        (100.0, -1.0, "the SD -1 cannot be used; give a number 0 or greater, in % of label"),
        (float("nan"), 1.0, "the mean nan cannot be used; give a number greater than 0, in % of label"),
        (100.0, float("inf"), "the SD inf cannot be used; give a number up to 1000000, in % of label"),
    ],
)
def test_an_impossible_batch_is_refused(mean: float, sd: float, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        pass_chances(mean, sd, rule=dosage_rule())


def test_the_largest_mean_and_spread_that_can_be_used_are_used() -> None:
    assert float(pass_chances(1e6, 1e6, rule=dosage_rule()).overall) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("mean", "chance"), [(89.9, 0.0), (90.0, 1.0), (110.0, 1.0), (110.1, 0.0)])
def test_units_without_spread_pass_up_to_the_bounds_of_their_mean(mean: float, chance: float) -> None:
    rule = replace(content_rule(), mean_low_percent=Decimal(90), mean_high_percent=Decimal(110))
    assert float(pass_chances(mean, 0.0, rule=rule).overall) == chance


@pytest.mark.parametrize(("passes", "outer"), [(0, 0), (2, 0), (3, 1), (3, 3)])
def test_units_about_a_labelled_mass_are_counted_as_a_multinomial_counts_them(passes: int, outer: int) -> None:
    plan = CountPlan(
        first_size=20, second_size=0, inner=0.05, outer=0.1, passes_with=passes, continues_with=passes,
        second_passes_with=passes, most_outer=outer, about_label=True,
    )  # fmt: skip
    law = stats.norm(101.0, 4.0)
    near, both = (law.cdf(100 + end) - law.cdf(100 - end) for end in (5.0, 10.0))
    counts = [(20 - one, one - far, far) for one in range(passes + 1) for far in range(min(one, outer) + 1)]
    theirs = stats.multinomial.pmf(counts, n=20, p=[near, both - near, 1 - both]).sum()
    assert float(plan_chances(101.0, 4.0, plan=plan).overall) == pytest.approx(theirs, rel=1e-9)


def test_a_rule_about_the_plan_has_no_chance_of_passing() -> None:
    rule: Rule = load_rule("mean-mass-3")
    assert isinstance(rule, MeanMassRule)
    message = r"^mean-mass-3 compares a mean with a plan; no chance of passing is worked out for it$"
    with pytest.raises(ValueError, match=message):
        pass_chances(100, 3, rule=rule)


def test_a_curve_for_a_picture_lies_within_its_error_of_the_exact_one() -> None:
    rule = dosage_rule()
    drawn = operating_curve(plan=dosage_units.KIND.plan(rule), rule=rule, mean=97.0, reach=12.0)
    assert (drawn.mean_percent, drawn.rule, drawn.sds_percent[-1]) == (97.0, "harmonised-udu", 12.0)
    exact = pass_chances(97.0, drawn.sds_percent, rule=rule)
    assert drawn.first_stage == pytest.approx(exact.first_stage.tolist(), abs=1e-8)
    assert drawn.overall == pytest.approx(exact.overall.tolist(), abs=PICTURE_ERROR)


@pytest.mark.parametrize("target", [95.0, 100.0, 104.0, 110.0])
def test_chances_of_a_picture_stay_within_the_error_they_state(target: float) -> None:
    mean, sd = np.linspace(80, 120, 41)[None, :], np.linspace(0.0, 12, 41)[:, None]
    plan = dosage_units.KIND.plan(dosage_rule(), target_percent=target)
    full, drawn = plan_chances(mean, sd, plan=plan), plan_chances(mean, sd, plan=plan, fine=PICTURE)
    assert (np.abs(drawn.overall - full.overall) <= drawn.error_bound).all()
    assert float(drawn.error_bound.min()) >= PICTURE_ERROR
