"""Slips of the pen go both ways, and a slipped number is one slip away from the number meant."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Unit
from qc.causes.models.slip_of_pen import SlipForm, one_slip_away, slipped
from qc.causes.weigh import weigh_causes
from qc.judging.judge import judge_batch
from qc.results import BatchVerdict
from qc.results.messages import Message
from qc.rules.rule_books import rule_book
from qc.say.messages import words
from qc.simulate.pouring import FaultDraw, Recipe
from tests.judging.contradictions import contradictions

numbers = st.decimals("1", "999", places=3)


@given(number=numbers)
def test_a_slip_can_be_slipped_back(number: Decimal) -> None:
    for slip in one_slip_away(number):
        # A leading zero is not written, so its digits cannot be exchanged back.
        if slip.form is not SlipForm.SHIFTED_POINT and len(str(slip.other)) == len(str(number)) and slip.other >= 1:
            assert number in {back.other for back in one_slip_away(slip.other)}


@given(number=numbers)
def test_no_slip_leaves_the_number_or_makes_it_zero(number: Decimal) -> None:
    others = [slip.other for slip in one_slip_away(number)]
    assert number not in others
    assert all(other > 0 for other in others)


@pytest.mark.parametrize("seed", range(40))
def test_a_planted_slip_is_seen_and_is_let_pass(seed: int) -> None:
    rng = np.random.default_rng(seed)
    meant = Decimal(f"{rng.uniform(0.9, 3.5):.3f}")
    typed = slipped(meant, FaultDraw(recipe=Recipe(), strength=1.0, rng=rng))
    assert typed in {slip.other for slip in one_slip_away(meant)}
    assert 0.06 <= abs(float(np.log(float(typed) / float(meant)))) <= 1.2


def test_a_unit_left_out_for_a_reason_is_nobodys_slip() -> None:
    masses = [Decimal(f"2.0{n:02d}") for n in range(1, 20)]
    units = [Unit(name=str(n), mass_g=mass) for n, mass in enumerate((*masses, Decimal("2.410")), start=1)]

    def chance_of_a_slip(last: Unit) -> float:
        batch = Batch(units=(*units[:-1], last), dosage_form="suppositories")
        return {one.cause: one.probability for one in weigh_causes(batch).causes}["slip-of-pen"]

    assert chance_of_a_slip(units[-1]) > 0.5
    assert chance_of_a_slip(replace(units[-1], left_out_because="fell on the floor")) < 0.05


@pytest.mark.parametrize(("last", "named"), [("2.310", ["20", "19"]), ("2.500", ["20"])])
def test_numbers_as_far_off_as_the_furthest_are_named_with_it(last: str, named: list[str]) -> None:
    masses = [Decimal(f"2.0{n:02d}") for n in range(1, 19)]
    masses += [Decimal("1.730"), Decimal(last)]
    units = tuple(Unit(name=str(n), mass_g=mass) for n, mass in enumerate(masses, start=1))
    causes = weigh_causes(Batch(units=units, dosage_form="suppositories")).causes
    slip = next(one for one in causes if one.cause == "slip-of-pen")
    found = [line for line in slip.evidence if isinstance(line, Message) and line.id == "causes.outlier"]
    assert sorted(line.values["unit"] for line in found) == sorted(named)


def test_a_second_weighing_speaks_for_or_against_a_slip() -> None:
    masses = [Decimal(f"2.0{n:02d}") for n in range(1, 20)]
    units = [Unit(name=str(n), mass_g=mass) for n, mass in enumerate((*masses, Decimal("2.140")), start=1)]

    def found(again: str | None) -> tuple[float, list[str]]:
        last = replace(units[-1], weighed_again_g=None if again is None else Decimal(again))
        causes = weigh_causes(Batch(units=(*units[:-1], last), dosage_form="suppositories")).causes
        slip = next(one for one in causes if one.cause == "slip-of-pen")
        return slip.probability, [words(line) for line in slip.evidence]

    once, said = found(None)
    fits, said_again = found("2.014")
    same, _ = found("2.140")
    assert same < once < fits
    assert fits > 0.9
    more = "Put on the balance again, unit 20 showed 2.014 g in place of 2.140 g."
    assert more in said_again
    assert more not in said


@pytest.mark.parametrize("first", ["1.700", "2.008"], ids=["low both times", "low the second time"])
def test_a_batch_with_a_low_mass_that_was_confirmed_is_not_called_sound(first: str) -> None:
    masses = [Decimal(f"{2 + (n * 7 % 19 - 9) / 400:.3f}") for n in range(19)]
    units = [Unit(name=str(n), mass_g=mass) for n, mass in enumerate((*masses, Decimal(first)), start=1)]
    again = {"weighed_again_g": Decimal("1.700"), "weighed_again_because": "draught"}
    batch = Batch(
        units=(*units[:-1], replace(units[-1], **again)), dosage_form="suppositories", weighed_by="A", checked_by="B"
    )
    judged = judge_batch(batch, book=rule_book(), seed=1)
    assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY
    assert judged.causes[0].cause == "something-else"
    assert contradictions(judged) == []


def test_contents_that_scatter_do_not_hide_a_mass_that_is_off() -> None:
    masses = [Decimal(f"{2 + (n * 7 % 19 - 9) / 400:.3f}") for n in range(19)]
    units = tuple(Unit(name=str(n), mass_g=mass) for n, mass in enumerate((*masses, Decimal("1.709")), start=1))
    contents = dict(zip(("20", *"123456789"), (130, 70, 99, 100, 101, 100, 70, 100, 130, 98), strict=True))
    batch = Batch(
        units=units,
        actives=(Active(name="drug", label_claim_mg=Decimal(100)),),
        assays=tuple(
            Assay(unit=unit, active="drug", content_percent=Decimal(percent)) for unit, percent in contents.items()
        ),
        dosage_form="suppositories",
    )
    assert {one.cause: one.probability for one in weigh_causes(batch).causes}["sound"] < 0.05
