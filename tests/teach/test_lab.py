"""The laboratory of a lesson: what is asked for is paid and weighed once, the key is that of the same batch."""

from __future__ import annotations

import pytest

from qc.teach.lab import Lab
from qc.teach.lesson import LessonProblem, Tray, make_lesson

NOTHING_ELSE = Tray(assays=0, cut_units=0, base_pours=0)


def lab(fault: str = "settling-in-pour", *, budget: float = 150.0) -> Lab:
    return Lab(fault, units=24, seed=11, budget=budget)


def test_a_measurement_is_paid_once_and_moves_the_probabilities() -> None:
    bench = lab()
    told = bench.answer("assay 1 24\n").splitlines()
    assert (bench.left, len(bench.batch.assays)) == (126.0, 2)
    assert told[0] == f"  unit 1: {bench.batch.assays[0].content_mg} mg"
    assert told[2] == "Likeliest now:"
    assert "settling-in-pour (was " in told[3]
    assert told[-1] == "126 left to spend."
    assert bench.answer("assay 24 1") == "That is known already."
    assert bench.answer("assay 1 2")[:9] == "  unit 2:"
    assert (bench.left, len(bench.batch.assays)) == (114.0, 3)


def test_every_kind_of_measurement_comes_into_the_batch() -> None:
    bench = lab()
    bench.answer("cut 7")
    bench.answer("weigh 3-5")
    bench.answer("base 2")
    batch = bench.batch
    assert [str(one.part) for one in batch.assays] == ["tip", "middle", "end"]
    assert [unit.name for unit in batch.units if unit.weighed_again_g is not None] == ["3", "4", "5"]
    assert [(one.mould, one.cavity) for one in batch.cavity_pours] == [("1", "2"), ("1", "2")]
    assert bench.left == 150 - 16 - 3 - 6


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("asay 3", '"asay" is not known: ask for assay, cut, weigh, base, or guess.'),
        ("assay", '"assay" cannot be done: give numbers from 1 to 24, for example assay 1 3-4.'),
        ("assay 25", '"assay 25" cannot be done: give numbers from 1 to 24, for example assay 1 3-4.'),
        ("cut x", '"cut x" cannot be done: give numbers from 1 to 24, for example cut 1 3-4.'),
        ("base 7", '"base 7" cannot be done: give numbers from 1 to 6, for example base 1 3-4.'),
        ("assay 1-24", "That costs 288, and 150 is left."),
        ("guess", "Name the cause, for example: guess sound"),
        ("guess setling-in-pour", '"setling-in-pour" is no cause. Did you mean settling-in-pour?'),
    ],
)
def test_what_is_not_understood_costs_nothing(line: str, said: str) -> None:
    bench = lab()
    assert (bench.answer(line), bench.left, bench.over) == (said, 150.0, False)


def test_a_guess_ends_it_with_the_advice_at_every_step_and_the_key() -> None:
    bench = lab()
    bench.answer("assay 1 24")
    told = bench.answer("guess settling-in-pour").splitlines()
    assert bench.over
    assert told[0].startswith("Right. By what you measured the tool says: ")
    assert told[2].startswith("  before assay 1 24 (24): ")
    assert told[3].startswith("  at the end: ")
    assert told[4] == "What went wrong: active settled in the melt during the pour (settling-in-pour)."
    made = "qc lesson settling-in-pour --units 24 --seed 11"
    assert told[-1] == f"The whole key: {made} --assays 0 --cut-units 0 --base-pours 0 --out key"


def test_of_two_faults_one_is_right_in_part() -> None:
    both = "poor-mixing+balance-drift"
    assert lab(both).answer("guess balance-drift").startswith("Right in part.")
    assert lab(both).answer("guess balance-drift poor-mixing").startswith("Right.")
    assert lab(both).answer("guess sound").startswith("Wrong.")


@pytest.mark.parametrize("fault", ["slip-of-pen", "assay-bias", "leaking-mould"])
def test_the_key_named_at_the_end_is_that_of_this_batch(fault: str) -> None:
    lesson = make_lesson(fault, seed=11, tray=NOTHING_ELSE)
    bench = lab(fault)
    assert (bench.lesson.number, bench.batch.units) == (lesson.number, lesson.drawn.batch.units)


def test_assays_that_are_off_stay_off_in_the_laboratory() -> None:
    bench = lab("assay-bias", budget=1000.0)
    bench.answer("assay 1-24")
    label, off = bench.batch.actives[0].label_claim_mg, float(bench.lesson.drawn.physics["bias_percent"])
    found = [float(one.content_mg or 0) / float(label or 1) for one in bench.batch.assays]
    assert 100.0 * (sum(found) / len(found) - 1.0) == pytest.approx(off, abs=3.0)


def test_a_budget_that_buys_nothing_is_refused() -> None:
    with pytest.raises(LessonProblem, match=r"^a budget of 0 buys nothing: choose for example 150\.$"):
        lab(budget=0.0)
