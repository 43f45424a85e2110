"""Where each unit went: what was used up cannot be released, and counts that differ are named."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from qc.batch import Base, Batch, Check, Unit
from qc.results import BatchVerdict, JudgedBatch, TestResult, UnitLedger, Verdict
from qc.say.limits import lines
from qc.say.messages import all_words, words
from qc.say.release import releasable, unit_ledger, used_elsewhere

MakeBatch, Judge = Callable[..., Batch], Callable[..., JudgedBatch]
DISINTEGRATED = Check(name="disintegration", result="9; 10; 9 min")


@pytest.fixture
def judged(make_batch: MakeBatch, judge: Judge) -> Callable[..., JudgedBatch]:
    def judge_with(**facts: Any) -> JudgedBatch:
        told = {"contents": ("100",) * 10, "units_poured": 30, "base": Base.FATTY, **facts}
        return judge(make_batch(**told))

    return judge_with


def ledger(judged: JudgedBatch) -> UnitLedger:
    assert judged.ledger is not None
    return judged.ledger


def balance(judged: JudgedBatch) -> TestResult | None:
    return next((test for test in judged.tests if test.id == "reconciliation"), None)


def fates(found: UnitLedger) -> tuple[int, ...]:
    return (
        found.weighed_and_kept,
        found.assayed,
        found.other_tests,
        found.rejected,
        found.retained,
        found.left,
        found.released_at_most,
    )


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        # 24 weighed, the first ten of them assayed.
        ({}, (14, 10, 0, 0, 0, 6, 20)),
        ({"checks": (DISINTEGRATED,)}, (14, 10, 3, 0, 0, 3, 17)),
        ({"checks": (Check(name="disintegration", result="9 min"),)}, (14, 10, 3, 0, 0, 3, 17)),
        ({"checks": (Check(name="disintegration"),)}, (14, 10, 0, 0, 0, 6, 20)),
        ({"units_rejected": 2}, (14, 10, 0, 2, 0, 4, 18)),
        ({"units_sampled": 13}, (14, 10, 0, 0, 3, 3, 17)),
        ({"units_sampled": 13, "checks": (DISINTEGRATED,)}, (14, 10, 3, 0, 0, 3, 17)),
        ({"units_obtained": 28}, (14, 10, 0, 0, 0, 4, 18)),
        # Of 26 the units of the other tests must have been weighed before.
        ({"units_poured": 26, "checks": (DISINTEGRATED,)}, (13, 10, 3, 0, 0, 0, 13)),
        ({"contents": ()}, (24, 0, 0, 0, 0, 6, 30)),
    ],
)
def test_every_unit_has_a_fate(
    facts: dict[str, Any], expected: tuple[int, ...], judged: Callable[..., JudgedBatch]
) -> None:
    found = ledger(judged(**facts))
    assert fates(found) == expected
    assert sum(expected[:-1]) == found.whole


def test_without_a_count_of_units_there_is_no_ledger(judged: Callable[..., JudgedBatch]) -> None:
    assert judged(units_poured=None).ledger is None


@pytest.mark.parametrize(
    ("facts", "verdict"),
    [
        ({"units_released": 19}, Verdict.COMPLIES),
        ({"units_released": 20}, Verdict.COMPLIES),
        ({"units_released": 21}, Verdict.DOES_NOT_COMPLY),
        ({"quantity_released": "20 suppositories"}, Verdict.COMPLIES),
        ({"quantity_released": "21 suppositories"}, Verdict.DOES_NOT_COMPLY),
        ({"quantity_released": "17", "checks": (DISINTEGRATED,)}, Verdict.COMPLIES),
        ({"quantity_released": "18", "checks": (DISINTEGRATED,)}, Verdict.DOES_NOT_COMPLY),
        ({"quantity_released": "2 boxes"}, None),
        ({"quantity_released": "2 x 10"}, None),
        ({"quantity_released": "all that is left"}, None),
        ({"units_released": 20, "quantity_released": "18 suppositories"}, Verdict.DOES_NOT_COMPLY),
        ({"units_obtained": 23}, Verdict.DOES_NOT_COMPLY),
        ({"units_obtained": 24}, Verdict.COMPLIES),
        ({"units_obtained": 30}, Verdict.COMPLIES),
        ({"units_obtained": 31}, Verdict.DOES_NOT_COMPLY),
        ({"units_sampled": 9}, Verdict.DOES_NOT_COMPLY),
        ({"units_sampled": 10}, Verdict.COMPLIES),
        ({"units_rejected": 20, "units_sampled": 10}, Verdict.COMPLIES),
        ({"units_rejected": 21, "units_sampled": 10}, Verdict.DOES_NOT_COMPLY),
        # 30 obtained: 18 released, 2 rejected, 10 sampled.
        ({"units_obtained": 30, "units_released": 18, "units_rejected": 2, "units_sampled": 10}, Verdict.COMPLIES),
        (
            {"units_obtained": 30, "units_released": 17, "units_rejected": 2, "units_sampled": 10},
            Verdict.DOES_NOT_COMPLY,
        ),
    ],
)
def test_counts_that_do_not_close_fail_the_batch(
    facts: dict[str, Any], verdict: Verdict | None, judged: Callable[..., JudgedBatch]
) -> None:
    result = judged(**facts)
    test = balance(result)
    assert (test and test.verdict) is verdict
    failed = verdict is Verdict.DOES_NOT_COMPLY
    assert result.verdict is (BatchVerdict.DOES_NOT_COMPLY if failed else BatchVerdict.COMPLIES)
    if failed:
        told = words(result.next_steps[0])
        assert test is not None
        why = words(test.reasons[0])
        hold = "Hold the batch until this is cleared up in writing, and reject it if it cannot be"
        assert told == f"{hold}: reconciliation. {why}"


def test_the_counts_stand_beside_what_they_may_be(judged: Callable[..., JudgedBatch]) -> None:
    test = balance(judged(units_obtained=30, units_released=21, quantity_released="20 suppositories", units_sampled=10))
    assert test is not None
    assert [(line.what, line.figure, line.limit, line.met) for line in lines(test.criteria)] == [
        ("units obtained", "30", "24 to 30", True),
        ("units released", "21", "at most 20", False),
        ("quantity released", "20", "21", False),
        ("units sampled", "10", "at least 10", True),
    ]
    assert all_words(test.reasons) == (
        "Units released: 21, the limit is at most 20.",
        "Quantity released: 20, the limit is 21.",
    )


def test_more_used_up_than_there_are_is_to_be_cleared_up(judged: Callable[..., JudgedBatch]) -> None:
    result = judged(masses=("2.000",) * 20, contents=("100",) * 10, units_poured=12, units_rejected=0, checks=())
    assert not any("Settle" in step for step in all_words(result.next_steps))
    result = judged(
        masses=("2.000",) * 12, contents=("100",) * 10, units_poured=12, checks=(DISINTEGRATED,), dosage_form="troche"
    )
    assert ledger(result).released_at_most == 0
    (clear,) = (step for step in all_words(result.next_steps) if step.startswith("Clear this up"))
    assert clear == (
        "Clear this up before release, with the outcome under Remarks: 13 units were assayed, used in other tests, "
        "rejected or retained, of 12 in all: some of them are not of this batch, or a count is wrong."
    )


def test_the_sentence(judged: Callable[..., JudgedBatch]) -> None:
    found = ledger(judged(checks=(DISINTEGRATED,), quantity_released="17 suppositories"))
    told = "Units: 30 in all: 14 weighed and kept, 10 assayed, 3 used in other tests and 3 neither weighed nor used"
    assert unit_ledger(found, asked=False) == f"{told}, 17 entered as released."
    # What is left adds up: the units named, less those that other tests used and nobody named.
    found = ledger(judged(masses=("2.000",) * 30, checks=(DISINTEGRATED,)))
    assert (len(found.not_assayed), found.left_for_release) == (20, 17)
    assert unit_ledger(found, asked=False).endswith(
        " Left: units 11 to 30; strike out the 3 that other tests used, which leaves 17."
    )


@pytest.mark.parametrize(
    ("verdict", "asked", "told"),
    [
        (BatchVerdict.COMPLIES, 0, "at most 20 = 30 − 10 assayed"),
        (BatchVerdict.COMPLIES, 2, "at most 18 = 30 − 10 assayed − 2 to assay"),
        (BatchVerdict.COMPLIES, 20, "none, the 20 left would all be assayed"),
        (BatchVerdict.DOES_NOT_COMPLY, 0, "none"),
        (BatchVerdict.UNDECIDED, 6, "none until decided, then at most 14"),
        (BatchVerdict.UNDECIDED, 20, "none, the 20 left would all be assayed"),
    ],
)
def test_how_many_can_be_released_goes_by_the_verdict_and_by_what_is_still_to_be_assayed(
    verdict: BatchVerdict, asked: int, told: str, judged: Callable[..., JudgedBatch]
) -> None:
    found = replace(ledger(judged(planned_mass_g=Decimal("2.0"))), still_asked_for=asked)
    assert releasable(found, verdict) == told
    uncounted = {
        BatchVerdict.COMPLIES: "not known, the units poured were not entered",
        BatchVerdict.DOES_NOT_COMPLY: "none",
    }
    assert releasable(None, verdict) == uncounted.get(verdict, "none until decided")


def test_what_stands_in_for_a_unit_that_other_tests_used_is_said_where_units_are_asked_for(
    judged: Callable[..., JudgedBatch],
) -> None:
    found = replace(ledger(judged(planned_mass_g=Decimal("2.0"))), other_tests=3)
    nearest = " Where other tests used a unit asked for above, take the nearest number that is left."
    assert unit_ledger(found, asked=True).endswith(nearest)
    assert nearest not in unit_ledger(found, asked=False)
    assert nearest not in unit_ledger(replace(found, other_tests=0), asked=True)
    assert nearest not in unit_ledger(replace(found, released_at_most=0), asked=True)


def test_a_blank_asks_for_the_units_that_other_tests_used_where_some_are_left(
    judged: Callable[..., JudgedBatch],
) -> None:
    found = replace(ledger(judged(planned_mass_g=Decimal("2.0"))), other_tests=3)
    assert used_elsewhere(found, BatchVerdict.COMPLIES) == "3 units used in other tests"
    assert used_elsewhere(replace(found, other_tests=1), BatchVerdict.UNDECIDED) == "1 unit used in other tests"
    assert used_elsewhere(found, BatchVerdict.DOES_NOT_COMPLY) == used_elsewhere(None, BatchVerdict.COMPLIES) == ""
    # All that are left are asked for: which of them are gone matters all the more.
    assert used_elsewhere(replace(found, still_asked_for=20), BatchVerdict.UNDECIDED) == "3 units used in other tests"
    assert used_elsewhere(replace(found, released_at_most=0), BatchVerdict.COMPLIES) == ""
    assert used_elsewhere(replace(found, other_tests=0), BatchVerdict.COMPLIES) == ""


def test_it_stands_in_the_result_document(judged: Callable[..., JudgedBatch]) -> None:
    from qc.document import result_document

    document = result_document(judged(planned_mass_g=Decimal("2.0")))
    assert document["basis"] == "mass-and-content"
    assert document["ledger"] == {
        "whole": 30,
        "weighed_and_kept": 14,
        "assayed": 10,
        "other_tests": 0,
        "rejected": 0,
        "retained": 0,
        "left": 6,
        "released": None,
        "released_at_most": 20,
        "still_asked_for": 0,
        "limits": [],
        "not_assayed": [*map(str, range(11, 25))],
    }


@pytest.mark.parametrize(
    "facts",
    [{}, {"checks": (DISINTEGRATED,)}, {"units_rejected": 2}, {"units_sampled": 13, "checks": (DISINTEGRATED,)}],
)
def test_assurance_and_ledger_count_the_same_units_left(
    facts: dict[str, Any], judged: Callable[..., JudgedBatch]
) -> None:
    contents = ("99", "101", "98", "102", "100", "97", "103", "100", "99", "101")
    found = judged(contents=contents, **facts)
    of_content = [one for one in found.assurance if one.active is not None]
    assert of_content
    assert {one.units_left for one in of_content} == {ledger(found).released_at_most}


def test_more_units_than_were_poured_do_not_reconcile(judged: Callable[..., JudgedBatch]) -> None:
    assert judged(masses=("2.000",) * 20, units_poured=20).verdict is BatchVerdict.COMPLIES
    result = judged(masses=("2.000",) * 20, units_poured=19)
    assert result.verdict is BatchVerdict.DOES_NOT_COMPLY
    test = balance(result)
    assert test is not None
    assert [(line.what, line.figure, line.limit) for line in lines(test.criteria)] == [
        ("units poured", "19", "at least 20")
    ]


def test_who_was_lost_is_asked_as_often_of_many_units_as_of_few(judge: Judge, monkeypatch: pytest.MonkeyPatch) -> None:
    # It is worked out from all units: asked once a unit, fifty thousand of them do not end.
    lost, asked = Batch.lost.fget, list[int]()
    assert lost is not None

    def counted(batch: Batch) -> frozenset[str]:
        asked.append(len(batch.units))
        return frozenset(lost(batch))

    monkeypatch.setattr(Batch, "lost", property(counted))
    for count in (20, 60):
        units = tuple(Unit(name=f"{n}", mass_g=Decimal(2000 + n % 7).scaleb(-3)) for n in range(count))
        judge(Batch(units=units, dosage_form="suppositories", units_poured=count))
    assert asked.count(20) == asked.count(60) > 0
