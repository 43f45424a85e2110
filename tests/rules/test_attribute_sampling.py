"""Attribute sampling plans, normal inspection, single sampling.

Source of every figure below unless a line says otherwise: ISO 2859-1:1999 (the 1989 edition and MIL-STD-105E have the
same), table 1 (code letters) and table 2-A (plans, arrows followed), read in a sampling chart (pdfcoffee.com
aql-sampling-chart), the raw table FMOC AC-TABLE.ASC (nibs.org; letters A to H) and an inspectors' page
(qualitycontrolpartners.com aql-tables; letters J and K). Figures for letter L are from memory beyond an AQL of 1.5.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from msgspec.structs import replace

from qc.rules.kinds.visual import SamplingRule
from qc.rules.rule_books import load_rule
from qc.stats.attribute_plan import Acceptance, SamplingPlan, acceptance_by, plan_for

AQLS = ("0.65", "1.0", "1.5", "2.5", "4.0", "6.5")
# Letter: sample size / acceptance number at each AQL above.
READ = {
    "A": "20/0 13/0 8/0 5/0 3/0 2/0",
    "B": "20/0 13/0 8/0 5/0 3/0 2/0",
    "C": "20/0 13/0 8/0 5/0 3/0 8/1",
    "D": "20/0 13/0 8/0 5/0 13/1 8/1",
    "E": "20/0 13/0 8/0 20/1 13/1 13/2",
    "F": "20/0 13/0 32/1 20/1 20/2 20/3",
    "G": "20/0 50/1 32/1 32/2 32/3 32/5",
    "H": "80/1 50/1 50/2 50/3 50/5 50/7",
    "J": "80/1 80/2 80/3 80/5 80/7 80/10",
    "K": "125/2 125/3 125/5 125/7 125/10 125/14",
    "L": "200/3 200/5 200/7 200/10 200/14 200/21",
}
OWN_SIZE = {"A": 2, "B": 3, "C": 5, "D": 8, "E": 13, "F": 20, "G": 32, "H": 50, "J": 80, "K": 125, "L": 200}


def rule() -> SamplingRule:
    found = load_rule("iso-2859-1")
    assert isinstance(found, SamplingRule)
    return found


def test_the_plans_are_those_of_the_table() -> None:
    for letter, row in READ.items():
        place = rule().letters.index(letter)
        for aql, plan in zip(AQLS, row.split(), strict=True):
            (column,) = (one for one in rule().columns if one.aql_percent == Decimal(aql))
            assert f"{column.sample_sizes[place]}/{column.accepts[place]}" == plan, (letter, aql)


class TestShape:
    """What holds in the whole table, the remembered letters among it."""

    def test_a_plan_at_the_letter_s_own_size_accepts_the_number_of_its_diagonal(self) -> None:
        """One letter down and one AQL to the left leave the acceptance number as it is (table 2-A)."""
        by_place = {}
        for at, column in enumerate(rule().columns):
            for place, letter in enumerate(rule().letters):
                if column.sample_sizes[place] == OWN_SIZE[letter]:
                    by_place.setdefault(at + place, set()).add(column.accepts[place])
        assert all(len(numbers) == 1 for numbers in by_place.values())
        assert sorted({number for numbers in by_place.values() for number in numbers}) == [
            0, 1, 2, 3, 5, 7, 10, 14, 21,
        ]  # fmt: skip

    def test_larger_batches_never_accept_fewer(self) -> None:
        for column in rule().columns:
            assert all(first <= second for first, second in pairwise(column.accepts))
            assert all(first <= second for first, second in pairwise(column.sample_sizes[3:]))

    def test_a_batch_as_good_as_the_aql_is_mostly_accepted(self) -> None:
        """ISO 2859-1 is built so; with the smallest plans the chance is about 0.87 (binomial, from our own run)."""
        from scipy.stats import binom

        for column in rule().columns:
            for size, accepts in zip(column.sample_sizes, column.accepts, strict=True):
                chance = float(binom.cdf(accepts, size, float(column.aql_percent) / 100))
                assert 0.87 < chance < 0.999, (column.aql_percent, size, accepts)

    def test_every_batch_size_up_to_the_end_has_a_letter(self) -> None:
        codes = rule().codes
        assert (codes[0].lot_from, codes[-1].lot_to) == (2, 3200)
        assert all(second.lot_from == first.lot_to + 1 for first, second in pairwise(codes))


@pytest.mark.parametrize(
    ("lot", "level", "letter"),
    [
        (51, 1, "C"), (51, 2, "E"), (51, 3, "F"), (90, 2, "E"), (91, 2, "F"), (150, 2, "F"), (151, 2, "G"),
        (280, 2, "G"), (281, 2, "H"), (500, 2, "H"), (500, 1, "F"), (501, 2, "J"), (1201, 2, "K"),
    ],
)  # fmt: skip
def test_the_code_letter_goes_by_batch_size_and_level(lot: int, level: int, letter: str) -> None:
    plan = plan_for(replace(rule(), inspection_level=level), lot=lot, aql_percent=Decimal("6.5"))
    assert plan is not None
    assert plan.letter == letter


def test_a_batch_of_fifty_is_looked_at_whole_and_one_of_fifty_one_is_sampled() -> None:
    """The bound of fifty is our own reading."""
    aql = Decimal("2.5")
    assert plan_for(rule(), lot=50, aql_percent=aql) == SamplingPlan(letter="", sample_size=50, accepts=None)
    assert plan_for(rule(), lot=51, aql_percent=aql) == SamplingPlan(letter="E", sample_size=20, accepts=1)


def test_a_sample_as_large_as_the_batch_is_the_batch() -> None:
    """Letter H at AQL 0.65 follows its arrow to 80 units."""
    level_three = replace(rule(), inspection_level=3)
    small = plan_for(replace(level_three, inspect_all_up_to=1), lot=20, aql_percent=Decimal("0.65"))
    assert small == SamplingPlan(letter="D", sample_size=20, accepts=None)


def test_a_plan_from_memory_is_marked() -> None:
    level_three = replace(rule(), inspection_level=3)
    remembered = plan_for(level_three, lot=1201, aql_percent=Decimal("2.5"))
    assert remembered == SamplingPlan(letter="L", sample_size=200, accepts=10, from_memory=True)
    read_of_j = plan_for(rule(), lot=501, aql_percent=Decimal("1.5"))
    assert read_of_j == SamplingPlan(letter="J", sample_size=80, accepts=3)
    read = plan_for(rule(), lot=500, aql_percent=Decimal("0.65"))
    assert read == SamplingPlan(letter="H", sample_size=80, accepts=1)


def test_beyond_the_tables_there_is_no_plan() -> None:
    assert plan_for(rule(), lot=3200, aql_percent=Decimal("1.0")) is not None
    assert plan_for(rule(), lot=3201, aql_percent=Decimal("1.0")) is None


class TestAnswers:
    PLAN = SamplingPlan(letter="E", sample_size=20, accepts=1)

    @pytest.mark.parametrize(
        ("looked_at", "bad", "answer"),
        [
            (20, 0, Acceptance(met=True)),
            (20, 1, Acceptance(met=True)),
            (20, 2, Acceptance(met=False)),
            (19, 1, Acceptance(met=None, units_to_look_at=1)),
            (19, 2, Acceptance(met=False)),
            (40, 1, Acceptance(met=True)),
            (79, 2, Acceptance(met=False)),
            (80, 2, Acceptance(met=None, units_to_look_at=10)),
            (80, 3, Acceptance(met=False)),
        ],
    )
    def test_a_sample_of_ninety_units(self, looked_at: int, bad: int, answer: Acceptance) -> None:
        """AQL 2.5 %: 2 of 79 is more than 2.5 %, 2 of 80 is exactly 2.5 %."""
        given = acceptance_by(self.PLAN, lot=90, looked_at=looked_at, nonconforming=bad, aql_percent=Decimal("2.5"))
        assert given == answer

    @pytest.mark.parametrize(
        ("looked_at", "bad", "answer"),
        [
            (40, 0, Acceptance(met=True)),
            (40, 1, Acceptance(met=True)),
            (40, 2, Acceptance(met=False)),
            (39, 1, Acceptance(met=None, units_to_look_at=1)),
            (39, 2, Acceptance(met=False)),
        ],
    )
    def test_a_whole_batch_of_forty(self, looked_at: int, bad: int, answer: Acceptance) -> None:
        """AQL 2.5 % of 40 units is exactly one unit (our reading of full inspection)."""
        whole = SamplingPlan(letter="", sample_size=40, accepts=None)
        given = acceptance_by(whole, lot=40, looked_at=looked_at, nonconforming=bad, aql_percent=Decimal("2.5"))
        assert given == answer

    @pytest.mark.parametrize(
        ("looked_at", "bad", "answer"),
        [
            (90, 0, Acceptance(met=True)),
            (90, 1, Acceptance(met=False)),
            (89, 0, Acceptance(met=None, units_to_look_at=1)),
        ],
    )
    def test_an_aql_of_zero_accepts_none(self, looked_at: int, bad: int, answer: Acceptance) -> None:
        plan = plan_for(rule(), lot=90, aql_percent=Decimal(0))
        assert plan is not None
        given = acceptance_by(plan, lot=90, looked_at=looked_at, nonconforming=bad, aql_percent=Decimal(0))
        assert given == answer
