"""The place of a row is no order: only a column, or the call, says in which order units were poured or weighed."""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import pytest

from qc.batch import Batch, Unit
from qc.jobs.python_calls import Judgement
from qc.judging.judge import judge_batch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions, RowOrder
from qc.readers.read import read_batch
from qc.results import JudgedBatch
from qc.rules.rule_books import rule_book

DRIFTING = [round(2.0 + 0.006 * unit, 3) for unit in range(24)]


def judged(path: Path, masses: list[float], *, order: RowOrder | None = None, column: str = "") -> JudgedBatch:
    heading = f"Unit;Mass (g){';' + column if column else ''}\n"
    rows = (f"u{mass};{mass}{f';{place}' if column else ''}\n" for place, mass in enumerate(masses, start=1))
    path.write_text(heading + "".join(rows), encoding="utf-8")
    batch = read_batch(path, options=ReadOptions(form="suppositories", order=order))
    return judge_batch(batch, book=rule_book(None), seed=1)


def share(result: JudgedBatch, cause: str) -> float:
    return next(found.probability for found in result.causes if found.cause == cause)


def test_masses_that_rise_from_row_to_row_show_no_drift_without_an_order(tmp_path: Path) -> None:
    as_typed = judged(tmp_path / "a.csv", DRIFTING)
    shuffled = judged(tmp_path / "b.csv", random.Random(4).sample(DRIFTING, len(DRIFTING)))
    for cause in as_typed.causes:
        assert share(shuffled, cause.cause) == pytest.approx(cause.probability, abs=1e-9)
    assert share(as_typed, "balance-drift") == pytest.approx(share(as_typed, "settling-in-pour"), abs=0.2)
    assert share(as_typed, "balance-drift") < 0.3
    assert any(told.id == "advice.no_order" for told in as_typed.cannot_say if not isinstance(told, str))


def test_a_drift_shows_where_the_order_of_weighing_is_on_record(tmp_path: Path) -> None:
    by_column = judged(tmp_path / "a.csv", DRIFTING, column="Weighing order")
    by_call = judged(tmp_path / "b.csv", DRIFTING, order="weighing")
    assert share(by_column, "balance-drift") > 0.7
    assert [(one.cause, one.probability) for one in by_column.causes] == [
        (one.cause, one.probability) for one in by_call.causes
    ]
    assert [row.weighing_order for row in by_call.unit_rows] == list(range(1, 25))
    assert all(row.pour_order is None for row in by_call.unit_rows)


def test_both_orders_can_be_said_of_the_rows(tmp_path: Path) -> None:
    rows = judged(tmp_path / "a.csv", DRIFTING, order="both").unit_rows
    assert [(row.pour_order, row.weighing_order) for row in rows] == [(place, place) for place in range(1, 25)]


def test_an_order_that_the_table_has_is_not_given_again(tmp_path: Path) -> None:
    with pytest.raises(InputProblems) as caught:
        judged(tmp_path / "a.csv", DRIFTING, column="Pour order", order="pour")
    assert [str(problem) for problem in caught.value.problems] == [
        'a.csv, C1: the table has a column "Pour order", but the call gives --order pour. Leave out --order, or clear '
        "the column."
    ]


def test_units_weighed_in_another_order_than_poured_show_the_drift_in_that_of_weighing() -> None:
    weighed = random.Random(2).sample(range(1, 25), 24)
    units = tuple(
        Unit(name=str(at), pour_order=at, weighing_order=place, mass_g=Decimal(str(DRIFTING[place - 1])))
        for at, place in enumerate(weighed, start=1)
    )
    book = rule_book(None)
    result = judge_batch(Batch(units=units, dosage_form="suppositories"), book=book, seed=1)
    (found,) = (one for one in result.causes if one.cause == "balance-drift")
    assert found.probability > 0.7
    (told,) = (one for one in found.evidence if not isinstance(one, str) and one.id == "causes.changed_as_weighed")
    # 23 steps of 6 mg about a mean of 2.069 g.
    assert told.values["measured"] == pytest.approx(100 * 23 * 0.006 / 2.069, abs=0.1)
    frame = Judgement(result, book).units_frame()
    assert dict(zip(frame["pour_order"], frame["weighing_order"], strict=True)) == dict(enumerate(weighed, start=1))
