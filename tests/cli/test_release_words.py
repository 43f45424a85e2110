"""What the terminal says of the inspection, the balances and the packing list; nothing where nothing was entered."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.batch import Batch, Unit
from qc.cli.terminal import summary
from qc.results import (
    ActiveBalance,
    BatchVerdict,
    JudgedBatch,
    Limit,
    PackingChecklist,
    Reconciliation,
    TestResult,
    Verdict,
    VisualInspection,
    message,
)


def judged(**records: object) -> JudgedBatch:
    return JudgedBatch(
        batch=Batch(units=(Unit(name="1"),), number="B1"),
        rule_set="default",
        verdict=BatchVerdict.COMPLIES,
        **({"tests": ()} | records),  # type: ignore[arg-type]
    )


def test_a_batch_with_nothing_of_it_has_no_section() -> None:
    assert "Before release" not in summary(judged())


def test_each_record_has_its_sentence() -> None:
    drug = ActiveBalance(
        active="drug", weighed_mg=Decimal(3300), in_units_mg=3000.0, in_trimmings_mg=None,
        in_dish_mg=None, found_mg=3000.0, recovery_percent=Fraction(1000, 11), recovery_low_percent=90.06,
        recovery_high_percent=91.8, n=10,
    )  # fmt: skip
    balance = Reconciliation(
        unaccounted_g=Fraction(3, 10),
        unaccounted_percent=Fraction(5, 11),
        units_estimated=True,
        units_difference=0,
        yield_percent=Fraction(1000, 11),
        actives=(drug,),
        missing=(message("reconciliation.no_dish", active="drug"),),
    )
    packing = PackingChecklist(lines=(), started=False)
    visual = VisualInspection(lot=30, looked_at=30)
    text = summary(judged(visual=visual, reconciliation=balance, packing=packing))
    section = text.partition("Before release\n")[2].partition("\n\n")[0]
    assert " ".join(section.split()) == (
        "- Visual inspection: 30 of 30 units looked at; no defect of a known kind. "
        "- Reconciliation: yield 90.9 %; about 0.300 g not accounted for (0.45 % of the melt); units add up; "
        "drug found 90.9 % (95 %: 90.1 to 91.8 %). "
        "- drug in the dish was not counted: enter Dish assay (mg), or 0 g of melt left. "
        "- The packing and label checklist was not entered."
    )


def told(what: str, figure: str, bound: str) -> Limit:
    """A limit whose line says these words."""
    values = {"name": what, "result": figure, "spans": (), "limit": bound}
    return Limit(what="check_in_words", figure=None, met=True, values=values)


def test_a_check_goes_by_the_name_it_was_given() -> None:
    check = TestResult(
        id="release-check",
        rule="release-check",
        subject="pH",
        verdict=Verdict.COMPLIES,
        criteria=(told("result", "6.2", "5.5 to 6.5"),),
    )
    lines = [" ".join(line.split()) for line in summary(judged(tests=(check,))).splitlines()]
    place = lines.index("pH complies")
    assert lines[place + 1 : place + 3] == ["[release-check]", "result 6.2 5.5 to 6.5 met"]
