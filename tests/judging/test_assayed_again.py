"""A unit assayed several times: a first content is not averaged away."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qc.batch import Active, Assay, Batch, Unit
from qc.judging.judge import judge_batch
from qc.rules.rule_books import rule_book

GOOD = ("99.2", "101.1", "98.7", "100.4", "99.9", "100.8", "98.3", "101.6", "99.5", "100.0")
UNITS = tuple(Unit(name=str(n), mass_g=Decimal("2.0") + Decimal(n % 5) / 100) for n in range(1, 21))
ACTIVE = Active(name="zinc", label_claim_mg=Decimal(100))


def verdicts(*rows: tuple[str, str], in_percent: bool = False, active: Active = ACTIVE) -> set[str]:
    """What the tests of contents come to, by determinations of units."""
    assays = tuple(
        Assay(unit=unit, active="zinc", content_percent=Decimal(value.removesuffix(" %")))
        if in_percent or value.endswith("%")
        else Assay(unit=unit, active="zinc", content_mg=Decimal(value))
        for unit, value in rows
    )
    batch = Batch(dosage_form="suppositories", units=UNITS, actives=(active,), assays=assays)
    judged = judge_batch(batch, book=rule_book(), seed=1, blind=True)
    return {str(test.verdict) for test in judged.tests if test.active and test.id != "batch-assay"}


FIRST = [(str(n), value) for n, value in enumerate(GOOD, start=1)]


@pytest.mark.parametrize("in_percent", [False, True])
@pytest.mark.parametrize("more", [["60", *["101"] * 6], ["68.3"], ["131.7", "99"]])
def test_a_content_outside_is_not_averaged_away_in_any_order(more: list[str], in_percent: bool) -> None:
    again = [("3", value) for value in more]
    assert "not-assessed" in verdicts(*FIRST, *again, in_percent=in_percent)
    assert verdicts(*FIRST, *again, in_percent=in_percent) == verdicts(*again, *FIRST, in_percent=in_percent)


def test_repeats_that_agree_are_averaged() -> None:
    assert verdicts(*FIRST, ("3", "99.1"), ("3", "98.9")) == {"complies"}
    assert verdicts(*FIRST, *((unit, str(Decimal(value) + 1)) for unit, value in FIRST)) == {"complies"}


def test_duplicates_of_every_unit_that_do_not_agree_turn_no_verdict() -> None:
    twins = [(unit, "40" if unit == "7" else value) for unit, value in FIRST]
    others = [(unit, "159" if unit == "7" else value) for unit, value in FIRST]
    assert "not-assessed" in verdicts(*twins, *others)


def test_how_far_repeats_may_differ_is_that_of_the_assay() -> None:
    rough = Active(name="zinc", label_claim_mg=Decimal(100), assay_repeatability_percent=Decimal(6))
    second = [(unit, "79" if unit == "7" else value) for unit, value in FIRST]
    assert "not-assessed" in verdicts(*FIRST, *second)
    assert verdicts(*FIRST, *second, active=rough) == {"complies"}


def test_all_units_with_repeats_at_once_are_asked_too() -> None:
    high = [(unit, "114.9") for unit, _ in FIRST[:4]]
    assert "not-assessed" in verdicts(*FIRST, *high)


@pytest.mark.parametrize("more", [("131.7", "99 %"), ("131.7 %", "99"), ("68.3", "99 %"), ("68.3 %", "99")])
def test_determinations_in_mg_and_in_percent_of_label_are_laid_side_by_side(more: tuple[str, str]) -> None:
    assert "not-assessed" in verdicts(*FIRST, *(("3", value) for value in more))


def test_determinations_that_no_label_claim_joins_are_not_held_against_each_other() -> None:
    nameless = Active(name="zinc")
    second = [(unit, f"{value} %") for unit, value in FIRST]
    assert verdicts(*FIRST, *second, active=nameless) == {"not-assessed"}
