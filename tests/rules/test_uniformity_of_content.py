"""Uniformity of content about the sample's own mean, clause by clause: Ph. Eur. 2.9.6 tests A, B and C."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.contents import Scale
from qc.results import TestResult, Verdict
from qc.results.messages import message
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.measured import Measured, Stages, split_by_stage
from qc.rules.rule_books import load_rule
from qc.say.limits import lines
from qc.say.messages import all_words, words

PERCENT = Scale(unit="% of label", label=Fraction(100))
Value = Decimal | Fraction | str | int


def content_rule(name: str) -> ContentRule:
    rule = load_rule(name)
    assert isinstance(rule, ContentRule)
    return rule


A, B, C = (content_rule(f"ph-eur-2.9.6-{test}") for test in "abc")


def measured(values: Sequence[Value], *, first: int = 1) -> tuple[Measured, ...]:
    return tuple(Measured(unit=str(n), value=Fraction(value)) for n, value in enumerate(values, first))


def judged(
    first: Sequence[Value],
    second: Sequence[Value] = (),
    others: Sequence[Value] = (),
    *,
    rule: ContentRule = B,
    scale: Scale = PERCENT,
) -> TestResult:
    stages = Stages(first=measured(first), second=measured(second, first=11), others=measured(others, first=31))
    return judge_contents(stages, rule=rule, active="drug", scale=scale)


def spread(*values: Value, n: int = 10) -> list[Value]:
    """The values given, filled up to `n` so that the mean is 100 exactly."""
    rest = n - len(values)
    each = (100 * n - sum((Fraction(value) for value in values), Fraction(0))) / rest
    return [*values, *[each] * rest]


def test_what_is_remarked_of_the_stages_stands_behind_the_reasons() -> None:
    said = message("tests.without_a_stage", number=2)
    result = judge_contents(Stages(first=measured(spread()), remarks=(said,)), rule=B, active="drug", scale=PERCENT)
    assert result.reasons[-1] == said


class TestFirstStageOfTestB:
    """Test B, first ten: at most 1 outside 85 to 115 % of the mean passes, 2 or 3 go on; none outside 75 to 125 %."""

    @pytest.mark.parametrize(
        ("values", "beyond", "verdict"),
        [
            ([], 0, Verdict.COMPLIES),
            (["84"], 1, Verdict.COMPLIES),
            (["84", "116"], 2, Verdict.SECOND_STAGE),
            (["84", "116", "84"], 3, Verdict.SECOND_STAGE),
            (["84", "116", "84", "116"], 4, Verdict.DOES_NOT_COMPLY),
        ],
        ids=["none", "one", "two", "three", "four"],
    )
    def test_the_count_outside_the_inner_limits_decides(
        self, values: list[Value], beyond: int, verdict: Verdict
    ) -> None:
        result = judged(spread(*values))
        assert result.figures["mean_percent"] == 100.0
        assert result.figures["beyond_inner"] == beyond
        assert result.figures["stage"] == 1
        assert result.verdict is verdict
        assert result.more_units == (20 if verdict is Verdict.SECOND_STAGE else 0)

    @pytest.mark.parametrize(
        ("low", "high", "beyond"),
        [("85.0001", "114.9999", 0), ("85", "115", 0), ("84.9999", "115.0001", 2)],
        ids=["inside", "at", "outside"],
    )
    def test_a_content_at_the_inner_limit_lies_within_it(self, low: str, high: str, beyond: int) -> None:
        result = judged(spread(low, high))
        assert result.figures["beyond_inner"] == beyond
        assert len(result.outside) == beyond

    @pytest.mark.parametrize(
        ("value", "beyond", "verdict"),
        [
            ("75.0001", 0, Verdict.COMPLIES),
            ("75", 0, Verdict.COMPLIES),
            ("74.9999", 1, Verdict.DOES_NOT_COMPLY),
            ("124.9999", 0, Verdict.COMPLIES),
            ("125", 0, Verdict.COMPLIES),
            ("125.0001", 1, Verdict.DOES_NOT_COMPLY),
        ],
    )
    def test_a_content_at_the_outer_limit_lies_within_it(self, value: str, beyond: int, verdict: Verdict) -> None:
        result = judged(spread(value))
        assert result.figures["beyond_outer"] == beyond
        assert result.figures["beyond_inner"] == 1
        assert result.verdict is verdict

    def test_a_unit_outside_the_outer_limits_ends_the_test_although_a_second_stage_was_assayed(self) -> None:
        result = judged(spread("74.9", "116"), ["100"] * 20)
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert result.figures["stage"] == 1
        assert all_words(result.reasons) == ("Unit 1 lies outside 75 to 125 % of the mean; the rule allows none.",)

    def test_four_outside_end_the_test_although_a_second_stage_was_assayed(self) -> None:
        result = judged(spread("84", "116", "84", "116"), ["100"] * 20)
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert all_words(result.reasons) == (
            "Units 1, 2, 3 and 4 lie outside 85 to 115 % of the mean; more than 3 end the test at the first stage.",
        )

    def test_the_reason_for_a_second_stage_says_how_many_more_units_decide(self) -> None:
        result = judged(spread("84", "116"), ["100"] * 5)
        assert result.verdict is Verdict.SECOND_STAGE
        assert result.more_units == 15
        assert all_words(result.reasons) == (
            "2 units of 10 (1 and 2) outside 85 to 115 % of the mean: the first stage allows at most 1; "
            "15 more units decide.",
        )

    def test_the_working_ends_in_the_counts_and_what_follows(self) -> None:
        assert all_words(judged(spread("84", "116")).working[-3:]) == (
            "Units outside 85 to 115 % of the mean: 2 of 10 (units 1 and 2); at most 1, a second stage up to 3 "
            "(clause 3).",
            "Units outside 75 to 125 % of the mean: 0 of 10; none allowed (clause 3).",
            "Therefore the first stage is not passed. 2 units of 10 (1 and 2) outside 85 to 115 % of the mean: the "
            "first stage allows at most 1; 20 more units decide.",
        )

    def test_ten_units_at_sixty_percent_of_label_comply_because_the_test_knows_no_label(self) -> None:
        result = judged(["60"] * 10)
        assert result.verdict is Verdict.COMPLIES
        assert result.figures["mean_percent"] == 60.0


class TestSecondStageOfTestB:
    """Test B, all thirty: at most 3 of 30 outside 85 to 115 % of the mean of all 30, none outside 75 to 125 %."""

    FIRST = ("84", "116", "100", "100", "100", "100", "100", "100", "100", "100")

    @pytest.mark.parametrize(
        ("more", "beyond", "verdict"),
        [
            ([], 2, Verdict.COMPLIES),
            (["84"], 3, Verdict.COMPLIES),
            (["84", "116"], 4, Verdict.DOES_NOT_COMPLY),
        ],
        ids=["two", "three", "four"],
    )
    def test_three_of_thirty_pass_and_four_fail(self, more: list[str], beyond: int, verdict: Verdict) -> None:
        result = judged(self.FIRST, spread(*more, n=20))
        assert result.n == 30
        assert result.figures["stage"] == 2
        assert result.figures["mean_percent"] == 100.0
        assert result.figures["beyond_inner"] == beyond
        assert result.verdict is verdict

    def test_the_working_ends_in_the_counts_of_all_thirty(self) -> None:
        assert all_words(judged(self.FIRST, ["100"] * 20).working[-3:]) == (
            "Units outside 85 to 115 % of the mean: 2 of 30 (units 1 and 2); at most 3 (clause 6).",
            "Units outside 75 to 125 % of the mean: 0 of 30; none allowed (clause 6).",
            "Therefore the sample complies.",
        )

    def test_the_reasons_name_both_stages(self) -> None:
        assert all_words(judged(self.FIRST, ["100"] * 20).reasons) == (
            "2 units of 10 (1 and 2) outside 85 to 115 % of the mean: the first stage allows at most 1.",
            "2 units of 30 outside 85 to 115 % of the mean (at most 3 allowed), none outside 75 to 125 %.",
        )

    @pytest.mark.parametrize(
        ("value", "verdict"),
        [("75", Verdict.COMPLIES), ("74.9999", Verdict.DOES_NOT_COMPLY)],
        ids=["at the outer limit", "beyond it"],
    )
    def test_one_new_unit_outside_the_outer_limits_fails(self, value: str, verdict: Verdict) -> None:
        assert judged(self.FIRST, spread(value, n=20)).verdict is verdict

    def test_the_first_ten_are_not_discarded(self) -> None:
        # The twenty new units alone have one outside; pooled with three of the first ten it is four.
        first = spread("84", "116", "84")
        second = spread("84", n=20)
        assert judged(first, second).verdict is Verdict.DOES_NOT_COMPLY
        assert judged(spread(), second).verdict is Verdict.COMPLIES

    def test_a_unit_changes_sides_when_the_mean_of_all_thirty_moves(self) -> None:
        # 84 lies outside 85 to 115 % of a mean of 100, and inside 85 to 115 % of the pooled mean of 96.
        result = judged(["84", "116", "100", "100", "100", "100", "100", "100", "100", "100"], ["94"] * 20)
        assert result.figures["mean_percent"] == 96.0
        assert [unit.unit for unit in result.outside] == ["2"]
        assert result.verdict is Verdict.COMPLIES

    @pytest.mark.parametrize("n", [1, 10, 19])
    def test_an_unfinished_second_stage_stays_due(self, n: int) -> None:
        result = judged(self.FIRST, ["100"] * n)
        assert result.verdict is Verdict.SECOND_STAGE
        assert result.more_units == 20 - n


class TestTestA:
    """Test A: all within 85 to 115 % pass, exactly 1 goes on, more fail; of thirty at most 1."""

    @pytest.mark.parametrize(
        ("values", "verdict"),
        [([], Verdict.COMPLIES), (["84"], Verdict.SECOND_STAGE), (["84", "116"], Verdict.DOES_NOT_COMPLY)],
        ids=["none", "one", "two"],
    )
    def test_first_stage(self, values: list[Value], verdict: Verdict) -> None:
        assert judged(spread(*values), rule=A).verdict is verdict

    @pytest.mark.parametrize(
        ("more", "verdict"),
        [([], Verdict.COMPLIES), (["84"], Verdict.DOES_NOT_COMPLY), (["75"], Verdict.DOES_NOT_COMPLY)],
        ids=["the one of the first ten", "a second one", "a second one at the outer limit"],
    )
    def test_second_stage(self, more: list[Value], verdict: Verdict) -> None:
        assert judged(spread("84"), spread(*more, n=20), rule=A).verdict is verdict

    def test_the_rule_of_moulded_units_is_another_one(self) -> None:
        contents = spread("84", "116")
        assert judged(contents, rule=A).verdict is Verdict.DOES_NOT_COMPLY
        assert judged(contents, rule=B).verdict is Verdict.SECOND_STAGE


class TestTestC:
    """Test C: the mean within 90 to 110 % of label and each content within 75 to 125 % of the mean; no second stage."""

    @pytest.mark.parametrize(
        ("mean_percent", "verdict"),
        [
            ("89.9999", Verdict.DOES_NOT_COMPLY),
            ("90", Verdict.COMPLIES),
            ("110", Verdict.COMPLIES),
            ("110.0001", Verdict.DOES_NOT_COMPLY),
        ],
    )
    def test_the_mean_is_bounded_in_percent_of_label(self, mean_percent: str, verdict: Verdict) -> None:
        assert judged([mean_percent] * 10, rule=C).verdict is verdict

    @pytest.mark.parametrize(
        ("value", "verdict"),
        [("84", Verdict.COMPLIES), ("75", Verdict.COMPLIES), ("74.9999", Verdict.DOES_NOT_COMPLY)],
    )
    def test_only_the_outer_limits_bound_single_units(self, value: str, verdict: Verdict) -> None:
        assert judged(spread(value, "116", "84", "116"), rule=C).verdict is verdict

    @pytest.mark.parametrize(
        ("bounds", "mean_percent", "said"),
        [
            (
                {"mean_low_percent": Decimal(95)},
                "94.99",
                "The mean is 94.99 % of label; the rule asks for at least 95 %.",
            ),
            ({"mean_low_percent": Decimal(95)}, "95", None),
            ({"mean_low_percent": Decimal(95)}, "140", None),
            ({"mean_high_percent": Decimal(105)}, "60", None),
            ({"mean_high_percent": Decimal(105)}, "105", None),
            (
                {"mean_high_percent": Decimal(105)},
                "105.01",
                "The mean is 105.01 % of label; the rule asks for at most 105 %.",
            ),
        ],
    )
    def test_a_house_may_bound_the_mean_on_one_side(
        self, bounds: dict[str, Decimal], mean_percent: str, said: str | None
    ) -> None:
        result = judged([mean_percent] * 10, rule=replace(B, **bounds))
        assert result.verdict is (Verdict.COMPLIES if said is None else Verdict.DOES_NOT_COMPLY)
        assert said is None or all_words(result.reasons) == (said,)

    def test_without_a_label_the_mean_cannot_pass(self) -> None:
        result = judged(["10"] * 10, rule=C, scale=Scale(unit="mg", label=None))
        assert result.verdict is not Verdict.COMPLIES
        assert all_words(result.reasons) == ("The rule bounds the mean in % of label, and no label claim is given.",)


class TestTooFew:
    """Fewer than ten never comply."""

    @pytest.mark.parametrize(("n", "verdict"), [(9, Verdict.TOO_FEW_UNITS), (10, Verdict.COMPLIES)])
    def test_nine_are_too_few_and_ten_enough(self, n: int, verdict: Verdict) -> None:
        result = judged(["100"] * n)
        assert result.verdict is verdict
        assert result.more_units == 10 - n

    def test_too_few_say_what_was_seen(self) -> None:
        assert all_words(judged(["100", "100", "130"]).reasons) == (
            "The rule asks for 10 units; 3 were assayed, so the test cannot be passed yet. So far 1 unit of 3 outside "
            "85 to 115 % of the mean, none outside 75 to 125 %.",
        )

    def test_nothing_assayed_is_not_assessed(self) -> None:
        result = judged([])
        assert result.verdict is Verdict.NOT_ASSESSED
        assert words(result.missing) == "contents of 10 whole units"

    def test_no_active_at_all_does_not_comply(self) -> None:
        result = judged(["0"] * 10)
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert all_words(result.reasons) == ("No active was found in the sample.",)
        (failed,) = (one for one in lines(result.criteria) if one.met is False)
        assert (failed.what, failed.figure, failed.limit) == ("mean content", "0 % of label", "more than 0")


class TestUnitsBeyondTheSample:
    """A unit assayed beyond the sample and known to lie outside the outer limits is not hidden."""

    @pytest.mark.parametrize(("value", "verdict"), [("75", Verdict.COMPLIES), ("74.9", Verdict.DOES_NOT_COMPLY)])
    def test_beyond_a_first_stage_that_passed(self, value: str, verdict: Verdict) -> None:
        assert judged(["100"] * 10, others=[value]).verdict is verdict
        assert judged(["100"] * 10, second=[value]).verdict is verdict

    @pytest.mark.parametrize(("value", "verdict"), [("75", Verdict.COMPLIES), ("74.9", Verdict.DOES_NOT_COMPLY)])
    def test_beyond_all_thirty(self, value: str, verdict: Verdict) -> None:
        assert judged(spread("84", "116"), ["100"] * 20, [value]).verdict is verdict

    def test_the_reason_says_so(self) -> None:
        assert all_words(judged(["100"] * 10, others=["60"]).reasons) == (
            "Unit 31 lies outside 75 to 125 % of the mean of the sample, although the test sample left it out; a "
            "unit known to be beyond the outer limit is not hidden.",
        )

    def test_a_first_stage_that_passed_says_that_all_thirty_would_not(self) -> None:
        result = judged(["100"] * 10, spread("84", "84", "116", "116", n=20))
        assert result.verdict is Verdict.COMPLIES
        assert all_words(result.reasons) == (
            "0 units of 10 outside 85 to 115 % of the mean (at most 1 allowed), none outside 75 to 125 %.",
            "The first stage ends the test, yet all 30 units together would not meet the second stage: 4 outside 85 to "
            "115 % of the mean.",
        )


class TestSharingOut:
    """Units are shared out by their marks; where nobody marked any, by how many they are and never by their order."""

    @staticmethod
    def shared(n: int, marked: Sequence[int | None] | None = None) -> Stages:
        return split_by_stage(
            measured(["100"] * n), marked=[None] * n if marked is None else marked, first_size=10, second_size=20
        )

    @pytest.mark.parametrize(
        ("n", "first", "second", "others"),
        [(9, 9, 0, 0), (10, 10, 0, 0), (11, 0, 0, 11), (29, 0, 0, 29), (30, 30, 0, 0), (31, 0, 0, 31)],
    )
    def test_without_marks_ten_are_the_first_stage_thirty_are_both_and_other_numbers_neither(
        self, n: int, first: int, second: int, others: int
    ) -> None:
        stages = self.shared(n)
        assert (len(stages.first), len(stages.second), len(stages.others)) == (first, second, others)
        assert all_words(stages.remarks) == ()
        assert stages.together == (n == 30)
        assert (stages.unclear is not None) == (n not in {9, 10, 30})

    @pytest.mark.parametrize(("n", "picked", "first", "together"), [(14, 10, 10, False), (34, 30, 30, True)])
    def test_the_test_sample_picks_ten_or_thirty(self, n: int, picked: int, first: int, together: bool) -> None:
        names = [str(unit) for unit in range(n, n - picked, -1)]
        stages = split_by_stage(measured(["100"] * n), marked=[None] * n, picked=names, first_size=10, second_size=20)
        assert {unit.unit for unit in stages.first} == set(names)
        assert (len(stages.first), len(stages.others), stages.together) == (first, n - picked, together)

    def test_units_beside_the_test_are_counted_apart(self) -> None:
        stages = self.shared(14, [0, 0, 0, 0, *[1] * 10])
        assert (len(stages.first), len(stages.others), stages.remarks) == (10, 4, ())

    def test_thirty_that_count_together_are_judged_as_at_the_second_stage(self) -> None:
        result = judge_contents(self.shared(30), rule=B, active="drug", scale=PERCENT)
        assert (result.verdict, result.n, result.figures["stage"]) == (Verdict.COMPLIES, 30, 2)
        assert all_words(result.reasons) == (
            "Nobody marked which of the 30 units came first: they count together, as at the second stage.",
            "0 units of 30 outside 85 to 115 % of the mean (at most 3 allowed), none outside 75 to 125 %.",
        )

    def test_what_is_missing_is_which_ten_came_first(self) -> None:
        result = judge_contents(self.shared(24), rule=B, active="drug", scale=PERCENT)
        assert (result.verdict, words(result.missing)) == (
            Verdict.NOT_ASSESSED,
            "which 10 units came first (Stage, or Test sample)",
        )
        assert all_words(result.reasons) == (
            "24 units were measured, and nobody marked which 10 came first (or which 30 are those of both stages). "
            "Write 1 or 2 under Stage, or yes under Test sample beside the units of the test.",
        )

    def test_marks_count_wherever_they_stand(self) -> None:
        stages = self.shared(12, [2, 1, None, 2, *[1] * 8])
        assert [unit.unit for unit in stages.first] == ["2", "5", "6", "7", "8", "9", "10", "11", "12"]
        assert [unit.unit for unit in stages.second] == ["1", "4"]
        assert [unit.unit for unit in stages.others] == ["3"]
        assert all_words(stages.remarks) == (
            "1 assayed unit without a stage, counted apart: write 2 beside what belongs to the second stage.",
        )

    def test_with_only_the_second_stage_marked_the_unmarked_first_rows_are_the_first_stage(self) -> None:
        stages = self.shared(30, [None] * 10 + [2] * 20)
        assert [unit.unit for unit in stages.first] == [str(n) for n in range(1, 11)]
        assert len(stages.second) == 20
        assert (stages.others, stages.remarks) == ((), ())

    def test_a_second_stage_alone_leaves_the_first_empty(self) -> None:
        stages = self.shared(20, [2] * 20)
        assert (len(stages.first), len(stages.second)) == (0, 20)
        result = judge_contents(stages, rule=B, active="drug", scale=PERCENT)
        assert result.verdict is Verdict.TOO_FEW_UNITS
        assert words(result.missing) == "the contents of the 10 units of the first stage"
        assert all_words(result.reasons) == (
            "20 units of the second stage entered and none of the first; the second stage judges all 30 units "
            "together, so the first 10 must be there.",
        )

    def test_too_many_marks_leave_it_open_which_ten_count(self) -> None:
        stages = self.shared(12, [1] * 12)
        assert stages.unclear is not None
        assert words(stages.unclear) == (
            "12 units are marked stage 1; the rule knows 10. Mark those 10, and write 0 under Stage beside units that "
            "were assayed beside the test."
        )


def brute_force(first: Sequence[Decimal], second: Sequence[Decimal], others: Sequence[Decimal]) -> Verdict:
    """Test B once more, in whole tenths and without division."""

    def far(value: int, values: Sequence[int], percent: int) -> bool:
        return abs(len(values) * value - sum(values)) * 100 > percent * sum(values)

    one, two, rest = ([int(value * 10) for value in stage] for stage in (first, second, others))
    beyond = sum(far(value, one, 15) for value in one)
    if len(one) < 10:
        return Verdict.TOO_FEW_UNITS
    if any(far(value, one, 25) for value in one) or beyond > 3:
        return Verdict.DOES_NOT_COMPLY
    if beyond <= 1:
        # Where all thirty were assayed, the twenty are laid about the mean of all.
        about = one + two if len(two) == 20 else one
        hidden = any(far(value, about, 25) for value in (*two, *rest))
        return Verdict.DOES_NOT_COMPLY if hidden else Verdict.COMPLIES
    if len(two) < 20:
        return Verdict.SECOND_STAGE
    pool = one + two
    if any(far(value, pool, 25) for value in (*pool, *rest)):
        return Verdict.DOES_NOT_COMPLY
    return Verdict.COMPLIES if sum(far(value, pool, 15) for value in pool) <= 3 else Verdict.DOES_NOT_COMPLY


def contents(low: str = "70", high: str = "130") -> st.SearchStrategy[Decimal]:
    near_the_limits = st.sampled_from([Decimal(value) for value in ("84", "85", "86", "100", "115", "116", "75")])
    return st.one_of(near_the_limits, st.decimals(min_value=Decimal(low), max_value=Decimal(high), places=1))


firsts = st.lists(contents("82", "118"), min_size=8, max_size=10)
seconds = st.one_of(st.just([]), st.lists(contents("82", "118"), min_size=18, max_size=20))
rests = st.lists(contents(), max_size=2)


ONE_FAR_OFF = [Decimal(84)] * 5 + [Decimal(85), *[Decimal(100)] * 3, Decimal(115)]


@given(firsts, seconds, rests)
@example(ONE_FAR_OFF, [*[Decimal(84)] * 19, Decimal(115)], [])
def test_the_verdict_equals_one_reckoned_in_whole_tenths(
    first: list[Decimal], second: list[Decimal], others: list[Decimal]
) -> None:
    assert judged(first, second, others).verdict is brute_force(first, second, others)


@given(firsts, seconds, st.randoms(use_true_random=False))
def test_the_order_within_a_stage_does_not_matter(first: list[Decimal], second: list[Decimal], random: Any) -> None:
    other_first, other_second = list(first), list(second)
    random.shuffle(other_first)
    random.shuffle(other_second)
    one, other = judged(first, second), judged(other_first, other_second)
    assert one.verdict is other.verdict
    assert one.figures == other.figures


@given(firsts, seconds, st.decimals(min_value=Decimal("0.01"), max_value=Decimal("9"), places=2))
def test_the_unit_of_measure_does_not_matter(first: list[Decimal], second: list[Decimal], label: Decimal) -> None:
    """Contents in mg of a label claim, and the same contents in % of label, give one verdict and one mean."""
    in_percent = judged(first, second)
    in_mg = judged(
        [value * label / 100 for value in first],
        [value * label / 100 for value in second],
        scale=Scale(unit="mg", label=Fraction(label)),
    )
    assert in_mg.verdict is in_percent.verdict
    assert in_mg.figures["mean_percent"] == in_percent.figures["mean_percent"]
    assert in_mg.figures["rsd_percent"] == in_percent.figures["rsd_percent"]


@given(firsts, seconds, st.integers(min_value=1, max_value=15))
def test_tighter_limits_never_turn_a_failure_into_a_pass(
    first: list[Decimal], second: list[Decimal], inner: int
) -> None:
    tighter = replace(B, inner_percent=Decimal(inner), outer_percent=Decimal(inner + 10))
    if judged(first, second, rule=tighter).verdict is Verdict.COMPLIES:
        # A pass by tighter limits may still owe a second stage by none: the wider limits can only count fewer units.
        assert judged(first, second).verdict is Verdict.COMPLIES


@given(firsts, seconds, contents("1", "300"))
def test_a_further_unit_never_turns_a_failure_into_a_pass(
    first: list[Decimal], second: list[Decimal], further: Decimal
) -> None:
    before, after = judged(first, second), judged(first, second, [further])
    if before.verdict is not Verdict.COMPLIES:
        assert after.verdict is before.verdict
    elif after.verdict is not Verdict.COMPLIES:
        assert after.verdict is Verdict.DOES_NOT_COMPLY
        assert [unit.unit for unit in after.outside if unit.beyond_outer and not unit.in_sample]


class TestAllThirtyAssayedAtOnce:
    """Clauses 2 and 7: the average is that of the units tested; of units beyond the first ten that of all thirty."""

    def test_a_unit_beside_the_first_ten_is_laid_about_the_mean_of_all_thirty(self) -> None:
        # About 100, the mean of the first ten, 126.5 lies outside 75 to 125 %; about that of all thirty it lies inside.
        first, second = [100] * 10, ["126.5", *[104] * 19]
        assert judged(first, second).verdict is Verdict.COMPLIES
        assert judged(first, ["126.5", *[100] * 19]).verdict is Verdict.DOES_NOT_COMPLY
        assert judged(first, ["126.5"], [104] * 19).verdict is Verdict.DOES_NOT_COMPLY

    def test_a_unit_inside_about_ten_and_outside_about_thirty_is_not_hidden(self) -> None:
        second = [124, *[97] * 19]
        assert judged([100] * 10, second).verdict is Verdict.DOES_NOT_COMPLY

    @given(
        contents=st.lists(st.sampled_from([74, 76, 84, 86, 96, 100, 104, 114, 116, 126]), min_size=30, max_size=33),
        inner=st.sampled_from([Decimal(5), Decimal(10), Decimal(14)]),
        passes=st.sampled_from([0, 1]),
    )
    def test_tighter_limits_never_turn_a_failure_into_a_pass(
        self, contents: list[int], inner: Decimal, passes: int
    ) -> None:
        parts = contents[:10], contents[10:30], contents[30:]
        tighter = replace(B, inner_percent=inner, passes_with=passes)
        if judged(*parts).verdict is Verdict.DOES_NOT_COMPLY:
            assert judged(*parts, rule=tighter).verdict is Verdict.DOES_NOT_COMPLY


@pytest.mark.parametrize(("low", "verdict"), [("95", Verdict.COMPLIES), ("95.1", Verdict.DOES_NOT_COMPLY)])
def test_a_bound_of_the_house_on_the_mean_holds_for_all_thirty_units(low: str, verdict: Verdict) -> None:
    """Two of ten lie outside and the second stage follows; its mean of 95 % of label is held against the bound too."""
    first = [80, 80, *[105] * 8]
    second = [Fraction(95 * 30 - sum(first), 20)] * 20
    bounded = replace(B, mean_low_percent=Decimal(low))
    result = judged(first, second, rule=bounded)
    assert (result.n, result.verdict) == (30, verdict)
    if verdict is Verdict.DOES_NOT_COMPLY:
        assert "mean" in all_words(result.reasons)[-1]
