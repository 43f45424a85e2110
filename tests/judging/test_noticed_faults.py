"""What faults put into the rooms of judging at random had changed without a test that failed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction

import pytest
from msgspec.structs import replace

from qc.batch import Base, Batch, Check
from qc.causes.weigh import CausesWeighed
from qc.judging.advice import acts_of, names_units
from qc.judging.applicable import asked_tests
from qc.judging.assay_limits import judge_assay
from qc.judging.closing import MEASURED
from qc.judging.judge import judge_batch
from qc.results import CauseFound, JudgedBatch, Message, NextMeasurement, TestResult, Verdict
from qc.results.messages import message
from qc.rules.kinds.assay import AssayRule
from qc.rules.records import Asks, RuleSet
from qc.rules.rule_books import RuleBook, load_rule, rule_book

Make, Judge = Callable[..., Batch], Callable[..., JudgedBatch]
WEIGH_AGAIN = message("advice.weigh_again", units=("3",), within_g=None)


@pytest.mark.parametrize(
    ("steps", "named"),
    [
        (("Hold the batch.", message("advice.nothing_more")), False),
        (("Hold the batch.", WEIGH_AGAIN), True),
        ((message("advice.act_too", acts=(WEIGH_AGAIN,)),), True),
    ],
)
def test_steps_name_units_whether_other_steps_are_words_or_not(steps: Sequence[Message | str], named: bool) -> None:
    assert names_units(steps) is named


@pytest.mark.parametrize("first", ["chp-0107", "ph-eur-2.9.5"])
def test_as_many_masses_are_asked_for_as_by_the_largest_mass_test_of_a_set(first: str, make_batch: Make) -> None:
    rules = {id: load_rule(id) for id in (first, "chp-0107", "ph-eur-2.9.5")}
    asks = tuple(Asks(rule=id, forms=(), required=True) for id in rules)
    book = RuleBook(set=RuleSet(id="house", title="two mass tests", asks=asks), rules=rules)
    asked = asked_tests(make_batch(), form="suppositories", actives=(), book=book)
    assert {one.rule.id: one.masses for one in asked} == {"chp-0107": 20, "ph-eur-2.9.5": 20}


@pytest.mark.parametrize(
    ("pooled", "contents", "differ"),
    [("90", (100,), False), ("90", (100, 100), True), ("100", (100, 100), False), ("100.1", (100, 100), True)],
)
def test_a_pool_differs_from_two_units_or_more_beyond_what_chance_makes_alone(
    pooled: str, contents: tuple[int, ...], differ: bool
) -> None:
    rule = load_rule("stated-assay")
    assert isinstance(rule, AssayRule)
    found = judge_assay(
        TestResult(id="batch-assay", rule=rule.id, verdict=Verdict.NOT_ASSESSED),
        pooled=Decimal(pooled),
        contents=[Fraction(one) for one in contents],
        limits=(),
        rule=rule,
        repeatability_percent=Decimal(0),
        stricter=False,
        random=True,
    )
    assert ("assay.differ" in {one.id for one in found.reasons if isinstance(one, Message)}) is differ


@pytest.mark.parametrize(("typed", "at_most"), [("at most 25 min", 25.0), ("at most 45 min", 30.0)])
def test_the_stricter_of_two_limits_stands_among_the_figures(
    typed: str, at_most: float, make_batch: Make, judge: Judge
) -> None:
    entered = Check(name="Disintegration", result="21; 24; 22 min", limit=typed)
    found = judge(make_batch(checks=(entered,), base=Base.FATTY)).tests
    assert [one.figures["at_most_min"] for one in found if one.id == "disintegration"] == [at_most]


def test_a_batch_is_judged_blind_only_where_that_is_asked(make_batch: Make) -> None:
    judged = [judge_batch(make_batch(), book=rule_book(), **asked) for asked in ({}, {"blind": True})]
    assert [one.blind for one in judged] == [False, True]


def test_what_is_remarked_of_the_record_and_of_its_balances_reaches_the_notices(make_batch: Make, judge: Judge) -> None:
    batch = make_batch(
        units_obtained=24, melt_prepared_g=Decimal(40), melt_left_g=Decimal(0), trimmings_g=Decimal(0),
        weighed_by="A", checked_by="A", balance_readability_g=Decimal("0.1"),
    )  # fmt: skip
    told = {one.text.id for one in judge(batch).notices if isinstance(one.text, Message)}
    assert told >= {"reconciliation.more_came_out", "record.one_person", "remarks.coarse_balance"}


def test_the_ends_are_assayed_against_the_inner_limit_of_the_content_test(
    make_batch: Make, judge: Judge, monkeypatch: pytest.MonkeyPatch
) -> None:
    ends = message("advice.assay_ends", units=("1", "24"))
    weighed = CausesWeighed(
        causes=(CauseFound(cause="settling-in-pour", probability=1.0),),
        next_measurements=(
            NextMeasurement(
                what=replace(ends, id=MEASURED[1]), units=("1", "24"), bits=0.4, open_bits=0.9, effort=2.0,
                between=("settling-in-pour", "sound"),
            ),
        ),
    )  # fmt: skip
    monkeypatch.setattr("qc.judging.judge.weigh_causes", lambda *_, **__: weighed)
    acts = acts_of(judge(make_batch(contents=("99", "101") * 5)).next_steps)
    assert [one.values["percent"] for one in acts if one.id == "advice.assay_ends"] == [Decimal(15)]
