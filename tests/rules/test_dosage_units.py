"""Harmonised uniformity of dosage units, clause by clause: the acceptance value, its stages and its rounding."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.results import Message, TestResult, Verdict
from qc.rules.kinds.dosage_units.acceptance_value import acceptance_boundary, acceptance_value, reference_value
from qc.rules.kinds.dosage_units.procedure import judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.measured import Measured, Stages
from qc.rules.rule_books import load_rule
from qc.say.limits import line as limit_line
from qc.say.limits import lines
from qc.say.messages import all_words, words

REFERENCE = Path(__file__).parents[1] / "reference" / "acceptance"
Value = Decimal | Fraction | str | int


def dosage_rule() -> DosageUnitRule:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule


RULE = dosage_rule()


def load(name: str) -> dict[str, Any]:
    return tomllib.loads((REFERENCE / f"{name}.toml").read_text(encoding="utf-8"), parse_float=Decimal)


def measured(values: Sequence[Value], *, first: int = 1) -> tuple[Measured, ...]:
    return tuple(Measured(unit=str(n), value=Fraction(value)) for n, value in enumerate(values, first))


def judged(
    first: Sequence[Value],
    second: Sequence[Value] = (),
    others: Sequence[Value] = (),
    *,
    target: Value = 100,
    rule: DosageUnitRule = RULE,
) -> TestResult:
    stages = Stages(first=measured(first), second=measured(second, first=11), others=measured(others, first=31))
    return judge_dosage_units(
        stages, to_percent=list, rule=rule, active="drug", target_percent=Decimal(target), route=Route.CONTENT
    )


# Distances from the centre whose squares sum to n - 1: the sample SD is exactly the factor they are stretched by.
STEPS = {
    10: [Fraction(step) for step in ("2", "0.7", "0.1")],
    30: [Fraction(step) for step in ("3", "2", "1", "0.5", "0.5")],
}


def with_spread(centre: Value, sd: Value, *, n: int = 10) -> list[Fraction]:
    """`n` contents (10 or 30) whose mean and sample SD are exactly these [% of label]."""
    steps = [sign * step for step in STEPS[n] for sign in (1, -1)]
    return [Fraction(centre) + step * Fraction(sd) for step in [*steps, *[Fraction(0)] * (n - len(steps))]]


def thirty(centre: Value, sd: Value) -> tuple[list[Fraction], list[Fraction]]:
    """Thirty contents of an exact mean and SD in two stages; the whole spread stands in the first ten."""
    contents = with_spread(centre, sd, n=30)
    return contents[:10], contents[10:]


class TestClauseTwo:
    """2. AV = |M - mean| + k s, with the sample SD (divisor n - 1) and k = 2.4 for 10 units, 2.0 for 30."""

    def test_the_published_contents_give_the_recomputed_acceptance_value(self) -> None:
        example = load("contents-cetirizine-10")
        recomputed = example["recomputed"]
        result = judged(example["inputs"]["contents_percent"], target=example["inputs"]["target_percent"])
        names = ("mean_percent", "sd_percent", "k", "reference_percent", "acceptance_value", "acceptance_value_rounded")
        for name in names:
            value = result.figures[name]
            assert value is not None
            places = -int(recomputed[name].as_tuple().exponent)
            assert round(Decimal(str(value)), places) == recomputed[name], name
        assert result.verdict == example["judged"][0]["verdict"]
        assert result.more_units == 0

    def test_the_printed_acceptance_value_follows_from_its_slips(self) -> None:
        example = load("contents-cetirizine-10")
        printed, recomputed = example["printed"], example["recomputed"]
        # The source puts 1.17 into the line although it prints s = 1.25.
        offset = printed["reference_percent"] - printed["mean_percent"]
        from_slip = offset + printed["k"] * printed["sd_in_acceptance_value_percent"]
        assert round(from_slip, 2) == printed["acceptance_value"]
        # The SD it prints divides its own sum of squares, with the wrong sign of unit 9 in it, by n.
        values = example["inputs"]["contents_percent"]
        slipped = sum((value - recomputed["mean_percent"]) ** 2 for value in values)
        slipped += Decimal("1.41") ** 2 - (values[8] - recomputed["mean_percent"]) ** 2
        assert round(slipped, 2) == printed["sum_of_squares"]
        assert (slipped / 10).sqrt().quantize(Decimal("0.01")) == printed["sd_percent"]
        with_n = offset + printed["k"] * (recomputed["sum_of_squares"] / 10).sqrt()
        assert round(with_n, 4) == recomputed["acceptance_value_with_n"]
        assert judged(values).figures["acceptance_value"] != pytest.approx(float(printed["acceptance_value"]), abs=0.1)

    def test_the_summary_of_the_usp_question_gives_its_acceptance_value_and_single_limits(self) -> None:
        example = load("acceptance-value-from-summary")
        inputs, printed = example["inputs"], example["printed"]
        result = judged(with_spread(inputs["mean_percent"], inputs["sd_percent"]))
        assert result.figures["acceptance_value"] == pytest.approx(float(printed["acceptance_value"]), rel=1e-15)
        assert result.figures["single_low_percent"] == float(printed["single_low_percent"])
        assert result.figures["single_high_percent"] == float(printed["single_high_percent"])
        assert result.verdict is Verdict.SECOND_STAGE
        same = acceptance_value(
            measured(with_spread(inputs["mean_percent"], inputs["sd_percent"], n=30)),
            stage=2,
            k=RULE.second_k,
            target_percent=Decimal(100),
            rule=RULE,
        )
        assert same.value == pytest.approx(float(example["recomputed"]["acceptance_value_with_second_k"]), rel=1e-15)


class TestClauseThree:
    """3. M is the mean from 98.5 to 101.5, else the nearer end; a target T above 101.5 takes the place of 101.5."""

    @pytest.mark.parametrize(
        ("mean_percent", "target", "reference"),
        [
            ("98.4999", 100, "98.5"),
            ("98.5", 100, "98.5"),
            ("98.5001", 100, "98.5001"),
            ("101.4999", 100, "101.4999"),
            ("101.5", 100, "101.5"),
            ("101.5001", 100, "101.5"),
            ("101.6", "101.5", "101.5"),
            ("101.6", "101.6", "101.6"),
            ("104.9", 105, "104.9"),
            ("105", 105, "105"),
            ("105.1", 105, "105"),
            ("98.4", 105, "98.5"),
            ("101.6", 95, "101.5"),
            ("98.4", 95, "98.5"),
        ],
    )
    def test_the_reference_value(self, mean_percent: str, target: Value, reference: str) -> None:
        found = reference_value(Fraction(mean_percent), target_percent=Decimal(target), rule=RULE)
        assert found == Fraction(reference)

    def test_a_target_below_one_hundred_stays_in_the_first_case(self) -> None:
        contents = with_spread(104, 3)
        assert judged(contents, target=95).figures["acceptance_value"] == judged(contents).figures["acceptance_value"]

    def test_the_target_is_not_the_mean_of_the_batch(self) -> None:
        # With T = 100 the AV of a mean of 112 is 10.5 + 2.4 s; with the mean taken for T it would pass.
        contents = with_spread(112, 2)
        assert judged(contents).verdict is Verdict.SECOND_STAGE
        assert judged(contents, target=112).verdict is Verdict.COMPLIES


class TestClauseFiveAndThirteen:
    """5 and 13. The ten comply with AV of at most L1 = 15.0, rounded once to one decimal: 15.04 complies, 15.05 not."""

    @pytest.mark.parametrize(
        ("av", "rounded", "verdict"),
        [
            ("14.9999", "15.0", Verdict.COMPLIES),
            ("15", "15.0", Verdict.COMPLIES),
            ("15.04", "15.0", Verdict.COMPLIES),
            ("15.0499999999999999", "15.0", Verdict.COMPLIES),
            ("15.05", "15.1", Verdict.SECOND_STAGE),
            ("15.0500000000000001", "15.1", Verdict.SECOND_STAGE),
            ("15.1", "15.1", Verdict.SECOND_STAGE),
        ],
    )
    @pytest.mark.parametrize("offset", ["0", "7", "-7", "1/3", "14"])
    def test_the_acceptance_value_at_its_limit(self, av: str, rounded: str, verdict: Verdict, offset: str) -> None:
        away = Fraction(offset)
        centre = 100 if away == 0 else Fraction("101.5") + away if away > 0 else Fraction("98.5") + away
        result = judged(with_spread(centre, (Fraction(av) - abs(away)) / Fraction("2.4")))
        assert result.figures["acceptance_value_rounded"] == float(rounded)
        assert result.verdict is verdict

    def test_a_value_between_fifteen_and_its_rounding_says_both(self) -> None:
        result = judged(with_spread(100, Fraction("15.04") / Fraction("2.4")))
        assert all_words(result.reasons) == (
            "Contents found by assay of single units.",
            "AV 15.0 (15.04) against L1 = 15.0 (10 units, mean 100.00 %, k = 2.4): met. Unrounded it is above L1; "
            "rounded to 1 decimal, as the rule states, it is 15.0.",
        )

    def test_twenty_five_is_no_limit_of_the_acceptance_value(self) -> None:
        for av in ("15.1", "16.4", "20", "24.9", "25"):
            assert judged(with_spread(100, Fraction(av) / Fraction("2.4"))).verdict is Verdict.SECOND_STAGE


class TestClauseSix:
    """6. The bound L2 on single units is not applied at the first stage."""

    def test_the_range_of_single_units_is_for_information_at_the_first_stage(self) -> None:
        result = judged(with_spread(100, 5))
        line = limit_line(result.criteria[1])
        assert (line.what, line.figure, line.limit, line.met) == (
            "units outside 75.0 to 125.0 % of the reference value M", "0 of 10", "at stage 2", None,
        )  # fmt: skip

    def test_the_working_ends_in_the_acceptance_value_and_the_verdict(self) -> None:
        working = all_words(judged(with_spread(100, 5)).working)
        assert working[0].endswith(" points of label from the mean.")
        assert working[-3:] == (
            "Acceptance value AV, 10 units: 12.0 (12.00); at most 15.0 (clause 5).",
            "Units outside 75.0 to 125.0 % of the reference value M: 0 of 10; at stage 2 (clause 7).",
            "Therefore the sample complies.",
        )


class TestClauseSeven:
    """7. Second stage: all thirty anew, AV of at most 15.0 and no unit outside 0.75 M to 1.25 M with the new M."""

    def test_all_thirty_are_pooled_with_k_two(self) -> None:
        first, second = thirty(100, 7)
        result = judged(first, second)
        assert result.n == 30
        assert result.figures["stage"] == 2
        assert result.figures["k"] == 2.0
        assert result.figures["mean_percent"] == 100.0
        assert result.figures["sd_percent"] == 7.0
        assert result.figures["acceptance_value"] == 14.0
        assert result.verdict is Verdict.COMPLIES

    def test_the_twenty_new_units_are_not_judged_alone(self) -> None:
        # Twenty perfect units do not clear ten that stray far from the label.
        result = judged(with_spread(70, 1), ["100"] * 20)
        assert result.figures["mean_percent"] == 90.0
        assert result.verdict is Verdict.DOES_NOT_COMPLY

    @pytest.mark.parametrize(
        ("av", "verdict"),
        [
            ("15", Verdict.COMPLIES),
            ("15.04", Verdict.COMPLIES),
            ("15.05", Verdict.DOES_NOT_COMPLY),
            ("16.4", Verdict.DOES_NOT_COMPLY),
            ("16.6", Verdict.DOES_NOT_COMPLY),
        ],
    )
    def test_fifteen_is_the_limit_at_thirty_too(self, av: str, verdict: Verdict) -> None:
        result = judged(*thirty(100, Fraction(av) / 2))
        assert result.figures["acceptance_value"] == pytest.approx(float(av), rel=1e-15)
        assert result.outside == ()
        assert result.verdict is verdict

    def test_an_acceptance_value_under_twenty_five_fails_at_thirty_although_no_unit_is_outside(self) -> None:
        result = judged([88, 112] * 5, [88, 112] * 10)
        assert result.figures["acceptance_value"] == pytest.approx(24 * (30 / 29) ** 0.5)
        assert result.outside == ()
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert all_words(result.reasons) == (
            "Contents found by assay of single units.",
            "First stage: AV 30.4 (30.36) against L1 = 15.0 (10 units, mean 100.00 %, k = 2.4): not met.",
            "All 30: AV 24.4 (24.41) against L1 = 15.0 (30 units, mean 100.00 %, k = 2.0): not met.",
        )

    @pytest.mark.parametrize(
        ("value", "outside", "verdict"),
        [
            ("75.0001", 0, Verdict.COMPLIES),
            ("75", 0, Verdict.COMPLIES),
            ("74.9999", 1, Verdict.DOES_NOT_COMPLY),
        ],
        ids=["inside", "at", "outside"],
    )
    def test_a_unit_at_three_quarters_of_m_lies_within(self, value: str, outside: int, verdict: Verdict) -> None:
        # The far unit is balanced by one equally far above, so the mean, and M with it, is 100 exactly.
        low = Fraction(value)
        first = with_spread(100, Fraction("6.3"))
        result = judged(first, [low, *[Fraction(100) + (100 - low) / 19] * 19])
        assert result.figures["reference_percent"] == 100.0
        assert result.figures["single_low_percent"] == 75.0
        assert len(result.outside) == outside
        assert result.verdict is verdict

    @pytest.mark.parametrize(
        ("value", "verdict"),
        [("124.9999", Verdict.COMPLIES), ("125", Verdict.COMPLIES), ("125.0001", Verdict.DOES_NOT_COMPLY)],
    )
    def test_a_unit_at_five_quarters_of_m_lies_within(self, value: str, verdict: Verdict) -> None:
        high = Fraction(value)
        first = with_spread(100, Fraction("6.3"))
        assert judged(first, [high, *[Fraction(100) - (high - 100) / 19] * 19]).verdict is verdict

    @pytest.mark.parametrize("n", [1, 10, 19])
    def test_an_unfinished_second_stage_stays_due(self, n: int) -> None:
        result = judged(with_spread(100, 7), ["100"] * n)
        assert result.verdict is Verdict.SECOND_STAGE
        assert result.more_units == 20 - n

    def test_a_sample_no_second_stage_can_clear_says_so(self) -> None:
        result = judged(["50", *["100"] * 9])
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert result.more_units == 0
        assert words(result.reasons[-2]).endswith(": not met.")
        assert words(result.reasons[-1]) == (
            "No second stage can clear this sample: unit 1 lies more than 25.0 % from every M the rule can give."
        )
        assert [(line.what, line.figure, line.limit, line.met) for line in lines(result.criteria[::2])] == [
            ("acceptance value AV, 10 units", "41.4 (41.447)", "at most 15.0", False),
            (
                "units outside 73.875 to 126.875 % of label, where no second stage can pass (M 98.5 to 101.5 %)",
                "1 of 10 (unit 1)",
                "none allowed",
                False,
            ),
        ]


class TestClauseEight:
    """8. k exists for 10 and for 30 units only; fewer than 10 have no acceptance value."""

    @pytest.mark.parametrize("n", [1, 5, 6, 9])
    def test_fewer_than_ten_have_no_acceptance_value(self, n: int) -> None:
        result = judged(["100"] * n)
        assert result.verdict is Verdict.TOO_FEW_UNITS
        assert result.figures["acceptance_value"] is None
        assert result.figures["k"] is None
        assert result.more_units == 10 - n
        assert all_words(result.reasons) == (
            f"The rule asks for 10 units; {n} were assayed. There is no acceptability constant k for {n} units, so "
            "there is no acceptance value.",
        )
        (line,) = result.criteria
        assert (line.figure, line.bound, line.met, line.clause) == (n, 10, None, "1")
        first, last = all_words(result.working)
        assert first == f"Mean = {100 * n}.0000 / {n} = 100.0000 % of label."
        assert last.startswith("Therefore there are too few units for a verdict.")

    def test_twenty_assays_are_ten_and_ten_of_a_second_stage(self) -> None:
        result = judged(with_spread(100, 7), ["100"] * 10)
        assert result.n == 10
        assert result.figures["k"] == 2.4


class TestUnitsBeyondTheSample:
    """A unit assayed beyond the sample and known to lie outside L2 is not hidden."""

    @pytest.mark.parametrize(("value", "verdict"), [("75", Verdict.COMPLIES), ("74.9", Verdict.DOES_NOT_COMPLY)])
    def test_a_further_unit_outside_the_single_limits(self, value: str, verdict: Verdict) -> None:
        result = judged(["100"] * 10, others=[value])
        assert result.verdict is verdict
        first, second = thirty(100, 7)
        assert judged(first, second, [value]).verdict is verdict


def rounded_tenths(offset: Fraction, squared: Fraction) -> int:
    """AV = offset + sqrt(squared) in tenths, half up: counted up in whole numbers, with no root taken."""
    tenths = 0
    while True:
        room = Fraction(2 * tenths + 1, 20) - offset
        if room > 0 and squared.numerator * room.denominator**2 < squared.denominator * room.numerator**2:
            return tenths
        tenths += 1


def open_or_decided(result: TestResult) -> Verdict:
    """The verdict as the rule has it; that no second stage can clear a sample is tested in test_second_stage.py."""
    hopeless = result.verdict is Verdict.DOES_NOT_COMPLY and result.criteria[0].values["k"] == Decimal("2.4")
    return Verdict.SECOND_STAGE if hopeless and not result.criteria[0].met else result.verdict


def brute_force(first: Sequence[Fraction], second: Sequence[Fraction], target: Fraction) -> Verdict:
    """The test once more, from the sums n Σx² - (Σx)², without a mean of squares and without a root."""

    def tenths(values: Sequence[Fraction], k: Fraction) -> tuple[int, Fraction]:
        n, total = len(values), sum(values, Fraction(0))
        centre = total / n
        top = Fraction("101.5") if target <= Fraction("101.5") else target
        reference = Fraction("98.5") if centre < Fraction("98.5") else top if centre > top else centre
        variance = (n * sum((value * value for value in values), Fraction(0)) - total**2) / (n * (n - 1))
        return rounded_tenths(abs(reference - centre), k * k * variance), reference

    if len(first) < 10:
        return Verdict.TOO_FEW_UNITS
    av, reference = tenths(first, Fraction("2.4"))
    if av <= 150:
        hidden = any(4 * value < 3 * reference or 4 * value > 5 * reference for value in second)
        return Verdict.DOES_NOT_COMPLY if hidden else Verdict.COMPLIES
    if len(second) < 20:
        return Verdict.SECOND_STAGE
    pool = [*first, *second]
    av, reference = tenths(pool, Fraction(2))
    outside = any(4 * value < 3 * reference or 4 * value > 5 * reference for value in pool)
    return Verdict.COMPLIES if av <= 150 and not outside else Verdict.DOES_NOT_COMPLY


contents = st.decimals(min_value=Decimal("88"), max_value=Decimal("112"), places=1).map(Fraction)
wide = st.decimals(min_value=Decimal("72"), max_value=Decimal("128"), places=1).map(Fraction)
firsts = st.lists(st.one_of(contents, wide), min_size=9, max_size=10)
seconds = st.one_of(st.just([]), st.lists(st.one_of(contents, wide), min_size=19, max_size=20))
targets = st.sampled_from(["95", "100", "101.5", "101.6", "105", "110"])


@given(firsts, seconds, targets)
def test_the_verdict_equals_one_reckoned_without_a_root(
    first: list[Fraction], second: list[Fraction], target: str
) -> None:
    assert open_or_decided(judged(first, second, target=target)) is brute_force(first, second, Fraction(target))


@given(st.decimals(min_value=Decimal("14.95"), max_value=Decimal("15.15"), places=3), st.integers(-13, 13))
def test_the_verdict_equals_one_reckoned_without_a_root_near_the_limit(av: Decimal, away: int) -> None:
    centre = Fraction(100) if away == 0 else Fraction("101.5") + away if away > 0 else Fraction("98.5") + away
    first = with_spread(centre, (Fraction(av) - abs(away)) / Fraction("2.4"))
    assert open_or_decided(judged(first)) is brute_force(first, [], Fraction(100))


@given(firsts, seconds, st.randoms(use_true_random=False))
def test_the_order_within_a_stage_does_not_matter(first: list[Fraction], second: list[Fraction], random: Any) -> None:
    other_first, other_second = list(first), list(second)
    random.shuffle(other_first)
    random.shuffle(other_second)
    one, other = judged(first, second), judged(other_first, other_second)
    assert one.verdict is other.verdict
    assert one.figures == other.figures


@given(firsts, seconds, st.decimals(min_value=Decimal("5"), max_value=Decimal("15"), places=1))
def test_a_tighter_limit_never_turns_a_failure_into_a_pass(
    first: list[Fraction], second: list[Fraction], l1: Decimal
) -> None:
    tighter = replace(RULE, l1_percent=l1)
    before, after = judged(first), judged(first, rule=tighter)
    if after.verdict is Verdict.COMPLIES:
        assert before.verdict is Verdict.COMPLIES
    if before.verdict is Verdict.DOES_NOT_COMPLY:
        assert after.verdict is Verdict.DOES_NOT_COMPLY
    if len(second) == 20 and before.verdict is Verdict.SECOND_STAGE:
        assert after.verdict in (Verdict.SECOND_STAGE, Verdict.DOES_NOT_COMPLY)
        if judged(first, second).verdict is Verdict.DOES_NOT_COMPLY:
            assert judged(first, second, rule=tighter).verdict is Verdict.DOES_NOT_COMPLY


@given(firsts, seconds, st.decimals(min_value=Decimal("1"), max_value=Decimal("300"), places=1))
def test_a_further_unit_never_turns_a_failure_into_a_pass(
    first: list[Fraction], second: list[Fraction], further: Decimal
) -> None:
    before, after = judged(first, second), judged(first, second, [further])
    if before.verdict is not Verdict.COMPLIES:
        assert after.verdict in (before.verdict, Verdict.DOES_NOT_COMPLY)
    elif after.verdict is not Verdict.COMPLIES:
        assert after.verdict is Verdict.DOES_NOT_COMPLY


@given(st.lists(wide, min_size=10, max_size=10))
def test_the_figure_shown_is_the_root_to_the_precision_of_a_float(values: list[Fraction]) -> None:
    result = judged(values)
    context = Context(prec=60)
    centre = sum(values, Fraction(0)) / 10
    variance = sum(((value - centre) ** 2 for value in values), Fraction(0)) / 9
    root = context.sqrt(context.divide(Decimal(variance.numerator), Decimal(variance.denominator)))
    reference = min(max(centre, Fraction("98.5")), Fraction("101.5"))
    away = abs(reference - centre)
    exact = context.divide(Decimal(away.numerator), Decimal(away.denominator)) + Decimal("2.4") * root
    assert result.figures["acceptance_value"] == pytest.approx(float(exact), rel=1e-15)


class TestMassRoute:
    """10 and 11. Mass variation: x = w A / W, with W the mean of the units weighed in the test."""

    @staticmethod
    def by_mass(masses: Sequence[Value], *, assay: Value) -> TestResult:
        def to_percent(units: Sequence[Measured]) -> list[Measured]:
            average = sum((unit.value for unit in units), Fraction(0)) / len(units)
            return [Measured(unit=unit.unit, value=unit.value * Fraction(assay) / average) for unit in units]

        return judge_dosage_units(
            Stages(first=measured(masses)),
            to_percent=to_percent,
            rule=RULE,
            active="drug",
            target_percent=Decimal(100),
            route=Route.MASS,
        )

    def test_the_mean_is_the_batch_assay_whatever_the_units_weigh(self) -> None:
        for scale in (1, 3):
            masses = [value * scale for value in with_spread(2, "0.02")]
            result = self.by_mass(masses, assay="96")
            assert result.figures["mean_percent"] == 96.0
            assert result.figures["sd_percent"] == pytest.approx(0.96, rel=1e-15)
            assert result.figures["acceptance_value"] == pytest.approx(2.5 + 2.4 * 0.96, rel=1e-15)
            assert words(result.reasons[0]) == (
                "Contents found by mass variation: mass of the unit, times the batch assay, over the mean mass."
            )


class TestBoundary:
    """The greatest SD that meets L1 at each mean, for the picture: its corners meet the limit exactly."""

    @pytest.mark.parametrize(("stage", "k"), [(1, 2.4), (2, 2.0)])
    @pytest.mark.parametrize(("target", "top"), [("100", 101.5), ("105", 105.0)])
    def test_the_corners(self, stage: int, k: float, target: str, top: float) -> None:
        assert acceptance_boundary(stage=stage, target_percent=Decimal(target), rule=RULE) == (
            (83.5, 0.0), (98.5, 15 / k), (top, 15 / k), (top + 15, 0.0),
        )  # fmt: skip

    @pytest.mark.parametrize("share", [Fraction(1, 4), Fraction(1, 2), Fraction(3, 4)])
    def test_a_sample_on_the_boundary_has_the_limit_as_its_acceptance_value(self, share: Fraction) -> None:
        (low, _), (next_mean, sd), *_ = acceptance_boundary(stage=1, target_percent=Decimal(100), rule=RULE)
        centre = Fraction(low) + share * (Fraction(next_mean) - Fraction(low))
        result = judged(with_spread(centre, share * Fraction(sd)))
        assert result.figures["acceptance_value"] == pytest.approx(15.0, rel=1e-12)


class TestWhatStandsBesideTheVerdict:
    """Every limit says whether it is met, and the reason names the one that is not."""

    @staticmethod
    def met(result: TestResult) -> dict[str, bool | None]:
        return {line.what: line.met for line in result.criteria}

    def test_a_unit_outside_l2_among_thirty_is_the_reason_and_its_limit_is_not_met(self) -> None:
        result = judged(["74", *["100"] * 9], ["100"] * 20)
        assert (result.verdict, result.figures["stage"]) == (Verdict.DOES_NOT_COMPLY, 2)
        assert self.met(result) == {"acceptance_value": True, "outside_l2": False}
        assert (
            all_words(result.reasons)[-1]
            == "Unit 1 lies outside 75.0 to 125.0 % of the reference value M; the rule allows none."
        )
        within = judged(["75", *["100"] * 9], ["100"] * 20)
        assert within.verdict is Verdict.COMPLIES
        assert self.met(within) == {"acceptance_value": True, "outside_l2": True}

    def test_a_unit_beside_the_sample_and_outside_l2_is_the_reason(self) -> None:
        result = judged(["100"] * 10, others=["70"])
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert self.met(result) == {"acceptance_value": True, "outside_l2": None, "others_beyond": False}
        assert "a unit known to be beyond the outer limit is not hidden" in all_words(result.reasons)[-1]
        within = judged(["100"] * 10, others=["75"])
        assert self.met(within) == {"acceptance_value": True, "outside_l2": None, "others_beyond": True}

    @pytest.mark.parametrize(
        ("unit", "beside"),
        [("87", ["tests.pooled_would_fail"]), ("60", ["tests.exceeded"]), ("100", [])],
    )
    def test_a_second_stage_that_would_fail_stands_beside_a_first_that_is_met(
        self, unit: str, beside: list[str]
    ) -> None:
        spread = ["100"] * 20 if unit == "100" else ["87", "113"] * 9 + ["113", unit]
        result = judged(["100"] * 10, spread)
        assert self.met(result)["acceptance_value"] is True
        assert [one.id for one in result.reasons if isinstance(one, Message)][1:] == ["tests.acceptance_value", *beside]

    def test_units_of_both_stages_that_are_too_few_stand_at_the_second(self) -> None:
        stages = Stages(first=measured(["100"] * 29), together=True)
        result = judge_dosage_units(
            stages, to_percent=list, rule=RULE, active="drug", target_percent=Decimal(100), route=Route.CONTENT
        )
        assert (result.verdict, result.figures["stage"], result.n, result.more_units) == (
            Verdict.TOO_FEW_UNITS,
            2,
            29,
            1,
        )


@given(
    contents=st.lists(st.sampled_from([72, 75, 88, 94, 98, 100, 101, 106, 112, 125, 128]), min_size=30, max_size=33),
    l1=st.sampled_from([Decimal(5), Decimal(10), Decimal(14)]),
    l2=st.sampled_from([Decimal(20), Decimal(25)]),
)
def test_tighter_limits_never_turn_a_failure_of_thirty_into_a_pass(
    contents: list[int], l1: Decimal, l2: Decimal
) -> None:
    parts = contents[:10], contents[10:30], contents[30:]
    tighter = replace(RULE, l1_percent=l1, l2_percent=l2)
    if judged(*parts).verdict is Verdict.DOES_NOT_COMPLY:
        assert judged(*parts, rule=tighter).verdict is Verdict.DOES_NOT_COMPLY


def test_a_unit_beside_the_first_ten_is_laid_about_m_of_all_thirty() -> None:
    """126.5 lies outside 75 to 125 % of M = 100; the M of all thirty, 101.5, reaches to 126.9."""
    second = ["126.5", *[102] * 19]
    assert judged([100] * 10, second).verdict is Verdict.COMPLIES
    assert judged([100] * 10, ["126.5", *[100] * 19]).verdict is Verdict.DOES_NOT_COMPLY
