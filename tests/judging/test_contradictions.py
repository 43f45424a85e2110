"""No two things that one report says contradict each other; and the rules that look for it find what is planted."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from qc.batch import Batch, Superseded
from qc.results import (
    Assurance,
    BatchVerdict,
    CauseFound,
    JudgedBatch,
    Limit,
    Outside,
    Place,
    PourAnalysis,
    PourTrend,
    TestResult,
    Trend,
    TrendFlag,
    Verdict,
    message,
)
from tests.judging.contradictions import RULES, contradictions
from tests.judging.reports_at_random import judged_at_random

Plant = Callable[[JudgedBatch], JudgedBatch]


@pytest.mark.parametrize("seed", range(60))
def test_no_report_contradicts_itself(seed: int) -> None:
    assert contradictions(judged_at_random(seed)) == []


@pytest.fixture
def sound(make_batch: Callable[..., Batch], judge: Callable[..., JudgedBatch]) -> JudgedBatch:
    """A batch that complies."""
    judged = judge(make_batch(contents=("99", "101") * 5, units_poured=30))
    assert contradictions(judged) == []
    return judged


def with_test(id: str, **changes: Any) -> Plant:
    def plant(judged: JudgedBatch) -> JudgedBatch:
        return replace(
            judged, tests=tuple(replace(test, **changes) if test.id == id else test for test in judged.tests)
        )

    return plant


def with_figure(id: str, **figures: float) -> Plant:
    def plant(judged: JudgedBatch) -> JudgedBatch:
        (test,) = (test for test in judged.tests if test.id == id)
        return with_test(id, figures={**test.figures, **figures})(judged)

    return plant


def told(*steps: Any) -> Plant:
    return lambda judged: replace(judged, next_steps=steps)


def in_ledger(**changes: int) -> Plant:
    def plant(judged: JudgedBatch) -> JudgedBatch:
        assert judged.ledger is not None
        return replace(judged, ledger=replace(judged.ledger, **changes))

    return plant


NOTHING_MORE, HOLD = message("advice.nothing_more"), message("advice.hold", causes=(), probabilities=())
LOOK = message("advice.look_into", matters=[message("advice.cause", causes=("uneven-fill",), probabilities=(0.9,))])
SETTLED = CauseFound(cause="settling-in-pour", probability=0.9)
MISSED = Limit(what="beyond_limit", figure=3, bound=2, met=False)
OTHER_UNIT = Limit(
    what="beyond_limit", figure=1, bound=2, met=True, values={"names": ("7",), "percent": Decimal(5), "of": 24}
)
TOO_FEW = Limit(what="units_weighed", figure=12, bound=20, met=False)
QUIET, MOVED = Trend(flag=TrendFlag.NONE_SEEN, n=10), Trend(flag=TrendFlag.CLEAR, n=10)
TWO_FOLLOWED = PourTrend(mass=QUIET, content={"drug": MOVED, "other": MOVED})
FIRST_ALONE = message("pour.changed", series="content", active="drug")
PLANTED: dict[str, tuple[str, Plant]] = {
    "a test that fails and is not counted at the head": (
        "headline_and_list",
        with_test("mass-uniformity", verdict=Verdict.DOES_NOT_COMPLY, criteria=(TOO_FEW,)),
    ),
    "complies beside a failing test": (
        "verdict_and_tests",
        with_test("mass-uniformity", verdict=Verdict.DOES_NOT_COMPLY, criteria=(MISSED,)),
    ),
    "complies beside a second stage": (
        "verdict_and_tests",
        with_test("content-uniformity", verdict=Verdict.SECOND_STAGE),
    ),
    "complies beside a required test without inputs": (
        "verdict_and_tests",
        with_test("mass-uniformity", verdict=Verdict.NOT_ASSESSED, required=True),
    ),
    "a test complies and a limit is missed": ("test_and_limits", with_test("mass-uniformity", criteria=(MISSED,))),
    "a sound batch is held": ("advice_and_verdict", told(HOLD)),
    "held and asked for more": ("advice_and_verdict", told(HOLD, message("advice.enter"))),
    "undecided and nothing to do": (
        "advice_and_verdict",
        lambda judged: replace(judged, verdict=BatchVerdict.UNDECIDED, next_steps=()),
    ),
    "complies beside a box to tick": ("advice_and_verdict", told(message("packing.to_tick"))),
    "nothing more beside another step": ("nothing_more", told(NOTHING_MORE, LOOK)),
    "nothing more beside a likely cause": (
        "nothing_more",
        lambda judged: replace(judged, causes=(SETTLED,), next_steps=(NOTHING_MORE,)),
    ),
    "complies, and its head says nothing of a likely fault": (
        "head_and_fault",
        lambda judged: replace(judged, causes=(SETTLED,)),
    ),
    "offered for release although none is left": (
        "what_is_left_to_release",
        in_ledger(released_at_most=0),
    ),
    "nothing more beside an assay without limits": ("what_stays_open_is_asked", told(NOTHING_MORE)),
    "a product that is asked for and stands there": (
        "what_stays_open_is_asked",
        lambda judged: replace(judged, batch=replace(judged.batch, product="x", number="1")),
    ),
    "a unit that is left and was assayed": (
        "samples_and_what_is_left",
        lambda judged: replace(judged, ledger=replace(judged.ledger, not_assayed=("1",))),
    ),
    "fails without a deviation": (
        "what_stays_open_is_asked",
        lambda judged: replace(judged, verdict=BatchVerdict.DOES_NOT_COMPLY),
    ),
    "nothing more beside a finding": (
        "nothing_more",
        lambda judged: replace(
            judged, mould_findings=(message("pour.one_side", mould="A"),), next_steps=(NOTHING_MORE,)
        ),
    ),
    "nothing more beside a stage that is due": (
        "nothing_more",
        lambda judged: told(NOTHING_MORE)(with_test("content-uniformity", more_units=20)(judged)),
    ),
    "a likely cause is not named": ("likely_causes_are_named", lambda judged: replace(judged, causes=(SETTLED,))),
    "another cause is named": (
        "likely_causes_are_named",
        lambda judged: replace(judged, causes=(SETTLED,), next_steps=(LOOK,)),
    ),
    "a record nobody typed": (
        "records_that_are_looked_at",
        told(message("advice.print_out", unit="7", typed="9.99", kind="mass", percent=1.0)),
    ),
    "a unit that no test puts outside is the worst": (
        "worst_unit_was_judged",
        lambda judged: replace(
            judged,
            unit_rows=(
                *judged.unit_rows,
                replace(judged.unit_rows[0], unit="99", place=Place.BEYOND_OUTER, deviation_percent=12.0),
            ),
        ),
    ),
    "go on to release and no unit is left": ("what_is_left_to_release", in_ledger(released_at_most=0)),
    "none is said to be left where some are": ("what_is_left_to_release", told(message("advice.none_left"))),
    "the next pour though units are left": (
        "what_is_left_to_release",
        told(message("advice.open_finding", finding="x", release=False)),
    ),
    "the last units though more are left": (
        "what_is_left_to_release",
        told(message("advice.more_units", active="drug", last=True, units=("1",), number=1)),
    ),
    "more units than there are": ("what_can_be_supplied", with_test("content-uniformity", more_units=21)),
    "a unit that is used up": ("what_can_be_supplied", with_test("content-uniformity", next_units=("1",))),
    "cannot be shown though enough are left": (
        "what_can_be_supplied",
        told(message("advice.cannot_be_shown", left=20, asked=20)),
    ),
    "counted in one place and not in the other": (
        "units_outside",
        with_test("mass-uniformity", criteria=(OTHER_UNIT,)),
    ),
    "an acceptance value that does not follow": (
        "figures_agree",
        with_figure("dosage-unit-uniformity", acceptance_value=9.0),
    ),
    "a mean content two ways": ("figures_agree", with_figure("batch-assay", mean_percent=99.0)),
    "a unit without a fate": ("ledger_closes", in_ledger(left=1)),
    "released what is used up": ("ledger_closes", in_ledger(released=21)),
    "no unit assayed beside contents": (
        "basis_and_contents",
        lambda judged: replace(judged, cannot_say=(message("advice.masses_alone"),)),
    ),
    "possibly changed and clearly changed": (
        "one_series_one_flag",
        lambda judged: replace(
            judged,
            pour=PourAnalysis(
                trend=PourTrend(
                    mass=Trend(flag=TrendFlag.NONE_SEEN, n=20), content={"drug": Trend(flag=TrendFlag.POSSIBLE, n=10)}
                )
            ),
            mould_findings=(message("pour.filling", active="drug", clearly=True),),
        ),
    ),
    "a unit beyond the outer limit and nothing wrong": (
        "units_outside_and_causes",
        lambda judged: replace(
            with_test("mass-uniformity", outside=(Outside(unit="5", deviation_percent=-14.0, beyond_outer=True),))(
                judged
            ),
            causes=(CauseFound(cause="sound", probability=0.57),),
        ),
    ),
    "complies by a file whose report was superseded": (
        "superseded_and_second_masses",
        lambda judged: replace(
            judged, batch=replace(judged.batch, superseded=Superseded(by="1", folder="R-2", because="typo", at=""))
        ),
    ),
    "a second mass counts without a reason": (
        "superseded_and_second_masses",
        lambda judged: replace(
            judged, unit_rows=tuple(replace(row, second_mass_counts=True) for row in judged.unit_rows)
        ),
    ),
    "one active of two is named": (
        "each_active_of_the_pour",
        lambda judged: replace(judged, pour=PourAnalysis(trend=TWO_FOLLOWED, sentence=FIRST_ALONE)),
    ),
    "a change said to be none": (
        "each_active_of_the_pour",
        lambda judged: replace(
            judged,
            pour=PourAnalysis(
                trend=TWO_FOLLOWED,
                sentence=message(
                    "pour.also_changed",
                    first=FIRST_ALONE,
                    others=[],
                    rest=[("content", "other", TrendFlag.NONE_SEEN)],
                ),
            ),
        ),
    ),
    "fails and is assured to pass": (
        "assurance_and_verdict",
        lambda judged: replace(
            judged,
            tests=(TestResult(id="mass-uniformity", rule="x", verdict=Verdict.DOES_NOT_COMPLY, criteria=(MISSED,)),),
            assurance=(
                Assurance(
                    test="mass-uniformity",
                    active=None,
                    confidence=0.95,
                    pass_chance_low=0.9,
                    coverage=0.9,
                    tolerance_low_percent=None,
                    tolerance_high_percent=None,
                ),
            ),
        ),
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_a_planted_contradiction_is_found(name: str, sound: JudgedBatch) -> None:
    rule, plant = PLANTED[name]
    (found_by,) = (one for one in RULES if one.__name__ == rule)
    assert [*found_by(plant(sound))]


def test_every_rule_is_shown_to_find_something() -> None:
    # That a pour was seen to change nothing beside a cause that moves it takes a followed pour; the others look at
    # words that page one makes of the very records they are held against, and found faults of those words.
    of_words = {"what_cannot_be_shown", "open_tests_counted", "worst_unit_allowed"}
    planted = {rule for rule, _ in PLANTED.values()}
    assert {rule.__name__ for rule in RULES} - planted == {"pour_and_causes", *of_words}


def test_settling_beside_no_change_of_anything_is_found() -> None:
    judged = next(one for one in map(judged_at_random, range(60)) if _nothing_changed(one))
    assert [
        found
        for found in contradictions(replace(judged, causes=(SETTLED,)))
        if found == "pour_and_causes: active settled in the pour, and no change of anything was seen"
    ]


def _nothing_changed(judged: JudgedBatch) -> bool:
    trend = judged.pour_trend
    if trend is None or not trend.content or trend.mass.flag.value != "none-seen":
        return False
    return all(one.flag.value == "none-seen" for one in (*trend.content.values(), *trend.concentration.values()))
