"""What to do now: first what is missing, never a draw that changes nothing, never "go on" past a likely settling."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from itertools import product
from typing import Any

import pytest
from msgspec.structs import replace

from qc.batch import Assay, Base, Batch, Check
from qc.causes.weigh import weigh_causes
from qc.judging.advice import OPEN_FINDINGS, names_units, next_steps, units_asked_for
from qc.pour.lots import drawn_order, seed_of
from qc.results import (
    BatchVerdict,
    CauseFound,
    JudgedBatch,
    Limit,
    NextMeasurement,
    PourTrend,
    TestResult,
    Trend,
    TrendFlag,
    UnitLedger,
    Verdict,
    message,
)
from qc.results.messages import Message
from qc.say.messages import all_words
from qc.say.names import verdict_of

ELSE = "Reject the batch, or judge it by another test that is authorised."

Judge = Callable[..., JudgedBatch]
MakeBatch = Callable[..., Batch]
NO_CHANGE = PourTrend(mass=Trend(flag=TrendFlag.NONE_SEEN, n=20))
BOTH = "Ph. Eur. 2.9.6, test B and Ph. Eur. 2.9.40 / USP <905> / JP 6.02"
MEAN = (
    "No limits are known for the mean content of drug: compare with those of the monograph, or enter Assay limits and "
    "make a new report."
)
NONE_LEFT = "No unit is left to release: close the record of this batch."
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


def test_a_batch_judged_on_mass_alone_asks_first_for_assays_and_names_the_units() -> None:
    steps = in_words((not_assessed(),), verdict=BatchVerdict.COMPLIES, to_assay=("1", "7", "9"))
    assert steps == (
        "The content was not assessed. Assay 3 whole units, drawn at random: 1, 7 and 9 (Ph. Eur. 2.9.6, test B).",
    )


def test_a_list_of_another_length_than_the_test_asks_for_is_not_named() -> None:
    steps = in_words((not_assessed(active="drug"),), verdict=BatchVerdict.COMPLIES, to_assay=("1",))
    assert steps == ("The content of drug was not assessed. Assay 3 whole units (Ph. Eur. 2.9.6, test B).",)


def test_a_failing_batch_is_not_sent_to_the_assay() -> None:
    (step,) = in_words((not_assessed(),), verdict=BatchVerdict.DOES_NOT_COMPLY, to_assay=("1", "7", "9"))
    assert step.startswith("Hold the batch and look for the cause. Reject it unless an error of measurement is")


def test_without_a_dose_it_is_said_that_the_content_test_may_be_asked_for(make_batch: MakeBatch, judge: Judge) -> None:
    judged = judge(make_batch(active=None), rules="ph-eur")
    assert judged.verdict is BatchVerdict.COMPLIES
    assert all_words(judged.next_steps)[0] == (
        "The content was not assessed: enter the label claim or the planned mass (Ph. Eur. 2.9.6, test B)."
    )
    assert [one.id for one in judged.next_steps[1:] if isinstance(one, Message)] == [
        "advice.usual_checks",
        "advice.name_it",
        "advice.record_lacks",
    ]
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


def ledger_of(left: int) -> UnitLedger:
    """Of so many units, none of which was used."""
    none = dict.fromkeys(("assayed", "other_tests", "rejected", "retained", "left"), 0)
    return UnitLedger(whole=left, weighed_and_kept=left, released=None, released_at_most=left, **none)


SETTLED = CauseFound(cause="settling-in-pour", probability=0.9)
UNEVEN = CauseFound(cause="uneven-fill", probability=0.6)
LIKELY_SOUND = CauseFound(cause="sound", probability=0.95)
OUTLIER = message("causes.outlier", kind="mass", unit="7", typed=Decimal("2.53"), percent=25.4, spreads=12.0)
SLIP = CauseFound(cause="slip-of-pen", probability=0.9, evidence=(OUTLIER,))
CLEAR = PourTrend(mass=Trend(flag=TrendFlag.CLEAR, n=20))
UNKNOWN = message("visual.unknown_word", word="blob", units=("4",), nearest=(), known=("chipped",))
CONFIRM = "Confirm it under Remarks, or correct it and make a new report."
LOOK_AT = f"Look at the raw record of the mass of unit 7: 2.53 was entered, +25.4 % from the median. {CONFIRM}"


VERDICTS = (BatchVerdict.COMPLIES, BatchVerdict.DOES_NOT_COMPLY, BatchVerdict.UNDECIDED)
CHECK = (
    "check the raw record, label claim, formula, weighing of the active, filling and assay: if each stands, this is "
    "closed; if not, correct it and make a new report. The outcome goes under Remarks"
)


class TestBesideTheTests:
    """A batch that meets every test may still have gone wrong."""

    @pytest.mark.parametrize("cause", ["settling-in-unit", "uneven-fill", "something-else"])
    def test_a_cause_is_named_above_one_half_and_not_at_it(self, cause: str) -> None:
        for probability, goes_on in ((0.49, True), (0.5, True), (0.51, False)):
            causes = (CauseFound(cause=cause, probability=probability),)
            assert (in_words((), verdict=BatchVerdict.COMPLIES, causes=causes) == (GO_ON,)) is goes_on

    def test_of_a_fault_that_is_not_modelled_it_is_said_what_to_check(self) -> None:
        causes = (CauseFound(cause="something-else", probability=0.95),)
        named = "an unlisted cause, probability 95 %"
        met, failed, waiting = (in_words((), verdict=verdict, causes=causes)[0] for verdict in VERDICTS)
        # What is open of a batch that waits for a test is closed as of one that complies.
        assert met == waiting == f"Before release, because of {named}: {CHECK}."
        assert failed.startswith("Hold the batch and look for the cause. Reject it")

    @pytest.mark.parametrize(("probability", "named"), [(0.19, False), (0.2, True), (0.9, True)])
    def test_a_suspected_transcription_error_names_the_print_out(self, probability: float, named: bool) -> None:
        slip = CauseFound(cause="slip-of-pen", probability=probability, evidence=(OUTLIER,))
        for verdict in BatchVerdict:
            assert (LOOK_AT in in_words((), verdict=verdict, causes=(slip,))) is named

    def test_what_is_likely_and_what_clearly_changed_stand_in_one_sentence(self) -> None:
        clear = Trend(flag=TrendFlag.CLEAR, n=10)
        trend = PourTrend(mass=clear, content={"drug": clear})
        assert in_words((), verdict=BatchVerdict.COMPLIES, causes=(SETTLED,), trend=trend) == (
            "Before release, because of active settled in the melt during the pour, probability 90 %, and the clear "
            "change of the mass along the pour and the clear change of the content of drug along the pour: "
            f"{CHECK}.",
        )

    def test_an_open_finding_is_to_be_cleared_up(self) -> None:
        assert in_words((), verdict=BatchVerdict.COMPLIES, findings=(UNKNOWN, OUTLIER)) == (
            'Clear this up before release, with the outcome under Remarks: "blob" (unit 4) is no known defect and was '
            "not counted. The words are: chipped.",
        )

    def test_a_sound_batch_goes_on(self) -> None:
        assert in_words((), verdict=BatchVerdict.COMPLIES, causes=(LIKELY_SOUND,)) == (GO_ON,)


def test_facts_of_the_record_that_do_not_fit_keep_a_batch_from_going_on(make_batch: MakeBatch, judge: Judge) -> None:
    judged = judge(make_batch(contents=("100",) * 10, made_on="2026-03-14", expiry="2026-03-01"))
    assert judged.verdict is BatchVerdict.COMPLIES
    step, mean, *_ = all_words(judged.next_steps)
    assert step.startswith("Clear this up before release, with the outcome under Remarks: ")
    assert mean == MEAN


def test_what_a_record_leaves_open_is_asked_for_whatever_the_tests_say(make_batch: MakeBatch, judge: Judge) -> None:
    check = Check(name="disintegration", result="9; 10; 9 min")
    facts: dict[str, Any] = {"product": "Suppositories", "number": "7", "units_poured": 40, "checks": (check,)}
    lacks = {"number": None, "units_poured": None}
    usual = (
        "which suppositories usually have: enter the outcome and make a new report, or write under Remarks why none is"
    )
    memory, text = (
        "The limit of disintegration, at most ",
        "the text in force (Ph. Eur. 2.9.2, times of 1145 (rectal) and 1164 (vaginal))",
    )
    drawn = "Write under Remarks how the units of the content test were drawn."
    deviation = "Open a deviation for what is not met; its number goes under Remarks."

    def asked(**changes: Any) -> list[str]:
        return [*all_words(judge(make_batch(contents=("100",) * 10, **{**facts, **changes})).next_steps)]

    assert asked()[1:] == [
        f"Nothing is on record of appearance and packing and label, {usual} needed.",
        f"{memory}30 min, comes from memory: read {text} and write under Remarks that the limit is the same, or enter "
        "its limit among the checks and make a new report.",
        drawn,
    ]
    assert tuple(asked(**lacks)[-3:]) == (
        "Write the batch number into the blanks above before this is signed or filed, or enter it and make a new "
        "report.",
        "The record lacks the number of units poured, without which it is not known how many can be released: enter it "
        "and make a new report.",
        drawn,
    )
    failing = {"masses": ("2.0",) * 22 + ("1.5",) * 2}
    assert asked(**failing)[1:] == [deviation, drawn]
    assert asked(**failing, deviation="D-1")[1:] == [drawn]
    late = replace(check, result="9; 10; 31 min")
    assert asked(checks=(late,), base=Base.FATTY)[1:] == [
        deviation,
        f"{memory}30 min, comes from memory: compare with {text} before the batch is rejected.",
        drawn,
    ]


def test_a_limit_that_the_record_states_is_none_from_memory(make_batch: MakeBatch, judge: Judge) -> None:
    def of(limit: str | None) -> TestResult:
        check = Check(name="disintegration", result="9; 10; 9 min", limit=limit)
        tests = judge(make_batch(contents=("100",) * 10, base=Base.FATTY, checks=(check,))).tests
        return next(test for test in tests if test.id == "disintegration")

    # A longer limit does not take the place of the one from memory.
    assert [of(limit).unchecked for limit in (None, "at most 60 min", "at most 30 min")] == [True, True, False]
    assert [verdict_of(of(limit)) for limit in (None, "at most 30 min")] == ["complies", "complies"]


def test_how_samples_were_drawn_is_told_where_it_is_known(make_batch: MakeBatch, judge: Judge) -> None:
    def told(units: tuple[str, ...]) -> list[str]:
        assays = tuple(Assay(unit=unit, active="drug", content_mg=Decimal(100)) for unit in units)
        judged = judge(replace(batch, assays=assays))
        return [one for one in all_words(judged.cannot_say) if "drawn" in one]

    batch = make_batch(masses=("2.0",) * 24, number="7")
    lot = drawn_order(batch, seed=seed_of(batch))
    assert told(lot[:10]) == ["The units of the content test are those drawn at random by this program."]
    assert told(lot[1:11]) == ["How the units of the content test were drawn is not on record."]
    assert told(lot) == []


def test_what_both_stages_have_to_keep_stands_with_a_second_stage_that_is_due(
    make_batch: MakeBatch, judge: Judge
) -> None:
    tests = judge(make_batch(contents=("84", "116", *("100",) * 8))).tests
    last = [all_words(test.reasons)[-1] for test in tests if test.verdict is Verdict.SECOND_STAGE]
    assert last == [
        "First stage not passed. Second stage: of all 30 units not more than 3 outside ±15 % of their mean, none "
        "outside ±25 %.",
        "First stage not passed. Second stage: AV of all 30 units at most 15.0, no unit outside ±25.0 % of M.",
    ]


def test_a_slip_among_numbers_that_are_all_alike_has_its_record_named(make_batch: MakeBatch) -> None:
    """Most masses are 2.000 g, so that their usual distance from the median is zero."""
    batch = make_batch(masses=("2.200", *("2.000",) * 19), active=None)
    causes = weigh_causes(batch, priors=None, trend=None).causes
    assert causes[0].cause == "slip-of-pen"
    assert in_words((), verdict=BatchVerdict.UNDECIDED, causes=causes) == (
        f"Look at the raw record of the mass of unit 1: 2.200 was entered, +10.0 % from the median. {CONFIRM}",
    )


class TestAFailure:
    def test_the_likeliest_cause_stands_beside_the_hold(self) -> None:
        test = TestResult(id="mass-uniformity", rule="ph-eur-2.9.5", verdict=Verdict.DOES_NOT_COMPLY)
        assert in_words((test,), verdict=BatchVerdict.DOES_NOT_COMPLY, causes=(UNEVEN,)) == (
            "Hold the batch and look for the cause. Reject it unless an error of measurement is proved; a second "
            "sample does not replace this record.",
        )

    def test_papers_that_fail_are_to_be_put_right(self) -> None:
        tests = tuple(
            TestResult(id=id, rule="x", verdict=Verdict.DOES_NOT_COMPLY)
            for id in ("reconciliation", "packing-checklist")
        )
        assert in_words(tests, verdict=BatchVerdict.DOES_NOT_COMPLY) == (
            "Hold the batch until this is cleared up in writing, and reject it if it cannot be: reconciliation and "
            "packing and label.",
        )


class TestWhatTheBatchCannotSupply:
    """30 units in all, 10 assayed: 20 more can be had, unless some went elsewhere."""

    FIRST = ("84", "116", *("100",) * 8)

    @pytest.mark.parametrize(
        ("poured", "facts", "said"),
        [
            (30, {}, None),
            (
                29,
                {},
                f"drug cannot be shown to comply by {BOTH}: it asks for 20 further units, "
                "and 19 can be had. That was so from the pour: the test takes 30 units, and 29 were poured. " + ELSE,
            ),
            (
                30,
                {"checks": (Check(name="disintegration", result="9; 9; 9 min"),), "base": Base.FATTY},
                f"drug cannot be shown to comply by {BOTH}: it asks for 20 further units, "
                "and 17 can be had. That was so once 13 of the 30 units had been measured, used up or left out. "
                + ELSE,
            ),
            (33, {"checks": (Check(name="disintegration", result="9; 9; 9 min"),), "base": Base.FATTY}, None),
        ],
    )
    def test_is_not_asked_for(
        self, poured: int, facts: dict[str, Any], said: str | None, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(contents=self.FIRST, units_poured=poured, **facts))
        assert judged.verdict is BatchVerdict.UNDECIDED
        steps = all_words(judged.next_steps)
        assert any("more units" in step for step in steps) is (said is None)
        assert said is None or steps[0] == said

    def test_the_first_ten_are_not_asked_of_six(self) -> None:
        step = not_assessed(active="drug", required=True, missing=message("advice.contents", number=10, mass_route=""))
        assert in_words((step,), verdict=BatchVerdict.UNDECIDED, ledger=ledger_of(6)) == (
            "drug cannot be shown to comply by Ph. Eur. 2.9.6, test B: it asks for 10 further units, and 6 can be had. "
            "That was so from the pour: the test takes 10 units, and 6 were poured. " + ELSE,
        )
        (enough,) = in_words((step,), verdict=BatchVerdict.UNDECIDED, ledger=ledger_of(10))
        assert enough == "The content of drug was not assessed. Assay 10 whole units (Ph. Eur. 2.9.6, test B)."


TESTS: dict[str, TestResult | None] = {
    "nothing open": None,
    "second stage due": due("a"),
    "second stage out of reach": due("a", units=()),
    "contents lacking": not_assessed(),
    "input lacking": not_assessed(id="mean-mass", required=True, missing=message("tests.plan")),
    "checklist not ticked": not_assessed(
        id="packing-checklist", required=True, missing=message("packing.answers", lines=["label: name"])
    ),
    "left to the signer": not_assessed(id="release-check", subject="odour", missing=""),
    "a measured test fails": TestResult(id="mass-uniformity", rule="x", verdict=Verdict.DOES_NOT_COMPLY),
    "a paper fails": TestResult(id="reconciliation", rule="x", verdict=Verdict.DOES_NOT_COMPLY),
}
TESTS["second stage out of reach"] = replace(
    due("a", units=()), more_units=0, missing=message("advice.too_few_left", asked=20, left=3, whole=24, total=30)
)
CAUSES = {"none": (), "sound": (LIKELY_SOUND,), "likely": (SETTLED,), "slip": (SLIP,), "both": (SETTLED, SLIP)}
FINDINGS = {"none": (), **{id: (message(id),) for id in OPEN_FINDINGS}, "of no weight": (OUTLIER,)}
UNDECIDED = ("second stage due", "second stage out of reach", "input lacking", "checklist not ticked")


@pytest.mark.parametrize(("at_most", "told"), [(2, True), (3, False), (None, False)])
def test_a_second_stage_that_leaves_nothing_to_release_says_so(at_most: int | None, told: bool) -> None:
    ledger = None if at_most is None else ledger_of(at_most)
    said, look = in_words((due("a"),), verdict=BatchVerdict.UNDECIDED, causes=(SETTLED,), ledger=ledger)
    # One box for either: none would stay empty for ever.
    either = "Reject the batch, or assay 2 more units for drug to learn whether it complies (a): 3 and 4. "
    assert (said == f"{either}Either way none is left to release.") is told
    assert ("Before the next pour establish the cause; most likely active settled" in look) is told


def test_a_batch_that_complies_and_has_no_unit_left_is_not_said_to_go_on() -> None:
    assert in_words((), verdict=BatchVerdict.COMPLIES, ledger=ledger_of(0)) == (NONE_LEFT,)
    said = in_words((), verdict=BatchVerdict.COMPLIES, ledger=ledger_of(0), causes=(SETTLED,))
    assert said[0] == (
        "Before the next pour establish the cause; most likely active settled in the melt during the pour, "
        "probability 90 %."
    )
    assert said[1] == NONE_LEFT


def test_units_are_named_by_assays_and_weighings() -> None:
    again = message("advice.weigh_again", units=("1", "4"))
    assert names_units(next_steps((due("a"),), verdict=BatchVerdict.UNDECIDED))
    assert names_units([message("advice.look_into", matters=[], acts=(again,))])
    assert not names_units(next_steps((), verdict=BatchVerdict.COMPLIES))
    assert not names_units([message("advice.look_into", matters=[], acts=(message("advice.undivided"),))])


def test_a_unit_that_two_assays_ask_for_is_used_up_once() -> None:
    steps = next_steps((due("a"), due("b", units=("4", "5", "6"))), verdict=BatchVerdict.UNDECIDED)
    assert units_asked_for(steps) == (frozenset("3456"), 0)
    assert units_asked_for(next_steps((not_assessed(),), verdict=BatchVerdict.UNDECIDED)) == (frozenset(), 3)


def test_causes_that_look_alike_stand_beside_the_measurement_that_tells_them_apart() -> None:
    alike = (
        CauseFound(cause="melt-thickening", probability=0.8, alike=("balance-drift",)),
        CauseFound(cause="balance-drift", probability=0.2, alike=("melt-thickening",)),
    )
    ask = [
        NextMeasurement(what=what, units=(), bits=1.0, open_bits=1.0, effort=1.0, between=between)
        for what, between in (
            ("Cut unit 3.", ("melt-thickening", "poor-mixing")),
            ("Weigh it again.", ("melt-thickening", "balance-drift")),
        )
    ]
    (said,) = in_words((), verdict=BatchVerdict.COMPLIES, causes=alike, measurements=ask)
    assert said == (
        "Before release, because of melt thickened during the pour, probability 80 %, or balance drifted while "
        f"weighing, 20 % (to distinguish them, weigh it again): {CHECK}."
    )
    failed = TestResult(id="mass-uniformity", rule="x", verdict=Verdict.DOES_NOT_COMPLY)
    (held,) = in_words((failed,), verdict=BatchVerdict.DOES_NOT_COMPLY, causes=alike, measurements=ask)
    assert "look for the cause (to distinguish them, weigh it again). Reject it unless" in held


@pytest.mark.parametrize("test", TESTS)
def test_every_combination(test: str) -> None:
    """By the ids of the messages: what must be said, and what must not stand beside it."""
    one, fails = TESTS[test], "fails" in test
    verdict = BatchVerdict.COMPLIES
    if fails:
        verdict = BatchVerdict.DOES_NOT_COMPLY
    elif test in UNDECIDED:
        verdict = BatchVerdict.UNDECIDED
    for cause, finding, trend in product(CAUSES, FINDINGS, (NO_CHANGE, CLEAR)):
        said = next_steps(
            () if one is None else (one,),
            verdict=verdict,
            causes=CAUSES[cause],
            trend=trend,
            findings=FINDINGS[finding],
        )
        ids = Counter(step.id for step in said)
        open_finding = finding in OPEN_FINDINGS
        matters = (cause in ("likely", "both")) + (trend is CLEAR)
        expected = Counter(
            {
                "advice.print_out": cause in ("slip", "both"),
                "advice.hold": test == "a measured test fails",
                "advice.hold_for": test == "a paper fails",
                "advice.more_units": test == "second stage due",
                "advice.cannot_be_shown": test == "second stage out of reach",
                "advice.assay": test == "contents lacking",
                "advice.enter": test == "input lacking",
                "packing.to_tick": test == "checklist not ticked",
                "checks.left_to_signer": test == "left to the signer",
                "advice.look_into": bool(matters) and not fails,
                "advice.open_finding": open_finding and not fails,
            }
        )
        expected["advice.nothing_more"] = verdict is BatchVerdict.COMPLIES and not sum(expected.values())
        assert ids == +expected, (cause, finding, trend)
        if expected["advice.look_into"]:
            (looked,) = (step.values["matters"] for step in said if step.id == "advice.look_into")
            assert len(looked) == matters


def test_content_is_not_said_to_be_missing_where_it_was_assessed(make_batch: MakeBatch, judge: Judge) -> None:
    judged = judge(make_batch(contents=("100",) * 10, planned_mass_g=Decimal("2.0")))
    assert all_words(judged.next_steps)[0] == MEAN
    assert [one.id for one in judged.next_steps[1:] if isinstance(one, Message)] == [
        "advice.usual_checks",
        "advice.name_it",
        "advice.record_lacks",
        "advice.say_how_drawn",
    ]


def test_nothing_is_said_of_units_left_where_it_is_not_known_how_many_were_poured(
    make_batch: Callable[..., Batch], judge: Callable[..., JudgedBatch]
) -> None:
    def said(**facts: object) -> list[str]:
        judged = judge(make_batch(("2.00",) * 19, active=None, **facts))
        return [step for step in all_words(judged.next_steps) if "2.9.5" in step]

    assert said() == [
        "Weigh 1 more unit (Ph. Eur. 2.9.5); every unit entered is weighed already, so enter further units of the "
        "batch if there are any."
    ]
    assert said(units_poured=19) == [
        "The batch cannot be shown to comply by Ph. Eur. 2.9.5: it asks for 1 further unit, and 0 can be had. That was "
        "so from the pour: the test takes 20 units, and 19 were poured. " + ELSE
    ]
