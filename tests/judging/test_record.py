"""Facts of the record that do not fit together are said, and move no verdict."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from qc.batch import Batch
from qc.judging.record import record_findings
from qc.results import JudgedBatch
from qc.say.messages import all_words, words

Make, Judge = Callable[..., Batch], Callable[..., JudgedBatch]


def said(batch: Batch) -> list[tuple[str, str]]:
    return [(one.where, words(one.text)) for one in record_findings(batch)]


@pytest.mark.parametrize("expiry", ["2026-03-14", "2026-03-13", "14.03.2026", "02/2026", "2026-02"])
def test_an_expiry_that_does_not_lie_after_the_making_is_said(expiry: str, make_batch: Make) -> None:
    assert said(make_batch(made_on="2026-03-14", expiry=expiry)) == [
        (
            "Batch, Expiry",
            f"The expiry ({expiry}) does not lie after the day of making (2026-03-14): see which of the two is wrong.",
        )
    ]


@pytest.mark.parametrize("expiry", ["2026-03-15", "03/2026", "04.03.2026", "one month after making", None])
def test_an_expiry_after_the_making_or_one_that_may_be_is_not(expiry: str | None, make_batch: Make) -> None:
    assert said(make_batch(made_on="2026-03-14", expiry=expiry)) == []


@pytest.mark.parametrize(
    ("earlier", "later", "first", "second"),
    [
        ("made_on", "weighed_on", "Made on", "Weighed on"),
        ("made_on", "assayed_on", "Made on", "Assayed on"),
        ("balance_calibrated_on", "weighed_on", "Balance calibrated on", "Weighed on"),
    ],
)
def test_days_in_an_order_that_cannot_be_are_said(
    earlier: str, later: str, first: str, second: str, make_batch: Make
) -> None:
    assert said(make_batch(**{earlier: "2026-03-14", later: "2026-03-14"})) == []
    assert said(make_batch(**{earlier: "2026-03-14", later: "2026-03-13"})) == [
        (
            f"Batch, {second}",
            f"{second} (2026-03-13) lies before {first} (2026-03-14): see which of the two is wrong.",
        )
    ]


@pytest.mark.parametrize(
    ("weighed", "due", "over"),
    [
        ("2026-03-14", "2026-03-14", False),
        ("2026-03-15", "2026-03-14", True),
        ("2026-03-15", "03/2026", False),
        ("03/2026", "2026-03-14", False),
        ("04/2026", "2026-03-31", True),
    ],
)
def test_a_balance_whose_calibration_was_due_is_said_and_settled_before_release(
    weighed: str, due: str, over: bool, make_batch: Make, judge: Judge
) -> None:
    batch = make_batch(weighed_on=weighed, balance_calibration_due=due, contents=("100",) * 10)
    text = f"The units were weighed on {weighed}, after the calibration of the balance was due ({due}): see whether it "
    text += "was renewed before, or weigh them again."
    assert said(batch) == ([("Batch, Balance calibration due", text)] if over else [])
    assert any(text in step for step in all_words(judge(batch).next_steps)) is over


def test_one_person_does_not_weigh_and_check(make_batch: Make, judge: Judge) -> None:
    assert said(make_batch(weighed_by="A. B.", checked_by="C")) == said(make_batch(checked_by="C")) == []
    batch = make_batch(weighed_by="A. B.", checked_by="a. b. ")
    text = "a. b.  stands under Weighed by and under Checked by: a second person is to check."
    assert said(batch) == [("Batch, Checked by", text)]
    judged = judge(batch)
    assert judged.verdict is judge(make_batch()).verdict
    assert text in [words(notice.text) for notice in judged.notices]
