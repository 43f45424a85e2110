"""What to do now: first what is missing, never a draw that changes nothing, never "go on" past a likely settling."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from qc.batch import Batch
from qc.judging.advice import beside_the_tests, next_steps
from qc.results import (
    BatchVerdict,
    CauseFound,
    JudgedBatch,
    Limit,
    PourTrend,
    TestResult,
    Trend,
    TrendFlag,
    Verdict,
    message,
)
from qc.say.messages import all_words, words

Judge = Callable[..., JudgedBatch]
MakeBatch = Callable[..., Batch]
NO_CHANGE = PourTrend(mass=Trend(flag=TrendFlag.NONE_SEEN, n=20))
GO_ON = "These tests ask for nothing more. Go on to the other checks of release."


def in_words(tests: tuple[TestResult, ...], **asked: Any) -> tuple[str, ...]:
    return all_words(next_steps(tests, **asked))


def due(rule: str, *, units: tuple[str, ...] = ("3", "4"), met: bool | None = None) -> TestResult:
    criteria = (Limit(what="beyond_inner", figure=2, bound=1, met=met),)
    return TestResult(
        id="content-uniformity",
        rule=rule,
        verdict=Verdict.SECOND_STAGE,
        active="drug",
        more_units=len(units),
        next_units=units,
        criteria=criteria,
    )


def not_assessed(**changes: Any) -> TestResult:
    return TestResult(
        **{
            "id": "content-uniformity",
            "rule": "ph-eur-2.9.6-b",
            "verdict": Verdict.NOT_ASSESSED,
            "required": False,
            "missing": message("advice.contents", number=3, mass_route=""),
            "reasons": ("No whole unit was assayed.",),
            **changes,
        }
    )


def test_one_draw_that_serves_two_tests_is_one_step() -> None:
    assert in_words((due("a"), due("b")), verdict=BatchVerdict.UNDECIDED) == (
        "Assay 2 more units for drug (for a and b), drawn at random: 3 and 4.",
    )


def test_two_draws_are_two_steps() -> None:
    steps = in_words((due("a"), due("b", units=("5",))), verdict=BatchVerdict.UNDECIDED)
    assert steps == (
        "Assay 2 more units for drug (a), drawn at random: 3 and 4.",
        "Assay 1 more unit for drug (b), drawn at random: 5.",
    )


def test_a_second_stage_that_cannot_clear_the_sample_holds_the_batch() -> None:
    assert in_words((due("a", units=(), met=False),), verdict=BatchVerdict.UNDECIDED) == (
        "Hold the batch: no second stage can clear drug (a), so no further units are asked for. Look for the cause.",
    )


def test_a_batch_judged_on_mass_alone_asks_first_for_assays_and_names_the_units() -> None:
    steps = in_words((not_assessed(),), verdict=BatchVerdict.COMPLIES, to_assay=("1", "7", "9"))
    assert steps == (
        "The content was not assessed. Assay 3 whole units, drawn at random: 1, 7 and 9 (ph-eur-2.9.6-b).",
    )


def test_a_list_of_another_length_than_the_test_asks_for_is_not_named() -> None:
    steps = in_words((not_assessed(active="drug"),), verdict=BatchVerdict.COMPLIES, to_assay=("1",))
    assert steps == ("The content of drug was not assessed. Assay 3 whole units (ph-eur-2.9.6-b).",)


def test_a_failing_batch_is_not_sent_to_the_assay() -> None:
    (step,) = in_words((not_assessed(),), verdict=BatchVerdict.DOES_NOT_COMPLY, to_assay=("1", "7", "9"))
    assert step.startswith("Hold the batch. Look for the cause before anything is weighed or assayed again")


def test_without_a_dose_it_is_said_that_the_content_test_may_be_asked_for(make_batch: MakeBatch, judge: Judge) -> None:
    judged = judge(make_batch(active=None), rules="ph-eur")
    assert judged.verdict is BatchVerdict.COMPLIES
    assert all_words(judged.next_steps)[0] == (
        "The dose is not known, so it cannot be told whether the content test is asked for. Enter the label claim and "
        "the planned mass (ph-eur-2.9.6-b)."
    )
    assert GO_ON not in all_words(judged.next_steps)


def test_a_batch_that_fails_elsewhere_lists_no_draw(make_batch: MakeBatch, judge: Judge) -> None:
    contents = ("84", "116", *("100",) * 8)
    undecided = judge(make_batch(contents=contents))
    failed = judge(make_batch(masses=("2.0",) * 23 + ("1.5",), contents=contents))
    assert [test.more_units for test in undecided.tests if test.verdict is Verdict.SECOND_STAGE] == [20, 20]
    assert undecided.tests[1].next_units
    assert failed.verdict is BatchVerdict.DOES_NOT_COMPLY
    due_still = [test for test in failed.tests if test.verdict is Verdict.SECOND_STAGE]
    assert [(test.more_units, test.next_units) for test in due_still] == [(0, ()), (0, ())]


class TestBesideTheTests:
    """A batch that meets every test may still have settled."""

    def test_settling_is_named_above_one_half_and_not_at_it(self) -> None:
        for probability, named in ((0.49, 0), (0.5, 0), (0.51, 1)):
            causes = (CauseFound(cause="settling-in-unit", probability=probability),)
            assert len(beside_the_tests(causes, trend=NO_CHANGE)) == named

    def test_another_cause_is_not_named(self) -> None:
        assert beside_the_tests((CauseFound(cause="uneven-fill", probability=0.99),), trend=NO_CHANGE) == ()

    def test_a_clear_change_is_named_with_its_series(self) -> None:
        clear = Trend(flag=TrendFlag.CLEAR, n=10)
        trend = PourTrend(mass=clear, content={"drug": clear})
        assert all_words(beside_the_tests((), trend=trend)) == (
            "the clear change of the mass along the pour",
            "the clear change of the content of drug along the pour",
        )

    def test_the_steps_do_not_say_go_on(self) -> None:
        causes = (CauseFound(cause="settling-in-unit", probability=0.995),)
        steps = in_words((), verdict=BatchVerdict.COMPLIES, beside=beside_the_tests(causes, trend=NO_CHANGE))
        assert steps == (
            "The tests are met. Beside them, look at settling inside the units, which tests of whole units do not see "
            "(probability over 99 %) before release.",
        )

    def test_a_sound_batch_goes_on(self) -> None:
        assert in_words((), verdict=BatchVerdict.COMPLIES) == (GO_ON,)


def test_content_is_not_said_to_be_missing_where_it_was_assessed(make_batch: MakeBatch, judge: Judge) -> None:
    judged = judge(make_batch(contents=("100",) * 10, planned_mass_g=Decimal("2.0")))
    assert GO_ON in all_words(judged.next_steps)


def test_nothing_is_said_of_units_left_where_it_is_not_known_how_many_were_poured(
    make_batch: Callable[..., Batch], judge: Callable[..., JudgedBatch]
) -> None:
    def said(**facts: object) -> list[str]:
        judged = judge(make_batch(("2.00",) * 19, **facts))
        return [words(one.text) for one in judged.notices if "are left in this batch" in words(one.text)]

    assert said() == []
    assert said(units_poured=19) == [
        "The test asks for 1 more unit, and 0 are left in this batch: the test cannot be finished as written. How to "
        "judge so small a batch is for local procedure."
    ]
